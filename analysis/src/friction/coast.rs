//! Coasting down: friction from how fast a known inertia slows.

use ndarray::ArrayView1;
use serde::{Deserialize, Serialize};

use super::axis::Axis;
use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use crate::least_squares::{Fit, Options, minimise};
use crate::statistics::{all_finite, mean_sd};

/// One run, from the instant the drive lets go.
#[derive(Debug, Clone, Copy)]
pub struct CoastDown<'a> {
    /// Samples a second.
    pub fs_hz: f64,
    /// Angle, rad.
    pub angle_rad: ArrayView1<'a, f64>,
}

/// What is known beforehand.
#[derive(Debug, Clone, PartialEq)]
pub struct CoastOptions {
    /// Units.
    pub axis: Axis,
    /// Everything that turns, seen at the rim, kg·m²; for [`Axis::Linear`] the mass, kg.
    pub inertia: f64,
    /// Its standard uncertainty.
    pub inertia_u: f64,
    /// Slowest speed used, rad/s: at least four Stribeck speeds, so that the fall of friction is out of sight.
    pub least_speed: f64,
    /// Standard deviation of an angle reading, rad; for a step `q` of the encoder, `q/√12`.
    pub angle_sd: f64,
}

/// What coasting says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CoastFit {
    /// Coulomb torque, mean of both directions (or of the one there is).
    pub coulomb: Outcome,
    /// In the positive direction.
    pub coulomb_positive: Outcome,
    /// In the negative direction.
    pub coulomb_negative: Outcome,
    /// Viscous friction.
    pub viscous: Outcome,
    /// Coulomb torque and viscous friction run by run, `None` where a run gave nothing.
    pub per_run: Vec<Option<[f64; 2]>>,
    /// Runs left out and why.
    pub left_out: Vec<(usize, String)>,
    /// Quality checks.
    pub checks: Vec<Check>,
}

/// Least runs, so that their scatter says something.
const RUNS: usize = 4;

struct Run {
    index: usize,
    direction: f64,
    /// Coulomb and viscous friction, each over the inertia.
    over_inertia: [f64; 2],
    residual_sd: f64,
}

