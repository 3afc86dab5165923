//! What a rim shows that turns: friction and inertia, from a free rim that is pushed and coasts, or from one that a drive
//! turns.

mod driven;
mod free;
pub(super) mod track;

pub(super) use driven::turned_at_zero;

use truerim_analysis::estimate::{Check, Outcome};
use truerim_analysis::friction::{InverseFit, TorqueScale};

use super::FittingError;
use super::document::{Conditions, Measurand, Quantity};
use super::groups::{absent, overall, refused, with_checks};
use super::sensor::SensorTerms;
use super::shown::Curves;
use crate::recording::{Declared, Recording};

/// Whether the recording is one of a rim that turns; steps and chirps then say nothing of latency and bandwidth.
pub(crate) fn turns(recording: &Recording) -> bool {
    matches!(recording.header().mounting.as_str(), "free" | "back-driven")
}

/// Friction and inertia, and their curves; nothing for a clamped rim.
pub(crate) fn of(
    recording: &Recording,
    declared: &Declared,
    sensor: &SensorTerms,
    base: &Conditions,
    shown: &mut Curves,
) -> Result<Vec<Measurand>, FittingError> {
    let to_stops = recording.header().mounting == "free" && super::drivetrain::travel::is_one(recording);
    let found = match recording.header().mounting.as_str() {
        // Pushes towards an end stop end at it: they are no coast-downs.
        "free" if to_stops => Vec::new(),
        "free" => free::of(recording, declared)?,
        "back-driven" => driven::of(recording, declared, sensor)?,
        _ => return Ok(Vec::new()),
    };
    let whole = 0..recording.rows();
    let conditions = Conditions {
        temperature: super::groups::temperature_of(recording, std::slice::from_ref(&whole))?,
        // A rim that turns has no spring to ground.
        rig_spring_nm_per_rad: None,
        ..base.clone()
    };
    let mut list: Vec<Measurand> = found
        .into_iter()
        .map(|(quantity, result)| {
            let n = result.estimate().map_or(0, |e| e.n);
            overall(quantity, "", &conditions, n, result)
        })
        .collect();
    list.extend(super::drivetrain::turned(
        recording,
        declared,
        sensor,
        &conditions,
        shown,
    )?);
    list.extend(super::drivetrain::small_loops(recording, &conditions)?);
    if to_stops {
        let (found, stops) = super::drivetrain::travel::of(recording, declared, &conditions)?;
        list.extend(found);
        shown.stops = stops;
    }
    compare(&mut list);
    list.extend(not_clamped(&conditions));
    Ok(list)
}

/// Friction that was found in several ways: whether the ways agree stands beside the result that stands for all.
fn compare(list: &mut [Measurand]) {
    const ALIKE: [[Quantity; 3]; 2] = [
        [Quantity::Coulomb, Quantity::CoastCoulomb, Quantity::SweepCoulomb],
        [Quantity::Viscous, Quantity::CoastViscous, Quantity::SweepViscous],
    ];
    for alike in ALIKE {
        let ways = ["inverse dynamics", "coasting", "several speeds"];
        let found: Vec<(&str, &truerim_analysis::estimate::Estimate)> = ways
            .into_iter()
            .zip(alike)
            .filter_map(|(way, quantity)| {
                let own = list.iter().find(|m| m.quantity == quantity)?;
                Some((way, own.estimate()?))
            })
            .collect();
        // One way alone agrees with nothing.
        let Ok(agreement) = truerim_analysis::friction::agreement(&found) else {
            continue;
        };
        if let Some(first) = list.iter_mut().find(|m| m.quantity == alike[0]) {
            first.result = with_checks(first.result.clone(), [agreement.check]);
        }
    }
}

/// What only a clamped rim shows, refused.
fn not_clamped(conditions: &Conditions) -> Vec<Measurand> {
    let why = |what: &str| {
        refused(
            "mounting",
            format!(
                "{what} is that of a clamped rim, and this one was {}; clamp it and run procedures/quick.toml",
                conditions.mounting
            ),
        )
    };
    vec![
        absent(
            Quantity::Latency,
            conditions.clone(),
            why("latency from setpoint to rim torque"),
        ),
        absent(
            Quantity::Bandwidth,
            conditions.clone(),
            why("bandwidth from setpoint to rim torque"),
        ),
    ]
}

/// All results of an inverse-dynamics fit, with a check beside each.
fn results(fit: InverseFit, check: &Check) -> Vec<(Quantity, Outcome)> {
    let checks = [fit.checks.as_slice(), std::slice::from_ref(check)].concat();
    let found = [
        fit.coulomb,
        fit.coulomb_positive,
        fit.coulomb_negative,
        fit.viscous,
        fit.offset,
        fit.inertia,
    ];
    let pairs = INVERSE.into_iter().zip(found);
    pairs
        .map(|(quantity, outcome)| (quantity, with_checks(outcome, checks.iter().cloned())))
        .collect()
}

/// The same refusal in place of all of them.
fn all_refused(outcome: &Outcome, quantities: &[Quantity]) -> Vec<(Quantity, Outcome)> {
    quantities.iter().map(|q| (*q, outcome.clone())).collect()
}

/// What inverse dynamics gives, in the order of [`results`].
const INVERSE: [Quantity; 6] = [
    Quantity::Coulomb,
    Quantity::CoulombPositive,
    Quantity::CoulombNegative,
    Quantity::Viscous,
    Quantity::TorqueOffset,
    Quantity::TurningInertia,
];

/// Orders of torque that repeat with the angle slowly enough to pass the low-pass: the motor's own turn.
fn orders(declared: &Declared) -> Vec<f64> {
    declared.ratio.filter(|r| *r > 1.5).into_iter().collect()
}

/// The torque sensor's terms as friction fits want them.
pub(super) fn scale(sensor: &SensorTerms) -> TorqueScale {
    TorqueScale {
        zero_nm: 0.0,
        zero_u_nm: sensor.zero_u_nm,
        gain_rel_u: sensor.gain_rel_u,
    }
}
