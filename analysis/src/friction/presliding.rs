//! Pre-sliding: the spring that friction is before it gives.

use ndarray::ArrayView1;
use serde::{Deserialize, Serialize};

use super::axis::{Axis, TorqueScale};
use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use crate::least_squares::{Options, minimise};
use crate::statistics::{all_finite, extent, mean_sd};
use crate::turning::turning_points;
use crate::zero_phase::LowPass;

/// Small slow reversals about one position.
#[derive(Debug, Clone, Copy)]
pub struct Reversals<'a> {
    /// Samples a second.
    pub fs_hz: f64,
    /// Angle, rad.
    pub angle_rad: ArrayView1<'a, f64>,
    /// Torque that turns the rim, N·m.
    pub torque_nm: ArrayView1<'a, f64>,
}

/// How to go about it.
#[derive(Debug, Clone, PartialEq)]
pub struct PreslidingOptions {
    /// Units.
    pub axis: Axis,
    /// Zero and gain of the sensor.
    pub torque: TorqueScale,
    /// Corner of the low-pass for angle and torque alike, Hz; a hundred times the rate of the reversals, as it rounds
    /// their tips.
    pub corner_hz: f64,
    /// Step of the angle, rad.
    pub angle_step_rad: f64,
}

/// What the reversals say.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PreslidingFit {
    /// Stiffness of the bristles, `σ₀`, with whatever else gives in series with them up to where the angle is read.
    pub stiffness: Outcome,
    /// Torque at which they give, for motion so slow that it is breakaway's.
    pub sliding: Outcome,
    /// Stiffness and sliding torque cycle by cycle.
    pub per_cycle: Vec<[f64; 2]>,
    /// Quality checks.
    pub checks: Vec<Check>,
}

/// Least number of whole cycles.
const CYCLES: usize = 4;

/// Fits each cycle by the LuGre bristle at vanishing speed, `dz/dθ = 1 − sgn(dθ) z/z_c`, `T = σ₀ z + T₀`, solved
/// branch by branch from its reversal on (the solution is an exponential in the angle); values are means over cycles.
///
/// # Errors
/// [`Refusal::LengthMismatch`], [`Refusal::NonFinite`], [`Refusal::TooFewSamples`], [`Refusal::NotCovered`] when the
/// angle's step is more than a twentieth of the movement, [`Refusal::TooFewRepeats`] below four cycles,
/// [`Refusal::NotConverged`].
pub fn fit_presliding(record: &Reversals<'_>, options: &PreslidingOptions) -> Result<PreslidingFit, Refusal> {
    let (angle, torque) = (record.angle_rad.to_vec(), record.torque_nm.to_vec());
    if angle.len() != torque.len() {
        return Err(Refusal::LengthMismatch {
            what: "angle and torque of reversals".into(),
            left: angle.len(),
            right: torque.len(),
        });
    }
    all_finite("the angle", angle.iter())?;
    all_finite("the torque", torque.iter())?;
    let filter = LowPass::butterworth(2, options.corner_hz, record.fs_hz)?;
    let (angle, torque) = (filter.run(&angle)?, filter.run(&torque)?);
    let [low, high] = extent(&angle);
    let range = high - low;
    if range < 20.0 * options.angle_step_rad || range <= 0.0 {
        return Err(Refusal::NotCovered {
            what: "movement of small reversals, in steps of the angle".into(),
            got: range / options.angle_step_rad.max(f64::MIN_POSITIVE),
            needed: 20.0,
            unit: "steps".into(),
            remedy: "read the angle with a finer encoder".into(),
        });
    }
    let turns = turning_points(&angle, 0.3 * range);
    let cycles: Vec<&[usize]> = turns.windows(3).step_by(2).collect();
    if cycles.len() < CYCLES {
        return Err(Refusal::TooFewRepeats {
            what: "cycles of small reversals".into(),
            got: cycles.len(),
            needed: CYCLES,
        });
    }
    // The filter rounds the tips off; their surroundings are left out.
    let blur = (0.35 * record.fs_hz / options.corner_hz).ceil() as usize;
    let mut per_cycle = Vec::new();
    let (mut residual, mut span, mut rounding) = (0.0_f64, 0.0_f64, 0.0_f64);
    for cycle in cycles {
        let fit = one_cycle(&angle, &torque, cycle, blur)?;
        rounding = rounding.max(
            cycle
                .iter()
                .map(|i| rounded(&angle, *i, blur))
                .fold(0.0, f64::max),
        );
        per_cycle.push([fit[0], fit[1]]);
        residual = residual.max(fit[2]);
        span = span.max(fit[3]);
    }
    let axis = options.axis;
    // The bristle bends back from the true tip, the fit from the rounded one.
    let reach = per_cycle.iter().map(|c| c[1] / c[0]).sum::<f64>() / per_cycle.len() as f64;
    let of = |k: usize, unit: &str| -> Result<Estimate, Refusal> {
        let s = mean_sd(&per_cycle.iter().map(|c| c[k]).collect::<Vec<_>>())?;
        let n = s.n as f64;
        let tips = s.mean * rounding / reach.min(range);
        let mut budget = vec![Contribution::type_a(
            "scatter of cycles",
            s.sd / n.sqrt(),
            n - 1.0,
        )];
        if tips > 0.0 {
            budget.push(Contribution::rectangular("tips rounded by the low-pass", tips));
        }
        budget.extend(options.torque.gain(s.mean));
        Estimate::from_budget(
            s.mean,
            unit,
            s.n,
            "least squares of bristle hysteresis, cycle by cycle",
            budget,
        )
    };
    let (stiffness, sliding) = (of(0, axis.stiffness())?, of(1, axis.effort())?);
    let bend = range * stiffness.value / sliding.value.max(f64::MIN_POSITIVE);
    let sliding = if bend < 1.0 {
        Refusal::NotCovered {
            what: "movement of small reversals, in pre-sliding angles".into(),
            got: bend,
            needed: 1.0,
            unit: "times".into(),
            remedy: "move further for the sliding torque; the stiffness stands".into(),
        }
        .into()
    } else {
        Outcome::from(sliding)
    };
    Ok(PreslidingFit {
        stiffness: stiffness.into(),
        sliding,
        per_cycle,
        checks: vec![Check::new(
            "hysteresis of a bristle",
            residual < 0.05 * span,
            format!(
                "{:.2} % of the torque's range left over, limit 5 %",
                100.0 * residual / span.max(f64::MIN_POSITIVE)
            ),
        )],
    })
}

