//! Inverse dynamics: inertia and friction by least squares from any motion with its torque.
//!
//! `T = J α + b ω + T_c sgn(ω) + offset`. As in robot identification, torque and every regressor pass the same
//! zero-phase low-pass in parallel, so that what the filter takes it takes from both sides, and the rows are then
//! decimated to what the filter lets through (Gautier 1997; Gautier, Janot and Vandanjon, IEEE Trans. Control Systems
//! Technology 21 (2013) 428). Rows near standstill, where the sign is not friction's, are left out.

use std::f64::consts::TAU;
use std::ops::Range;

use ndarray::{Array2, ArrayView1};
use serde::{Deserialize, Serialize};

use super::axis::{Axis, TorqueScale};
use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use crate::least_squares::Matrix;
use crate::regression::{LinearFit, block_jackknife, fit};
use crate::statistics::{all_finite, extent};
use crate::zero_phase::{LowPass, derivative};

/// A recording of motion and the torque that makes it.
#[derive(Debug, Clone, Copy)]
pub struct Motion<'a> {
    /// Samples a second.
    pub fs_hz: f64,
    /// Angle, rad, or position, m.
    pub position: ArrayView1<'a, f64>,
    /// Torque, N·m, or force, N.
    pub effort: ArrayView1<'a, f64>,
}

/// How to go about it.
#[derive(Debug, Clone, PartialEq)]
pub struct InverseOptions {
    /// Units.
    pub axis: Axis,
    /// Zero and gain of the sensor.
    pub torque: TorqueScale,
    /// Corner of the low-pass, Hz: five to ten times the fastest wanted motion, below the first resonance.
    pub corner_hz: f64,
    /// Slowest speed used, rad/s: above the range of Stribeck's fall.
    pub least_speed: f64,
    /// Orders of torque, per turn, known to repeat with the angle (cogging), fitted along.
    pub orders: Vec<f64>,
    /// Whether torque that changes slowly with the angle is fitted along, as a parabola of it, where the motion stays within a
    /// turn: an eccentric bearing, and whatever else has no order that so short a way could tell.
    pub place: bool,
    /// Rows at which the motion is not that of one inertia (a gap that closes); left out with what the filter remembers.
    pub left_out: Vec<Range<usize>>,
    /// Whether what is left over is taken for torque of an order that was not fitted, with what that would make of each result.
    pub unfitted: bool,
    /// Blocks of the jackknife that gives the covariance.
    pub blocks: usize,
    /// Largest inflation of a coefficient's variance by the others before it is refused.
    pub inflation_max: f64,
}

impl Default for InverseOptions {
    fn default() -> Self {
        Self {
            axis: Axis::Rotary,
            torque: TorqueScale::default(),
            corner_hz: 20.0,
            least_speed: 0.3,
            orders: Vec::new(),
            place: false,
            left_out: Vec::new(),
            unfitted: false,
            blocks: 24,
            inflation_max: 50.0,
        }
    }
}

/// What a motion says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct InverseFit {
    /// Inertia, or mass.
    pub inertia: Outcome,
    /// Viscous friction.
    pub viscous: Outcome,
    /// Coulomb torque, mean of both directions.
    pub coulomb: Outcome,
    /// In the positive direction; rests on the declared zero.
    pub coulomb_positive: Outcome,
    /// In the negative direction.
    pub coulomb_negative: Outcome,
    /// Zero of the sensor and half the difference of the directions together, which no motion can part.
    pub offset: Outcome,
    /// Condition number of the regressors, each divided by its length.
    pub condition: f64,
    /// Root mean square of what is left, filtered.
    pub residual_rms: f64,
    /// Rows used.
    pub rows: usize,
    /// Quality checks.
    pub checks: Vec<Check>,
}

const INERTIA: usize = 0;
const VISCOUS: usize = 1;
const COULOMB: usize = 2;
const OFFSET: usize = 3;
const NAMES: [&str; 4] = ["inertia", "viscous friction", "Coulomb torque", "the offset"];

