//! Torque on an even grid of angles.

use serde::{Deserialize, Serialize};

use super::tracks::Track;
use crate::estimate::Refusal;

/// Torque at even angles.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AngleGrid {
    /// Points a turn.
    pub points_per_turn: usize,
    /// Angle of the first point, rad, a whole number of points from zero.
    pub first_rad: f64,
    /// Torque, N·m, in the order of rising angle.
    pub torque_nm: Vec<f64>,
}

impl AngleGrid {
    /// Angle of point `i`, rad.
    pub fn angle_rad(&self, i: usize) -> f64 {
        self.first_rad + i as f64 * std::f64::consts::TAU / self.points_per_turn as f64
    }

    /// Turns covered.
    pub fn turns(&self) -> f64 {
        self.torque_nm.len() as f64 / self.points_per_turn as f64
    }
}

/// Reads the torque at even angles by Lagrange's polynomial through the four samples around each, which need not be
/// evenly spaced; a straight line would lose 0.25 % at 33 samples a period, this 0.001 %.
///
/// # Errors
/// [`Refusal::OutOfRange`] for fewer than 8 or more than 2²⁰ points a turn; [`Refusal::NotCovered`] when the samples
/// lie further apart than the points.
pub fn resample(track: &Track, points_per_turn: usize) -> Result<AngleGrid, Refusal> {
    if !(8..=1 << 20).contains(&points_per_turn) {
        return Err(Refusal::OutOfRange {
            what: "points a turn".into(),
            value: points_per_turn as f64,
            low: 8.0,
            high: f64::from(1 << 20),
            unit: "1".into(),
        });
    }
    let mut pairs: Vec<(f64, f64)> = track
        .angle_rad
        .iter()
        .copied()
        .zip(track.torque_nm.iter().copied())
        .collect();
    if track.direction < 0.0 {
        pairs.reverse();
    }
    let spacing = std::f64::consts::TAU / points_per_turn as f64;
    let samples = pairs.len() as f64 / track.turns().max(f64::MIN_POSITIVE);
    if pairs.len() < 8 || samples < points_per_turn as f64 {
        return Err(Refusal::NotCovered {
            what: "samples a turn, to be read at even angles".into(),
            got: samples,
            needed: points_per_turn as f64,
            unit: "samples".into(),
            remedy: "turn slower, sample faster or ask for fewer points a turn".into(),
        });
    }
    let from = (pairs[1].0 / spacing).ceil() as i64;
    let to = (pairs[pairs.len() - 2].0 / spacing).floor() as i64;
    let mut torque = Vec::new();
    let mut k = 1;
    for point in from..=to {
        let at = point as f64 * spacing;
        while k + 3 < pairs.len() && pairs[k + 1].0 <= at {
            k += 1;
        }
        let four = &pairs[k - 1..k + 3];
        torque.push(
            (0..4)
                .map(|i| {
                    let weight: f64 = (0..4)
                        .filter(|j| *j != i)
                        .map(|j| (at - four[j].0) / (four[i].0 - four[j].0))
                        .product();
                    weight * four[i].1
                })
                .sum(),
        );
    }
    Ok(AngleGrid {
        points_per_turn,
        first_rad: from as f64 * spacing,
        torque_nm: torque,
    })
}
