//! Friction over the angle: whether it varies around the turn, by how much, and where.
//!
//! Half the difference of the torques of both directions is friction, angle by angle ([`super::paired_drag`]). Several turns at
//! several speeds are repeats of one curve over the angle, each with a level of its own, held against one another as
//! [`crate::around`] says.

use super::axis::TorqueScale;
use super::points::SteadyTurn;
use crate::around::{Told, Variation, Window, variation};
use crate::estimate::Refusal;
use crate::statistics::extent;

const METHOD: &str = "what turns to and fro at several speeds share, against what they scatter";

/// Holds repeats, each a turn in the positive and one in the negative direction, against each other.
///
/// # Errors
/// [`Refusal::TooFewRepeats`] below three, [`Refusal::NotCovered`] when they share less than four fifths of a turn,
/// [`Refusal::TooFewSamples`] when a bin of the angle stays empty, and as [`super::paired_drag`] for angles and torques that do not
/// belong together.
pub fn friction_over_angle(
    repeats: &[[SteadyTurn<'_>; 2]],
    torque: &TorqueScale,
) -> Result<Variation, Refusal> {
    for turn in repeats.iter().flatten() {
        turn.check()?;
    }
    let ranges = repeats.iter().flatten().map(|turn| extent(turn.angle_rad.iter()));
    let window = Window::of(ranges, repeats.len(), "friction")?;
    let curves: Vec<Vec<f64>> = repeats
        .iter()
        .map(|[up, down]| {
            let (a, b) = (binned(up, &window)?, binned(down, &window)?);
            Ok(a.iter().zip(&b).map(|([a], [b])| 0.5 * (a - b)).collect())
        })
        .collect::<Result<_, Refusal>>()?;
    let told = Told {
        what: "friction",
        unit: "N.m",
        method: METHOD,
        floor: 0.0,
        beyond: &|value| torque.gain(value).into_iter().collect(),
    };
    variation(&curves, &window, &told)
}

fn binned(turn: &SteadyTurn<'_>, window: &Window) -> Result<Vec<[f64; 1]>, Refusal> {
    let samples = turn.angle_rad.iter().zip(turn.torque_nm);
    window.bins(samples.map(|(angle, torque)| (*angle, [*torque])))
}
