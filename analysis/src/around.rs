//! What varies around the turn: curves over the angle that several turns repeat, held against one another.
//!
//! Each repeat has a level of its own; what they share is variation over the angle, what they do not is chance. For each harmonic
//! of a turn the complex amplitude of every repeat is found, and the mean of `P` of them is held against their scatter: with
//! scatter of equal size in both parts `F = P |m|²/2 / s²`, `s² = Σ|c − m|²/2(P − 1)`, has Fisher's distribution with 2 and
//! `2(P − 1)` degrees of freedom where nothing varies, so the rate of false findings is the one that is asked for.

use std::f64::consts::TAU;

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

use crate::estimate::{Contribution, Estimate, Outcome, Refusal};
use crate::least_squares::Matrix;
use crate::regression::fit;
use crate::statistics::mean_sd;

/// Rate at which a variation is found where there is none.
pub const FALSE_FINDINGS: f64 = 0.01;
/// Harmonics of a turn that are looked for.
const HARMONICS: [f64; 2] = [1.0, 2.0];
/// Sectors of a whole turn, and bins of each into which angles fall before anything is averaged.
const SECTORS: usize = 12;
const BINS: usize = 15;
/// Bins of the whole.
pub(crate) const COUNT: usize = SECTORS * BINS;
/// Fewest repeats, and least part of a turn that they must share.
pub(crate) const REPEATS: usize = 3;
const LEAST_TURN: f64 = 0.8;
/// Angles at which the sum of the harmonics is looked at for its ends.
const POINTS: usize = 720;

/// What varies, in words and units.
pub(crate) struct Told<'a> {
    /// The quantity, as in "variation of …".
    pub(crate) what: &'a str,
    pub(crate) unit: &'a str,
    pub(crate) method: &'a str,
    /// Amplitude that the instruments may make by themselves in every repeat alike; nothing below it is told from none.
    pub(crate) floor: f64,
    /// What repeats do not show, of a value.
    pub(crate) beyond: &'a dyn Fn(f64) -> Vec<Contribution>,
}

/// Variation of one quantity around the turn, in the quantity's unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Variation {
    /// Swing of the harmonics' sum; refused with a bound where none is told from chance.
    pub swing: Outcome,
    /// Amplitude of each harmonic, once a turn first; refused with a bound where it is not told from chance.
    pub harmonics: Vec<Outcome>,
    /// Sector by sector: from and to which angle within the turn, rad, and the value there less the mean.
    pub sectors: Vec<([f64; 2], Estimate)>,
    /// Chance that a turn without variation looks like this, the smaller of the harmonics' times their number.
    pub chance: f64,
}

/// Angles that everything is looked at over.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Window {
    low: f64,
    high: f64,
}

impl Window {
    /// What the ranges of angles of all repeats share, at most a turn: what is beyond would count twice.
    pub(crate) fn of(
        ranges: impl Iterator<Item = [f64; 2]>,
        repeats: usize,
        what: &str,
    ) -> Result<Self, Refusal> {
        if repeats < REPEATS {
            return Err(Refusal::TooFewRepeats {
                what: format!(
                    "turns to and fro over four fifths of a turn or more, for {what} over the angle"
                ),
                got: repeats,
                needed: REPEATS,
            });
        }
        let (low, high) = ranges.fold((f64::NEG_INFINITY, f64::INFINITY), |(low, high), [a, b]| {
            (low.max(a), high.min(b))
        });
        let high = high.min(low + TAU);
        if high - low < LEAST_TURN * TAU {
            return Err(Refusal::NotCovered {
                what: format!("angles that all turns to and fro share, for {what} over the angle"),
                got: ((high - low) / TAU).max(0.0),
                needed: LEAST_TURN,
                unit: "turns".into(),
                remedy: "turn the rim a whole turn and back at each of several speeds".into(),
            });
        }
        Ok(Self { low, high })
    }

    /// Means in bins of the angle of all that comes at the angles given.
    ///
    /// # Errors
    /// [`Refusal::TooFewSamples`] when a bin stays empty.
    pub(crate) fn bins<const N: usize>(
        &self,
        samples: impl Iterator<Item = (f64, [f64; N])>,
    ) -> Result<Vec<[f64; N]>, Refusal> {
        let mut sums = vec![([0.0; N], 0_u32); COUNT];
        for (angle, values) in samples {
            let place = (angle - self.low) / (self.high - self.low) * COUNT as f64;
            if place >= 0.0
                && let Some((sum, n)) = sums.get_mut(place as usize)
            {
                sum.iter_mut().zip(values).for_each(|(s, v)| *s += v);
                *n += 1;
            }
        }
        if let Some(empty) = sums.iter().position(|(_, n)| *n == 0) {
            return Err(Refusal::TooFewSamples {
                what: format!("bin {} of {COUNT} of the turn", empty + 1),
                got: 0,
                needed: 1,
            });
        }
        Ok(sums
            .into_iter()
            .map(|(sum, n)| sum.map(|s| s / f64::from(n)))
            .collect())
    }

    /// Middle of a bin, rad.
    fn at(&self, bin: usize) -> f64 {
        self.low + (self.high - self.low) * (bin as f64 + 0.5) / COUNT as f64
    }

    /// Ends of a sector, rad.
    fn ends(&self, sector: usize) -> [f64; 2] {
        let edge = |k: usize| self.low + (self.high - self.low) * k as f64 / SECTORS as f64;
        [edge(sector), edge(sector + 1)]
    }
}

