//! Time constants.

use super::{HeatRecord, current_noise};
use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use crate::least_squares::{Fit, Matrix, Options, minimise};
use crate::regression;
use crate::statistics::{all_finite, lag1_autocorrelation, mean_sd};

/// Fewest stretches, and most that are needed.
const FEWEST: usize = 60;
/// Points of the grid on which time constants are looked for.
const GRID: i32 = 14;
/// Least rise in standard deviations of what is left.
const STANDS_OUT: f64 = 20.0;
/// By how much two bodies must explain more than one: the statistic of an F test with two more parameters, at a level of 1e-4
/// for many degrees of freedom (9.2; table of the F distribution, from memory).
const TWO_BODIES: f64 = 9.2;

/// What warms.
#[derive(Debug, Clone, PartialEq)]
pub struct Warming {
    /// Faster time constant, s; the only one where one body explains the record as well as two.
    pub fast: Outcome,
    /// Slower time constant, s.
    pub slow: Outcome,
    /// Temperature cold, °C.
    pub cold_degc: f64,
    /// Rise in the end by loss over cold resistance, K/A², and its standard uncertainty.
    pub rise_per_loss: [f64; 2],
    /// Degrees of freedom of that.
    pub dof: f64,
    /// What the bodies say, °C; one entry a stretch.
    pub model_degc: Vec<f64>,
}

/// What a body keeps of its distance from the loss over a part of a stretch: at its end, and on average.
pub(super) struct Decay {
    pub(super) keeps: f64,
    pub(super) mean: f64,
}

impl Decay {
    pub(super) fn of(record: &HeatRecord, tau_s: f64) -> Self {
        let part_s = record.step_s / record.parts as f64;
        let keeps = (-part_s / tau_s).exp();
        let mean = (1.0 - keeps) * tau_s / part_s;
        Self { keeps, mean }
    }
}

/// Mean over each stretch of a body of time constant `tau_s` that is at rest first.
pub(super) fn body(record: &HeatRecord, tau_s: f64) -> Vec<f64> {
    let Decay { keeps, mean } = Decay::of(record, tau_s);
    let mut x = 0.0;
    (0..record.temperature_degc.len())
        .map(|i| {
            let copper = record.copper(i);
            let mut sum = 0.0;
            for square in record.squares(i) {
                let p = square * copper;
                sum += p + (x - p) * mean;
                x = p + (x - p) * keeps;
            }
            sum / record.parts as f64
        })
        .collect()
}

/// Shares of given bodies and the temperature cold, by least squares; sum of squares left first.
fn linear(record: &HeatRecord, taus_s: &[f64]) -> Result<(f64, Vec<f64>), Refusal> {
    let n = record.temperature_degc.len();
    let mut columns = Matrix::zeros(n, taus_s.len() + 1);
    for (k, tau) in taus_s.iter().enumerate() {
        columns.col_mut(k).copy_from_slice(&body(record, *tau));
    }
    columns.col_mut(taus_s.len()).fill(1.0);
    let fit = regression::fit(&columns, &record.temperature_degc)?;
    Ok((fit.residuals.iter().map(|r| r * r).sum(), fit.coefficients))
}

/// Best constants on a grid of equal ratios.
fn start(record: &HeatRecord, bodies: usize) -> Result<(Vec<f64>, Vec<f64>), Refusal> {
    let length_s = record.temperature_degc.len() as f64 * record.step_s;
    let (low, high) = (2.0 * record.step_s, 3.0 * length_s);
    let grid: Vec<f64> = (0..GRID)
        .map(|i| low * (high / low).powf(f64::from(i) / f64::from(GRID - 1)))
        .collect();
    let mut best: Option<(f64, Vec<f64>, Vec<f64>)> = None;
    for (i, a) in grid.iter().enumerate() {
        let candidates: Vec<Vec<f64>> = match bodies {
            1 => vec![vec![*a]],
            _ => grid.iter().skip(i + 1).map(|b| vec![*a, *b]).collect(),
        };
        for taus in candidates {
            let Ok((left, shares)) = linear(record, &taus) else {
                continue;
            };
            // A share below zero cools where it should warm.
            let sound = shares.iter().take(bodies).all(|a| *a > 0.0);
            if sound && best.as_ref().is_none_or(|known| left < known.0) {
                best = Some((left, taus, shares));
            }
        }
    }
    let found = best.ok_or_else(|| Refusal::WrongSign {
        what: "rise in temperature by the current".into(),
        commanded: 1.0,
        measured: -1.0,
    })?;
    Ok((found.1, found.2))
}

/// All parameters together: logarithms of constants, shares, temperature cold.
fn fit(record: &HeatRecord, bodies: usize) -> Result<Fit, Refusal> {
    let (taus, shares) = start(record, bodies)?;
    let from: Vec<f64> = taus.iter().map(|t| t.ln()).chain(shares).collect();
    let scale = from
        .iter()
        .enumerate()
        .map(|(i, v)| if i < bodies { 1.0 } else { v.abs().max(1e-9) })
        .collect();
    let options = Options {
        scale: Some(scale),
        x_tolerance: 1e-9,
        rss_tolerance: 1e-10,
        ..Options::default()
    };
    let n = record.temperature_degc.len();
    let mut residuals = |p: &[f64], r: &mut [f64]| {
        let model = model(record, p, bodies);
        for i in 0..n {
            r[i] = model[i] - record.temperature_degc[i];
        }
    };
    minimise(&mut residuals, n, &from, &options).map_err(|e| e.refusal("bodies that warm"))
}

