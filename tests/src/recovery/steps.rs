//! What a perfect measurement finds of single steps: figures of an independent integration, read from
//! `tests/reference/plant/steps-UNIT.json`.

use truerim::fitting::Quantity;
use virtual_rig::parameters::RigParameters;

use super::Truth;
use super::driver::{of, tables};
use crate::campaign::units::Unit;

const PLAYED: &str = "independent integration, tests/reference/plant/steps.py";

/// Shares of the peak torque from which and to which the steps go that are told of.
const GROUPS: [[f64; 2]; 3] = [[0.2, 0.4], [0.0, 0.4], [-0.2, -0.4]];

const ALL: [(Quantity, &str); 8] = [
    (Quantity::TransitionDuration, "transition_s"),
    (Quantity::RiseToHalf, "to_half_s"),
    (Quantity::SlewLargest, "largest"),
    (Quantity::SlewSustained, "sustained"),
    (Quantity::Overshoot, "overshoot"),
    (Quantity::Undershoot, "undershoot"),
    (Quantity::SettlingTime, "settling_s"),
    (Quantity::SteadyGain, "gain"),
];

/// Of the largest steps on a preload, up and down, and from zero.
pub(super) fn truths(unit: Unit, parameters: &RigParameters) -> Result<Vec<Truth>, String> {
    let known = super::known(&format!("steps-{}.json", unit.word()))?;
    let peak_nm = parameters.plant.torque.peak_nm;
    let mut all = Vec::new();
    for shares in GROUPS {
        // As decimal fractions would give it: 0.4 times 3 is 1.2000000000000002.
        let [from, to] = shares.map(|share| (share * peak_nm * 1e6).round() / 1e6);
        let name = format!("{from} to {to}").replace('-', "\u{2212}");
        let group = format!("{name} N·m");
        let table = tables(&known["steps"]).find(|(own, _)| *own == name);
        let found = table.map_or_else(Vec::new, |(_, table)| of(table, &group, &ALL, PLAYED));
        if found.len() < ALL.len() {
            return Err(format!("steps-{}.json lacks figures of {group}", unit.word()));
        }
        all.extend(found);
    }
    Ok(all)
}
