//! Friction over the angle, from turns to and fro over a whole turn at several speeds.

use std::f64::consts::TAU;
use std::ops::Range;

use ndarray::ArrayView1;
use truerim_analysis::around::{FALSE_FINDINGS, Variation};
use truerim_analysis::estimate::Check;
use truerim_analysis::friction::{SteadyTurn, friction_over_angle};

use super::One;
use super::legs::Pair;
use crate::fitting::document::Quantity;
use crate::fitting::groups::with_checks;
use crate::fitting::motion::{scale, track::Track};
use crate::fitting::reading::plain;
use crate::fitting::sensor::SensorTerms;

/// Part of a turn that a pair must cover to count.
pub(super) const LEAST: f64 = 0.82;
/// What each harmonic is called.
const NAMES: [&str; 2] = ["once a turn", "twice a turn"];

/// Swing, harmonics and sectors; the refusal in place of the swing alone where turns are too few or too short.
pub(super) fn of(track: &Track, pairs: &[Pair], sensor: &SensorTerms) -> Vec<One> {
    // The sensor reads what the wheelbase does to the drive: what turns the wheelbase is its negative.
    let effort: Vec<f64> = track.torque_nm.iter().map(|nm| -nm).collect();
    let of_angle = |range: &Range<usize>| track.rim_rad.get(range.clone()).unwrap_or_default();
    let lowest = |pair: &Pair| of_angle(&pair.up).first().copied().unwrap_or_default();
    let long: Vec<&Pair> = pairs.iter().filter(|pair| pair.travel >= LEAST * TAU).collect();
    let first = long.first().map_or(0.0, |pair| lowest(pair));
    // Legs lie in one turn or in the next; friction comes back with each.
    let shifted: Vec<[Vec<f64>; 2]> = long
        .iter()
        .map(|pair| {
            let turns = TAU * ((lowest(pair) - first) / TAU).round();
            [&pair.up, &pair.down].map(|range| of_angle(range).iter().map(|a| a - turns).collect())
        })
        .collect();
    let whole: Vec<[SteadyTurn<'_>; 2]> = long
        .iter()
        .zip(&shifted)
        .map(|(pair, [up, down])| {
            let turn = |range: &Range<usize>, angle| SteadyTurn {
                angle_rad: ArrayView1::from(angle),
                ..Pair::turn(track, range, &effort)
            };
            [turn(&pair.up, up.as_slice()), turn(&pair.down, down.as_slice())]
        })
        .collect();
    let found = match friction_over_angle(&whole, &scale(sensor)) {
        Ok(found) => found,
        Err(refusal) => return vec![One::alone(Quantity::FrictionVariation, refusal)],
    };
    let swing = with_checks(found.swing.clone(), [chance_check(&found)]);
    let mut all = vec![One::alone(Quantity::FrictionVariation, swing)];
    for (name, outcome) in NAMES.iter().zip(&found.harmonics) {
        all.push(One::of(Quantity::FrictionHarmonic, name, outcome.clone()));
    }
    for (ends, estimate) in found.sectors {
        all.push(One::of(Quantity::FrictionSector, &sector_name(ends), estimate));
    }
    all
}

/// How a variation was told from chance.
pub(super) fn chance_check(found: &Variation) -> Check {
    Check::new(
        "variation over the turn",
        true,
        format!(
            "chance of such a swing without variation {:.2e}, told from none below {FALSE_FINDINGS}",
            found.chance
        ),
    )
}

/// A sector by its ends, rad.
pub(super) fn sector_name([from, to]: [f64; 2]) -> String {
    format!(
        "{}° to {}°",
        plain(from.to_degrees(), 4),
        plain(to.to_degrees(), 4)
    )
}