/// Fits the motion.
///
/// Uncertainties come from deleting block after block of rows, as residuals are not white, and from the angle's noise
/// in the acceleration, which pulls the inertia down (errors in variables); a pull above 2 % is refused.
///
/// # Errors
/// [`Refusal::LengthMismatch`], [`Refusal::NonFinite`], [`Refusal::TooFewSamples`], [`Refusal::OutOfRange`] for a
/// corner too near the sample rate, [`Refusal::NotCovered`] when a direction has less than a tenth of the rows. Single
/// results are refused with [`Refusal::Confounded`].
pub fn inverse_dynamics(motion: &Motion<'_>, options: &InverseOptions) -> Result<InverseFit, Refusal> {
    let (position, effort) = (motion.position.to_vec(), motion.effort.to_vec());
    if position.len() != effort.len() {
        return Err(Refusal::LengthMismatch {
            what: "position and effort".into(),
            left: position.len(),
            right: effort.len(),
        });
    }
    all_finite("the position", position.iter())?;
    all_finite("the effort", effort.iter())?;
    let rows = Rows::new(motion.fs_hz, &position, &effort, options)?;
    let solved = fit(&rows.x, &rows.y)?;
    let covariance = block_jackknife(&rows.x, &rows.y, options.blocks)?;
    // Where the corner of the low-pass moves a value, it is known no better than that.
    let lower = InverseOptions {
        corner_hz: 0.7 * options.corner_hz,
        ..options.clone()
    };
    let again = Rows::new(motion.fs_hz, &position, &effort, &lower)?;
    let other = fit(&again.x, &again.y)?.coefficients;
    let moved: Vec<f64> = solved
        .coefficients
        .iter()
        .zip(&other)
        .map(|(a, b)| a - b)
        .collect();
    results(&rows, &solved, &covariance, &moved, options)
}

/// Widest motion over which torque that changes slowly with the angle is a parabola of it, rad.
const WITHIN: f64 = TAU;
/// Orders per turn, each so many times the one before, by which torque that was not fitted is tried; the lowest.
const ORDER_STEP: f64 = 1.12;
const LOWEST_ORDER: f64 = 0.5;
/// Sample rate at which a wave of such an order is filtered: at least so many corners of the filter, and by so much beyond what
/// would fold into its pass band.
const CORNERS: f64 = 20.0;
const MARGIN: f64 = 1.25;
/// An order that the columns explain but for this share of it is fitted already.
const EXPLAINED: f64 = 0.2;

struct Rows {
    x: Matrix,
    y: Vec<f64>,
    /// Variance that the angle's noise puts into the acceleration.
    acceleration_noise: f64,
    /// Samples a second, the angle behind the filter, and which of its samples are rows.
    fs_hz: f64,
    smooth: Vec<f64>,
    used: Vec<usize>,
    /// Samples from row to row.
    step: usize,
}

impl Rows {
    fn new(fs_hz: f64, position: &[f64], effort: &[f64], options: &InverseOptions) -> Result<Self, Refusal> {
        if options.corner_hz > 0.05 * fs_hz {
            return Err(Refusal::OutOfRange {
                what:
                    "the corner of the low-pass (beyond a twentieth of the sample rate derivatives are off)"
                        .into(),
                value: options.corner_hz,
                low: 0.0,
                high: 0.05 * fs_hz,
                unit: "Hz".into(),
            });
        }
        let filter = LowPass::butterworth(4, options.corner_hz, fs_hz)?;
        let smooth = filter.run(position)?;
        let speed = derivative(&smooth, fs_hz);
        let acceleration = derivative(&speed, fs_hz);
        let sign: Vec<f64> = speed.iter().map(|v| v.signum()).collect();
        let [sign, torque] = filter.run_beside([&sign, effort])?;
        let mut columns = vec![acceleration, speed.clone(), sign, vec![1.0; position.len()]];
        for order in &options.orders {
            columns.extend(waves(&filter, &smooth, *order)?);
        }
        if options.place {
            let [low, high] = extent(&smooth);
            let (middle, half) = (0.5 * (low + high), 0.5 * (high - low));
            if half > 0.0 && 2.0 * half < WITHIN {
                let place: Vec<f64> = smooth.iter().map(|a| (a - middle) / half).collect();
                columns.push(filter.run(&place)?);
                let square: Vec<f64> = place.iter().map(|p| p * p).collect();
                columns.push(filter.run(&square)?);
            }
        }
        // Standstill spoils its surroundings as far as the filter's memory.
        let memory = (0.5 * fs_hz / options.corner_hz).ceil() as usize;
        let mut usable = vec![true; speed.len()];
        let (mut since, ends) = (usize::MAX, filter.reach());
        for i in 0..speed.len() {
            since = if speed[i].abs() < options.least_speed {
                0
            } else {
                since.saturating_add(1)
            };
            usable[i] &= since > memory;
        }
        since = usize::MAX;
        for i in (0..speed.len()).rev() {
            since = if speed[i].abs() < options.least_speed {
                0
            } else {
                since.saturating_add(1)
            };
            usable[i] &= since > memory && i >= ends && i + ends < speed.len();
        }
        for range in &options.left_out {
            let (from, to) = (
                range.start.saturating_sub(memory),
                range.end.saturating_add(memory),
            );
            for flag in usable.iter_mut().take(to).skip(from) {
                *flag = false;
            }
        }
        let step = ((fs_hz / (2.5 * options.corner_hz)).floor() as usize).max(1);
        let rows: Vec<usize> = (0..speed.len()).step_by(step).filter(|i| usable[*i]).collect();
        let needed = (columns.len() * 5).max(2 * options.blocks);
        if rows.len() < needed {
            return Err(Refusal::TooFewSamples {
                what: "inverse dynamics (after filtering, and above the least speed)".into(),
                got: rows.len(),
                needed,
            });
        }
        let forward = rows.iter().filter(|i| speed[**i] > 0.0).count() as f64 / rows.len() as f64;
        if forward.min(1.0 - forward) < 0.1 {
            return Err(Refusal::NotCovered {
                what: "motion in the rarer direction".into(),
                got: forward.min(1.0 - forward),
                needed: 0.1,
                unit: "of the rows".into(),
                remedy: "move both ways, or Coulomb friction and the sensor's zero cannot be parted".into(),
            });
        }
        let mut x = Matrix::zeros(rows.len(), columns.len());
        for (j, column) in columns.iter().enumerate() {
            for (target, i) in x.col_mut(j).iter_mut().zip(&rows) {
                *target = column[*i];
            }
        }
        let rough = position
            .iter()
            .zip(&smooth)
            .map(|(a, b)| (a - b).powi(2))
            .sum::<f64>();
        Ok(Self {
            x,
            y: rows.iter().map(|i| torque[*i]).collect(),
            acceleration_noise: rough / position.len() as f64 * noise_gain(&filter, fs_hz)?,
            fs_hz,
            smooth,
            used: rows,
            step,
        })
    }

