//! Friction over the angle: whether it varies around the turn, by how much, and where.
//!
//! Half the difference of the torques of both directions is friction, angle by angle ([`super::paired_drag`]). Several turns at
//! several speeds are repeats of one curve over the angle, each with a level of its own: what they share is friction's
//! variation, what they do not is chance. For each harmonic of a turn the complex amplitude of every repeat is found, and the
//! mean of `P` of them is held against their scatter: with scatter of equal size in both parts
//! `F = P |m|²/2 / s²`, `s² = Σ|c − m|²/2(P − 1)`, has Fisher's distribution with 2 and `2(P − 1)` degrees of freedom where nothing
//! varies, so the rate of false findings is the one that is asked for.

use std::f64::consts::TAU;

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

use super::axis::TorqueScale;
use super::points::SteadyTurn;
use crate::estimate::{Contribution, Estimate, Outcome, Refusal};
use crate::least_squares::Matrix;
use crate::regression::fit;
use crate::statistics::{extent, mean_sd};

/// Rate at which a variation is found where there is none.
pub const FALSE_FINDINGS: f64 = 0.01;
/// Harmonics of a turn that are looked for.
const HARMONICS: [f64; 2] = [1.0, 2.0];
/// Sectors of a whole turn, and bins of each into which angles fall before anything is averaged.
const SECTORS: usize = 12;
const BINS: usize = 15;
/// Fewest repeats, and least part of a turn that they must share.
const REPEATS: usize = 3;
const LEAST_TURN: f64 = 0.8;
/// Angles at which the sum of the harmonics is looked at for its ends.
const POINTS: usize = 720;

/// What repeats of a turn to and fro say of friction over the angle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OverAngle {
    /// Swing of the harmonics' sum, N·m; refused with a bound where none is told from chance.
    pub swing: Outcome,
    /// Amplitude of each harmonic, N·m, once a turn first; refused with a bound where it is not told from chance.
    pub harmonics: Vec<Outcome>,
    /// Sector by sector: from and to which angle within the turn, rad, and friction there less the mean, N·m.
    pub sectors: Vec<([f64; 2], Estimate)>,
    /// Chance that a turn without variation looks like this, the smaller of the harmonics' times their number.
    pub chance: f64,
}