pub(super) fn model(record: &HeatRecord, p: &[f64], bodies: usize) -> Vec<f64> {
    let mut sum = vec![p[2 * bodies]; record.temperature_degc.len()];
    for k in 0..bodies {
        // Beyond these ends a body is a constant or a copy of the loss.
        let tau = p[k].clamp(-20.0, 30.0).exp();
        for (s, x) in sum.iter_mut().zip(body(record, tau)) {
            *s += p[bodies + k] * x;
        }
    }
    sum
}

/// Fits one and two bodies.
///
/// # Errors
/// [`Refusal::LengthMismatch`], [`Refusal::NonFinite`], [`Refusal::TooFewSamples`] below sixty stretches, [`Refusal::BelowNoise`]
/// where temperature does not rise out of what is left, [`Refusal::WrongSign`] where it falls with current,
/// [`Refusal::NotConverged`].
pub fn warming(record: &HeatRecord) -> Result<Warming, Refusal> {
    let n = record.temperature_degc.len();
    for (what, list, parts) in [
        ("the square of the current", &record.square, record.parts.max(1)),
        ("the torque", &record.torque_nm, 1),
        ("the setpoint", &record.command_nm, 1),
        ("the temperature", &record.temperature_degc, 1),
    ] {
        all_finite(what, list.iter())?;
        if list.len() != n * parts {
            return Err(Refusal::LengthMismatch {
                what: format!("temperature and {what}"),
                left: n * parts,
                right: list.len(),
            });
        }
    }
    if n < FEWEST {
        return Err(Refusal::TooFewSamples {
            what: "warming".into(),
            got: n,
            needed: FEWEST,
        });
    }
    let one = fit(record, 1)?;
    let two = fit(record, 2);
    let better = |two: &Fit| {
        let f = 0.5 * (one.rss - two.rss) / (two.rss / two.dof.max(1) as f64);
        f > TWO_BODIES && two.parameters[2] > 0.0 && two.parameters[3] > 0.0
    };
    let (bodies, found) = match two {
        Ok(two) if better(&two) => (2, two),
        _ => (1, one),
    };
    let model_degc = model(record, &found.parameters, bodies);
    let left: Vec<f64> = record
        .temperature_degc
        .iter()
        .zip(&model_degc)
        .map(|(t, m)| t - m)
        .collect();
    let sd = mean_sd(&left)?.sd;
    let rise = model_degc.iter().copied().fold(f64::NEG_INFINITY, f64::max) - found.parameters[2 * bodies];
    if rise < STANDS_OUT * sd {
        return Err(Refusal::BelowNoise {
            what: "the rise in temperature".into(),
            found: rise,
            bound: rise + 2.0 * sd,
            level: 0.95,
            unit: "K".into(),
        });
    }
    // What is left is not white where the bodies are not all: as if so many fewer stretches had been seen.
    let tied = lag1_autocorrelation(&left)?.clamp(0.0, 0.98);
    let wider = ((1.0 + tied) / (1.0 - tied)).sqrt();
    let dof = (found.dof as f64 / (wider * wider)).max(1.0);
    let by_current = current_noise::covariance(record, &found, bodies);
    let constant = |k: usize, rank: &str| -> Result<Estimate, Refusal> {
        let tau = found.parameters[k].exp();
        let budget = vec![
            Contribution::type_a("residual of the temperature", tau * wider * found.sd(k), dof),
            Contribution::type_b("noise of the current", tau * by_current[[k, k]].sqrt()),
        ];
        let method = format!("{rank} of {bodies} bodies, least squares over the whole record");
        Estimate::from_budget(tau, "s", n, method, budget)
    };
    let order = if bodies == 2 && found.parameters[0] > found.parameters[1] {
        [1, 0]
    } else {
        [0, bodies - 1]
    };
    let length_s = n as f64 * record.step_s;
    let slow = if bodies == 2 {
        let covers = found.parameters[order[1]].exp() <= 2.0 * length_s;
        let detail = format!(
            "{:.0} s recorded, {:.0} s or more are needed for {:.0} s",
            length_s,
            0.5 * found.parameters[order[1]].exp(),
            found.parameters[order[1]].exp()
        );
        let check = Check::new("length of the record", covers, detail);
        Outcome::from(constant(order[1], "slower").map(|e| e.with_checks([check])))
    } else {
        Refusal::NotCovered {
            what: "a second body that warms".into(),
            got: length_s,
            needed: 2.0 * found.parameters[0].exp(),
            unit: "s".into(),
            remedy: "one explains the record as well; hold longer to part them".into(),
        }
        .into()
    };
    let shares: Vec<usize> = (bodies..2 * bodies).collect();
    let variance: f64 = shares
        .iter()
        .flat_map(|i| shares.iter().map(move |j| [*i, *j]))
        .map(|at| wider * wider * found.covariance[at] + by_current[at])
        .sum();
    let sum = shares.iter().map(|i| found.parameters[*i]).sum();
    Ok(Warming {
        fast: constant(order[0], "faster").into(),
        slow,
        cold_degc: found.parameters[2 * bodies],
        rise_per_loss: [sum, variance.max(0.0).sqrt()],
        dof,
        model_degc,
    })
}