    /// What torque of one order per turn that was not fitted would make of each of the first four coefficients, for a residual of
    /// the size found: the root mean square over orders that pass the low-pass at the least speed, and over their phases.
    fn unfitted(&self, residual: f64, options: &InverseOptions) -> Result<[f64; 4], Refusal> {
        let highest = options.corner_hz * TAU / options.least_speed;
        let (mut squares, mut count) = ([0.0; 4], 0.0);
        let fastest = self.x.col(VISCOUS).iter().map(|v| v.abs()).fold(0.0, f64::max);
        let mut order = LOWEST_ORDER;
        while order <= highest {
            // As few samples as hold the wave and the filter's own shape: what is left of it is slow.
            let wave_hz = order * fastest / TAU;
            let enough_hz = (CORNERS * options.corner_hz).max(MARGIN * (wave_hz + options.corner_hz));
            let most = (self.fs_hz / enough_hz) as usize;
            let each = (1..=self.step)
                .rev()
                .find(|d| self.step.is_multiple_of(*d) && *d <= most)
                .unwrap_or(1);
            let filter = LowPass::butterworth(4, options.corner_hz, self.fs_hz / each as f64)?;
            let angle: Vec<f64> = self.smooth.iter().step_by(each).copied().collect();
            for wave in waves(&filter, &angle, order)? {
                let rows = self.used.iter().filter_map(|i| wave.get(i / each).copied());
                let seen: Vec<f64> = rows.collect();
                let size = (seen.iter().map(|v| v * v).sum::<f64>() / seen.len() as f64).sqrt();
                let solved = fit(&self.x, &seen)?;
                if solved.residual_sd > EXPLAINED * size {
                    for (sum, c) in squares.iter_mut().zip(&solved.coefficients) {
                        *sum += (c * residual / solved.residual_sd).powi(2);
                    }
                    count += 1.0;
                }
            }
            order *= ORDER_STEP;
        }
        Ok(squares.map(|sum| if count > 0.0 { (sum / count).sqrt() } else { 0.0 }))
    }
}

/// Cosine and sine of one order over the angle, behind the filter.
fn waves(filter: &LowPass, angle: &[f64], order: f64) -> Result<[Vec<f64>; 2], Refusal> {
    let (sine, cosine): (Vec<f64>, Vec<f64>) = angle.iter().map(|a| (order * a).sin_cos()).unzip();
    filter.run_beside([&cosine, &sine])
}

/// Variance of the acceleration per variance of white noise in the angle.
fn noise_gain(filter: &LowPass, fs_hz: f64) -> Result<f64, Refusal> {
    let reach = filter.reach();
    let mut impulse = vec![0.0; 4 * reach + 9];
    impulse[2 * reach + 4] = 1.0;
    let response = derivative(&derivative(&filter.run(&impulse)?, fs_hz), fs_hz);
    Ok(response.iter().map(|v| v * v).sum())
}