/// Holds curves of [`COUNT`] bins against each other.
pub(crate) fn variation(curves: &[Vec<f64>], window: &Window, told: &Told<'_>) -> Result<Variation, Refusal> {
    let amplitudes = curves
        .iter()
        .map(|curve| harmonics_of(curve, window).map(|(_, parts)| parts))
        .collect::<Result<Vec<_>, _>>()?;
    let found: Vec<Harmonic> = (0..HARMONICS.len())
        .map(|h| Harmonic::of(&amplitudes, h))
        .collect();
    let chance = found.iter().map(|h| h.chance).fold(1.0, f64::min) * HARMONICS.len() as f64;
    let is_told =
        |h: &Harmonic| h.chance < FALSE_FINDINGS / HARMONICS.len() as f64 && h.size() - h.radius > told.floor;
    let p = curves.len();
    Ok(Variation {
        swing: swing(&found, found.iter().any(is_told), p, told),
        harmonics: found.iter().map(|h| amplitude(h, is_told(h), p, told)).collect(),
        sectors: sectors(curves, window, told)?,
        chance: chance.min(1.0),
    })
}

/// Mean over a whole turn of a function of each curve's level and harmonics: a part of the turn may be missing, and chance from bin to bin
/// does not pass through the function.
pub(crate) fn whole_turn(
    curves: &[Vec<f64>],
    window: &Window,
    f: impl Fn(f64) -> f64,
) -> Result<Vec<f64>, Refusal> {
    let mean = |curve: &Vec<f64>| {
        let (level, parts) = harmonics_of(curve, window)?;
        let angles = (0..POINTS).map(|i| TAU * i as f64 / POINTS as f64);
        let sum: f64 = angles.map(|a| f(level + sum_at(parts.iter().copied(), a))).sum();
        Ok(sum / POINTS as f64)
    };
    curves.iter().map(mean).collect()
}

/// Sum of the harmonics at an angle.
fn sum_at(parts: impl Iterator<Item = [f64; 2]>, angle: f64) -> f64 {
    let each = parts.zip(HARMONICS);
    each.map(|([c, s], n)| c * (n * angle).cos() + s * (n * angle).sin())
        .sum()
}

/// Level of one curve, and cosine and sine parts of each harmonic.
fn harmonics_of(curve: &[f64], window: &Window) -> Result<(f64, Vec<[f64; 2]>), Refusal> {
    let mut x = Matrix::zeros(curve.len(), 1 + 2 * HARMONICS.len());
    x.col_mut(0).fill(1.0);
    for (h, n) in HARMONICS.iter().enumerate() {
        for i in 0..curve.len() {
            let (sin, cos) = (n * window.at(i)).sin_cos();
            x.col_mut(1 + 2 * h)[i] = cos;
            x.col_mut(2 + 2 * h)[i] = sin;
        }
    }
    let c = fit(&x, curve)?.coefficients;
    let parts = (0..HARMONICS.len()).map(|h| [c[1 + 2 * h], c[2 + 2 * h]]);
    Ok((c[0], parts.collect()))
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

fn amplitude(h: &Harmonic, is_told: bool, p: usize, told: &Told<'_>) -> Outcome {
    let size = h.size();
    if !is_told {
        return Refusal::BelowNoise {
            what: format!("variation of {} by one harmonic of the turn", told.what),
            found: size,
            bound: size + h.radius + told.floor,
            level: 0.95,
            unit: told.unit.into(),
        }
        .into();
    }
    let dof = 2.0 * (p as f64 - 1.0);
    let scatter = Contribution::type_a("scatter of turns", (h.variance / p as f64).sqrt(), dof);
    let budget = std::iter::once(scatter).chain((told.beyond)(size)).collect();
    Estimate::from_budget(size, told.unit, p, told.method, budget).into()
}

/// Swing of the sum of both harmonics, with its slope over each amplitude at the two ends.
fn swing(found: &[Harmonic], is_told: bool, p: usize, told: &Told<'_>) -> Outcome {
    let value = |a: f64| sum_at(found.iter().map(|h| h.mean), a);
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
    if !is_told {
        return Refusal::BelowNoise {
            what: format!(
                "variation of {} over the turn (told from none at a rate of {} %)",
                told.what,
                100.0 * FALSE_FINDINGS
            ),
            found: size,
            bound: 2.0
                * found
                    .iter()
                    .map(|h| h.size() + h.radius + told.floor)
                    .sum::<f64>(),
            level: 0.95,
            unit: told.unit.into(),
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
    let scatter = Contribution::type_a("scatter of turns", variance.sqrt(), 2.0 * (p as f64 - 1.0));
    let budget = std::iter::once(scatter).chain((told.beyond)(size)).collect();
    Estimate::from_budget(size, told.unit, p, told.method, budget).into()
}

/// Means over sectors, less each repeat's own mean over the turn.
fn sectors(
    curves: &[Vec<f64>],
    window: &Window,
    told: &Told<'_>,
) -> Result<Vec<([f64; 2], Estimate)>, Refusal> {
    (0..SECTORS)
        .map(|k| {
            let own: Vec<f64> = curves
                .iter()
                .map(|curve| {
                    let mean = curve.iter().sum::<f64>() / curve.len() as f64;
                    let part = curve.iter().skip(k * BINS).take(BINS);
                    part.map(|value| value - mean).sum::<f64>() / BINS as f64
                })
                .collect();
            let s = mean_sd(&own)?;
            let scatter = Contribution::of_mean("scatter of turns", &s);
            let budget = std::iter::once(scatter).chain((told.beyond)(s.mean)).collect();
            let estimate = Estimate::from_budget(s.mean, told.unit, s.n, told.method, budget)?;
            Ok((window.ends(k), estimate))
        })
        .collect()
}