/// Fits each run's angle by the motion of an inertia under Coulomb and viscous friction,
/// `ω' = −c − βω`, in closed form, down to the least speed; values are means over the runs and their scatter.
///
/// A fit of the angle needs no derivative. Cogging averages out over the many periods of a run; what is left of it
/// shows in the scatter when the runs start at different angles, as they should.
///
/// # Errors
/// [`Refusal::OutOfRange`] for an inertia that is not positive or a negative uncertainty or speed,
/// [`Refusal::TooFewRepeats`] when fewer than four runs are usable.
pub fn fit_coast_down(runs: &[CoastDown<'_>], options: &CoastOptions) -> Result<CoastFit, Refusal> {
    for (what, value, low) in [
        ("the inertia", options.inertia, f64::MIN_POSITIVE),
        ("the uncertainty of the inertia", options.inertia_u, 0.0),
        ("the least speed", options.least_speed, 0.0),
        ("the spread of an angle reading", options.angle_sd, 0.0),
    ] {
        if !(value >= low && value.is_finite()) {
            return Err(Refusal::OutOfRange {
                what: what.into(),
                value,
                low,
                high: f64::INFINITY,
                unit: "(SI)".into(),
            });
        }
    }
    let mut used = Vec::new();
    let mut left_out = Vec::new();
    for (index, run) in runs.iter().enumerate() {
        match fit_run(index, run, options) {
            Ok(run) => used.push(run),
            Err(refusal) => left_out.push((index, refusal.to_string())),
        }
    }
    if used.len() < RUNS {
        return Err(Refusal::TooFewRepeats {
            what: match left_out.first() {
                Some((index, reason)) => format!("coasting down (run {index} left out: {reason})"),
                None => "coasting down".into(),
            },
            got: used.len(),
            needed: RUNS,
        });
    }
    results(runs.len(), &used, left_out, options)
}

fn fit_run(index: usize, run: &CoastDown<'_>, options: &CoastOptions) -> Result<Run, Refusal> {
    let angle: Vec<f64> = run.angle_rad.to_vec();
    all_finite("the angle", angle.iter())?;
    let end = end_of(&angle, run.fs_hz, options.least_speed);
    if end < 50 {
        return Err(Refusal::TooFewSamples {
            what: "a run above the least speed".into(),
            got: end,
            needed: 50,
        });
    }
    let angle = &angle[..end];
    let time = |i: usize| i as f64 / run.fs_hz;
    let span = time(end - 1);
    let first = angle[0];
    let direction = (angle[end - 1] - first).signum();
    // Start: straight lines through the first and the last fifth.
    let fifth = (end / 5).max(2);
    let slope =
        |from: usize, to: usize| (angle[to] - angle[from]) * run.fs_hz / (to - from) as f64 * direction;
    let (fast, slow) = (slope(0, fifth), slope(end - 1 - fifth, end - 1));
    let slows = (fast - slow) / (0.8 * span);
    if slows <= 0.0 {
        return Err(Refusal::WrongSign {
            what: "slowing of a run, rad/s²".into(),
            commanded: 1.0,
            measured: slows,
        });
    }
    let start = [0.0, fast + 0.1 * span * slows, 0.7 * slows, 0.3 * slows / fast];
    let settings = Options {
        scale: Some(vec![0.01 * fast * span, fast, slows, slows / fast]),
        max_iterations: 100,
        x_tolerance: 1e-10,
        rss_tolerance: 1e-12,
        offset_tolerance: 1e-2,
        ..Options::default()
    };
    let fit: Fit = minimise(
        &mut |p, r| {
            for (i, r) in r.iter_mut().enumerate() {
                *r = p[0] + travel(p[1], p[2], p[3], time(i)) - (angle[i] - first) * direction;
            }
        },
        end,
        &start,
        &settings,
    )
    .map_err(|failure| failure.refusal("one run's coasting"))?;
    Ok(Run {
        index,
        direction,
        over_inertia: [fit.parameters[2], fit.parameters[3]],
        residual_sd: fit.residual_sd,
    })
}

/// Angle covered after `t` from speed `w` under `ω' = −c − βω`; analytic in β at zero.
pub(crate) fn travel(w: f64, c: f64, beta: f64, t: f64) -> f64 {
    let x = beta * t;
    let (one, two) = if x.abs() < 1e-3 {
        (
            1.0 - x / 2.0 + x * x / 6.0 - x * x * x / 24.0,
            0.5 - x / 6.0 + x * x / 24.0 - x * x * x / 120.0,
        )
    } else {
        let one = -(-x).exp_m1() / x;
        (one, (1.0 - one) / x)
    };
    w * t * one - c * t * t * two
}

/// First sample at which the speed over a fiftieth of the record is below the least.
fn end_of(angle: &[f64], fs_hz: f64, least: f64) -> usize {
    let n = angle.len();
    let half = (n / 100).max(5);
    (half..n.saturating_sub(half))
        .find(|i| {
            let speed = (angle[i + half] - angle[i - half]) * fs_hz / (2 * half) as f64;
            speed.abs() < least
        })
        .unwrap_or(n)
}

fn results(
    count: usize,
    used: &[Run],
    left_out: Vec<(usize, String)>,
    options: &CoastOptions,
) -> Result<CoastFit, Refusal> {
    let (axis, inertia) = (options.axis, options.inertia);
    let mut per_run = vec![None; count];
    for run in used {
        per_run[run.index] = Some(run.over_inertia.map(|v| v * inertia));
    }
    let of = |k: usize, sign: f64| -> Vec<f64> {
        used.iter()
            .filter(|r| r.direction * sign > 0.0)
            .map(|r| r.over_inertia[k] * inertia)
            .collect()
    };
    let estimate = |value: f64, unit: &str, u: f64, dof: f64, n: usize| {
        let budget = vec![
            Contribution::type_a("scatter of runs", u, dof),
            Contribution::type_b("inertia", (value * options.inertia_u / inertia).abs()),
        ];
        Estimate::from_budget(
            value,
            unit,
            n,
            "least squares of the coasting angle, mean over runs",
            budget,
        )
    };
    // Runs scatter alike in both directions: pooled, the scatter is better known.
    let mut scatter = (0.0, 0.0);
    for sign in [1.0, -1.0] {
        let values = of(0, sign);
        if !values.is_empty() {
            let s = mean_sd(&values)?;
            scatter.0 += s.sd.powi(2) * (s.n as f64 - 1.0);
            scatter.1 += s.n as f64 - 1.0;
        }
    }
    let sd = (scatter.0 / scatter.1).sqrt();
    let mut sides = Vec::new();
    for sign in [1.0, -1.0] {
        let values = of(0, sign);
        sides.push(if values.len() < 2 {
            Outcome::from(Refusal::TooFewRepeats {
                what: "Coulomb torque in one direction".into(),
                got: values.len(),
                needed: 2,
            })
        } else {
            let s = mean_sd(&values)?;
            estimate(s.mean, axis.effort(), sd / (s.n as f64).sqrt(), scatter.1, s.n)?.into()
        });
    }
    // Mean over directions, each counted once, with the scatter within directions.
    let pooled = |k: usize, unit: &str| -> Result<Outcome, Refusal> {
        let (mut means, mut squares, mut dof, mut inverse) = (Vec::new(), 0.0, 0.0, 0.0);
        for sign in [1.0, -1.0] {
            let values = of(k, sign);
            if values.is_empty() {
                continue;
            }
            let s = mean_sd(&values)?;
            squares += s.sd.powi(2) * (s.n as f64 - 1.0);
            dof += s.n as f64 - 1.0;
            inverse += 1.0 / s.n as f64;
            means.push(s.mean);
        }
        let d = means.len() as f64;
        let u = (squares / dof * inverse).sqrt() / d;
        Ok(estimate(means.iter().sum::<f64>() / d, unit, u, dof, used.len())?.into())
    };
    let worst = used.iter().map(|r| r.residual_sd).fold(0.0, f64::max);
    let limit = 3.0 * options.angle_sd;
    let checks = vec![
        Check::new(
            "coasting follows Coulomb and viscous friction",
            worst <= limit,
            format!("{worst:.2e} {} left over, limit {limit:.2e}", axis.position()),
        ),
        Check::new(
            "both directions",
            [1.0, -1.0].iter().all(|s| of(0, *s).len() >= 2),
            format!(
                "{} and {} runs, at least 2 each",
                of(0, 1.0).len(),
                of(0, -1.0).len()
            ),
        ),
    ];
    let coulomb_negative = sides.pop();
    let coulomb_positive = sides.pop();
    let missing = || {
        Outcome::from(Refusal::TooFewRepeats {
            what: "Coulomb torque in one direction".into(),
            got: 0,
            needed: 2,
        })
    };
    Ok(CoastFit {
        coulomb: pooled(0, axis.effort())?,
        coulomb_positive: coulomb_positive.unwrap_or_else(missing),
        coulomb_negative: coulomb_negative.unwrap_or_else(missing),
        viscous: pooled(1, axis.viscous())?,
        per_run,
        left_out,
        checks,
    })
}