/// By how much the low-pass rounds a sharp tip: straight lines from either side meet that much further out.
fn rounded(angle: &[f64], tip: usize, blur: usize) -> f64 {
    let (Some(a), Some(d)) = (tip.checked_sub(2 * blur), angle.get(tip + 2 * blur)) else {
        return 0.0;
    };
    let (a, b, c) = (angle[a], angle[tip - blur], angle[tip + blur]);
    let (left, right) = (2.0 * b - a, 2.0 * c - d);
    (0.5 * (left + right) - angle[tip]).abs()
}

/// Stiffness, sliding torque, residual and range of torque of one cycle between three turns.
fn one_cycle(angle: &[f64], torque: &[f64], turns: &[usize], blur: usize) -> Result<[f64; 4], Refusal> {
    let (a, b, c) = (turns[0], turns[1], turns[2]);
    let kept: Vec<usize> = (a + blur..b.saturating_sub(blur))
        .chain(b + blur..c.saturating_sub(blur))
        .collect();
    if kept.len() < 50 {
        return Err(Refusal::TooFewSamples {
            what: "one cycle of small reversals".into(),
            got: kept.len(),
            needed: 50,
        });
    }
    // At most some hundreds of samples a cycle: more carry nothing new after the filter.
    let step = (kept.len() / 600).max(1);
    let kept: Vec<usize> = kept.into_iter().step_by(step).collect();
    let s = (angle[b] - angle[a]).signum();
    let (range, span) = ((angle[b] - angle[a]).abs(), (torque[b] - torque[a]).abs());
    // Parameters: stiffness, sliding torque, offset, torque of the bristle at the first turn.
    let model = |p: &[f64], i: usize| {
        let reach = p[1] / p[0];
        let along = |from: f64, s: f64, d: f64| s * p[1] + (from - s * p[1]) * (-d / reach).exp();
        if i < b {
            p[2] + along(p[3], s, s * (angle[i] - angle[a]))
        } else {
            let turned = along(p[3], s, s * (angle[b] - angle[a]));
            p[2] + along(turned, -s, s * (angle[b] - angle[i]))
        }
    };
    let middle = 0.5 * (torque[a] + torque[b]);
    let rough = span / range;
    let settings = Options {
        scale: Some(vec![rough, span, span, span]),
        lower: Some(vec![
            0.1 * rough,
            0.05 * span,
            f64::NEG_INFINITY,
            f64::NEG_INFINITY,
        ]),
        upper: Some(vec![1e3 * rough, 1e3 * span, f64::INFINITY, f64::INFINITY]),
        max_iterations: 300,
        x_tolerance: 1e-8,
        rss_tolerance: 1e-10,
        offset_tolerance: 0.05,
        ..Options::default()
    };
    let mut best: Option<crate::least_squares::Fit> = None;
    let mut failure = None;
    for factor in [1.2, 3.0, 10.0] {
        let start = [
            factor * rough,
            span * (0.4 + 0.6 / factor),
            middle,
            -0.5 * s * span,
        ];
        let fit = minimise(
            &mut |p, r| {
                for (r, i) in r.iter_mut().zip(&kept) {
                    *r = model(p, *i) - torque[*i];
                }
            },
            kept.len(),
            &start,
            &settings,
        );
        match fit {
            Ok(fit) if best.as_ref().is_none_or(|b| fit.rss < b.rss) => best = Some(fit),
            Ok(_) => {}
            Err(error) => failure = Some(error),
        }
    }
    match (best, failure) {
        (Some(fit), _) => Ok([fit.parameters[0], fit.parameters[1], fit.residual_sd, span]),
        (None, Some(failure)) => Err(failure.refusal("one cycle of small reversals")),
        (None, None) => Err(Refusal::NotConverged {
            what: "one cycle of small reversals".into(),
            iterations: 0,
            reason: "no start was tried".into(),
        }),
    }
}