/// Holds repeats, each a turn in the positive and one in the negative direction, against each other.
///
/// # Errors
/// [`Refusal::TooFewRepeats`] below three, [`Refusal::NotCovered`] when they share less than four fifths of a turn,
/// [`Refusal::TooFewSamples`] when a bin of the angle stays empty, and as [`super::paired_drag`] for angles and torques that do not
/// belong together.
pub fn friction_over_angle(
    repeats: &[[SteadyTurn<'_>; 2]],
    torque: &TorqueScale,
) -> Result<OverAngle, Refusal> {
    let p = repeats.len();
    if p < REPEATS {
        return Err(Refusal::TooFewRepeats {
            what: "turns to and fro over four fifths of a turn or more, for friction over the angle".into(),
            got: p,
            needed: REPEATS,
        });
    }
    let (mut low, mut high) = (f64::NEG_INFINITY, f64::INFINITY);
    for turn in repeats.iter().flatten() {
        turn.check()?;
        let [least, most] = extent(turn.angle_rad.iter());
        (low, high) = (low.max(least), high.min(most));
    }
    // A turn and no more: what is beyond would count twice.
    let high = high.min(low + TAU);
    if high - low < LEAST_TURN * TAU {
        return Err(Refusal::NotCovered {
            what: "angles that all turns to and fro share, for friction over the angle".into(),
            got: ((high - low) / TAU).max(0.0),
            needed: LEAST_TURN,
            unit: "turns".into(),
            remedy: "turn the rim a whole turn and back at each of several speeds".into(),
        });
    }
    let curves: Vec<Vec<f64>> = repeats
        .iter()
        .map(|[up, down]| curve(up, down, low, high))
        .collect::<Result<_, _>>()?;
    let count = SECTORS * BINS;
    let at = |bin: usize| low + (high - low) * (bin as f64 + 0.5) / count as f64;
    let amplitudes = curves
        .iter()
        .map(|curve| harmonics_of(curve, &at))
        .collect::<Result<Vec<_>, _>>()?;
    let found: Vec<Harmonic> = (0..HARMONICS.len())
        .map(|h| Harmonic::of(&amplitudes, h))
        .collect();
    let chance = found.iter().map(|h| h.chance).fold(1.0, f64::min) * HARMONICS.len() as f64;
    let told = |h: &Harmonic| h.chance < FALSE_FINDINGS / HARMONICS.len() as f64;
    Ok(OverAngle {
        swing: swing(&found, found.iter().any(told), p, torque),
        harmonics: found.iter().map(|h| amplitude(h, told(h), p, torque)).collect(),
        sectors: sectors(&curves, low, high, torque)?,
        chance: chance.min(1.0),
    })
}

/// Half the difference of both directions in bins of the angle.
fn curve(up: &SteadyTurn<'_>, down: &SteadyTurn<'_>, low: f64, high: f64) -> Result<Vec<f64>, Refusal> {
    let count = SECTORS * BINS;
    let binned = |turn: &SteadyTurn<'_>| -> Result<Vec<f64>, Refusal> {
        let mut sums = vec![(0.0, 0_u32); count];
        for (angle, torque) in turn.angle_rad.iter().zip(turn.torque_nm) {
            let place = (angle - low) / (high - low) * count as f64;
            if place >= 0.0
                && let Some(bin) = sums.get_mut(place as usize)
            {
                bin.0 += torque;
                bin.1 += 1;
            }
        }
        if let Some(empty) = sums.iter().position(|(_, n)| *n == 0) {
            return Err(Refusal::TooFewSamples {
                what: format!("bin {} of {count} of the turn", empty + 1),
                got: 0,
                needed: 1,
            });
        }
        Ok(sums.into_iter().map(|(sum, n)| sum / f64::from(n)).collect())
    };
    let (a, b) = (binned(up)?, binned(down)?);
    Ok(a.iter().zip(&b).map(|(a, b)| 0.5 * (a - b)).collect())
}

/// Cosine and sine parts of each harmonic of one curve.
fn harmonics_of(curve: &[f64], at: &dyn Fn(usize) -> f64) -> Result<Vec<[f64; 2]>, Refusal> {
    let mut x = Matrix::zeros(curve.len(), 1 + 2 * HARMONICS.len());
    x.col_mut(0).fill(1.0);
    for (h, n) in HARMONICS.iter().enumerate() {
        for i in 0..curve.len() {
            let (sin, cos) = (n * at(i)).sin_cos();
            x.col_mut(1 + 2 * h)[i] = cos;
            x.col_mut(2 + 2 * h)[i] = sin;
        }
    }
    let c = fit(&x, curve)?.coefficients;
    Ok((0..HARMONICS.len())
        .map(|h| [c[1 + 2 * h], c[2 + 2 * h]])
        .collect())
}

struct Harmonic {
    mean: [f64; 2],
    /// Variance of one part of one repeat.
    variance: f64,
    chance: f64,
    /// Radius about the mean that holds the true amplitude with 95 %.
    radius: f64,
}

impl Harmonic {
    fn of(amplitudes: &[Vec<[f64; 2]>], h: usize) -> Self {
        let own = || amplitudes.iter().filter_map(move |a| a.get(h));
        let p = amplitudes.len() as f64;
        let mean = [0, 1].map(|k| own().map(|c| c[k]).sum::<f64>() / p);
        let squares: f64 = own()
            .map(|c| (c[0] - mean[0]).powi(2) + (c[1] - mean[1]).powi(2))
            .sum();
        let dof = 2.0 * (p - 1.0);
        let variance = squares / dof;
        let f = 0.5 * p * (mean[0] * mean[0] + mean[1] * mean[1]) / variance;
        let fisher = FisherSnedecor::new(2.0, dof);
        let (chance, radius) = fisher.map_or((1.0, f64::INFINITY), |fisher| {
            // Without any scatter at all nothing is left to chance.
            let chance = if f.is_finite() { fisher.sf(f) } else { 0.0 };
            (chance, (2.0 * variance / p * fisher.inverse_cdf(0.95)).sqrt())
        });
        Self {
            mean,
            variance,
            chance,
            radius,
        }
    }

    fn size(&self) -> f64 {
        self.mean[0].hypot(self.mean[1])
    }
}

const METHOD: &str = "what turns to and fro at several speeds share, against what they scatter";

fn amplitude(h: &Harmonic, told: bool, p: usize, torque: &TorqueScale) -> Outcome {
    let size = h.size();
    if !told {
        return Refusal::BelowNoise {
            what: "variation of friction by one harmonic of the turn".into(),
            found: size,
            bound: size + h.radius,
            level: 0.95,
            unit: "N.m".into(),
        }
        .into();
    }
    let dof = 2.0 * (p as f64 - 1.0);
    let mut budget = vec![Contribution::type_a(
        "scatter of turns",
        (h.variance / p as f64).sqrt(),
        dof,
    )];
    budget.extend(torque.gain(size));
    Estimate::from_budget(size, "N.m", p, METHOD, budget).into()
}

/// Swing of the sum of both harmonics, with its slope over each amplitude at the two ends.
fn swing(found: &[Harmonic], told: bool, p: usize, torque: &TorqueScale) -> Outcome {
    let value = |a: f64| -> f64 {
        let parts = found.iter().zip(HARMONICS);
        parts
            .map(|(h, n)| h.mean[0] * (n * a).cos() + h.mean[1] * (n * a).sin())
            .sum()
    };
    let angles = || (0..POINTS).map(|i| TAU * i as f64 / POINTS as f64);
    let by = |a: &f64, b: &f64| value(*a).total_cmp(&value(*b));
    let (Some(top), Some(bottom)) = (angles().max_by(by), angles().min_by(by)) else {
        return Refusal::TooFewRepeats {
            what: "angles".into(),
            got: 0,
            needed: POINTS,
        }
        .into();
    };
    let size = value(top) - value(bottom);
    if !told {
        return Refusal::BelowNoise {
            what: format!(
                "variation of friction over the turn (told from none at a rate of {} %)",
                100.0 * FALSE_FINDINGS
            ),
            found: size,
            bound: 2.0 * found.iter().map(|h| h.size() + h.radius).sum::<f64>(),
            level: 0.95,
            unit: "N.m".into(),
        }
        .into();
    }
    let variance: f64 = found
        .iter()
        .zip(HARMONICS)
        .map(|(h, n)| {
            let (a, b) = ((n * top).sin_cos(), (n * bottom).sin_cos());
            h.variance / p as f64 * ((a.0 - b.0).powi(2) + (a.1 - b.1).powi(2))
        })
        .sum();
    let mut budget = vec![Contribution::type_a(
        "scatter of turns",
        variance.sqrt(),
        2.0 * (p as f64 - 1.0),
    )];
    budget.extend(torque.gain(size));
    Estimate::from_budget(size, "N.m", p, METHOD, budget).into()
}

/// Means over sectors, less each repeat's own mean over the turn.
fn sectors(
    curves: &[Vec<f64>],
    low: f64,
    high: f64,
    torque: &TorqueScale,
) -> Result<Vec<([f64; 2], Estimate)>, Refusal> {
    let edge = |k: usize| low + (high - low) * k as f64 / SECTORS as f64;
    (0..SECTORS)
        .map(|k| {
            let own: Vec<f64> = curves
                .iter()
                .map(|curve| {
                    let mean = curve.iter().sum::<f64>() / curve.len() as f64;
                    let part = curve.iter().skip(k * BINS).take(BINS);
                    part.map(|nm| nm - mean).sum::<f64>() / BINS as f64
                })
                .collect();
            let s = mean_sd(&own)?;
            let mut budget = vec![Contribution::of_mean("scatter of turns", &s)];
            budget.extend(torque.gain(s.mean));
            let estimate = Estimate::from_budget(s.mean, "N.m", s.n, METHOD, budget)?;
            Ok(([edge(k), edge(k + 1)], estimate))
        })
        .collect()
}