fn results(
    rows: &Rows,
    solved: &LinearFit,
    covariance: &Array2<f64>,
    moved: &[f64],
    options: &InverseOptions,
) -> Result<InverseFit, Refusal> {
    let (axis, torque) = (options.axis, options.torque);
    let c = &solved.coefficients;
    let doubts = if options.unfitted {
        rows.unfitted(solved.residual_sd, options)?
    } else {
        [0.0; 4]
    };
    let doubt =
        |u: f64| (u > 0.0).then(|| Contribution::type_b("torque over the angle that was not fitted", u));
    let n = rows.y.len();
    let dof = options.blocks as f64 - 1.0;
    let power = rows.x.col(INERTIA).iter().map(|v| v * v).sum::<f64>() / n as f64;
    let pull = rows.acceleration_noise / power * solved.inflation[INERTIA];
    let estimate = |value: f64, unit: &str, variance: f64, moved: f64, more: Vec<Contribution>| {
        let mut budget = vec![
            Contribution::type_a("scatter between blocks", variance.max(0.0).sqrt(), dof),
            Contribution::rectangular("corner of the low-pass", moved),
        ];
        budget.extend(more);
        Estimate::from_budget(
            value,
            unit,
            n,
            "inverse dynamics by least squares, filtered and decimated",
            budget,
        )
    };
    let refuse = |i: usize| -> Option<Refusal> {
        let value = solved.inflation[i];
        (value > options.inflation_max).then(|| Refusal::Confounded {
            what: NAMES[i].into(),
            with: solved.partner(i).map_or("the others".into(), |(j, _)| {
                (*NAMES.get(j).unwrap_or(&"an order of torque")).into()
            }),
            measure: "inflation of its variance".into(),
            value,
            limit: options.inflation_max,
            remedy: "vary speed and acceleration independently, both ways".into(),
        })
    };
    let single = |i: usize, unit: &str, more: Vec<Contribution>| -> Outcome {
        match refuse(i) {
            Some(refusal) => refusal.into(),
            None => {
                let more = more.into_iter().chain(doubt(doubts[i])).collect();
                estimate(c[i], unit, covariance[[i, i]], moved[i], more).into()
            }
        }
    };
    let gain = |value: f64| torque.gain(value).into_iter().collect::<Vec<_>>();
    let inertia = if pull > 0.02 {
        Refusal::Confounded {
            what: "inertia".into(),
            with: "noise of the angle in the acceleration".into(),
            measure: "share of noise in the regressor".into(),
            value: pull,
            limit: 0.02,
            remedy: "accelerate harder, or lower the corner of the low-pass".into(),
        }
        .into()
    } else {
        let mut more = gain(c[INERTIA]);
        more.push(Contribution::rectangular("noise of the angle", pull * c[INERTIA]));
        single(INERTIA, axis.inertia(), more)
    };
    let side = |sign: f64| -> Outcome {
        if let Some(refusal) = refuse(COULOMB).or_else(|| refuse(OFFSET)) {
            return refusal.into();
        }
        let value = c[COULOMB] + sign * (c[OFFSET] - torque.zero_nm);
        let variance = covariance[[COULOMB, COULOMB]]
            + covariance[[OFFSET, OFFSET]]
            + 2.0 * sign * covariance[[COULOMB, OFFSET]];
        let both = doubts[COULOMB].hypot(doubts[OFFSET]);
        let more = gain(value)
            .into_iter()
            .chain(torque.zero())
            .chain(doubt(both))
            .collect();
        estimate(
            value,
            axis.effort(),
            variance,
            moved[COULOMB] + sign * moved[OFFSET],
            more,
        )
        .into()
    };
    let worst = (0..4).map(|i| solved.inflation[i]).fold(0.0, f64::max);
    let lag = crate::statistics::lag1_autocorrelation(&solved.residuals)?;
    Ok(InverseFit {
        inertia,
        viscous: single(VISCOUS, axis.viscous(), gain(c[VISCOUS])),
        coulomb: single(COULOMB, axis.effort(), gain(c[COULOMB])),
        coulomb_positive: side(1.0),
        coulomb_negative: side(-1.0),
        offset: single(OFFSET, axis.effort(), vec![]),
        condition: solved.condition,
        residual_rms: solved.residual_sd,
        rows: n,
        checks: vec![
            Check::new(
                "regressors told apart",
                worst <= options.inflation_max,
                format!(
                    "variance inflated up to {worst:.1} times, limit {:.0}; condition number {:.1}",
                    options.inflation_max, solved.condition
                ),
            ),
            Check::new(
                "noise of the angle",
                pull <= 0.005,
                format!("pulls the inertia down by {:.2} %, limit 0.5 %", 100.0 * pull),
            ),
            Check::new(
                "nothing regular left over",
                lag.abs() < 0.7,
                format!("correlation of neighbouring residuals {lag:.2}, limit 0.7"),
            ),
        ],
    })
}
