//! Onset by simple marks of each repeat: what cross-checks the joint fit.
//!
//! Both marks are late by the lag of the rise, and by nothing else; so the joint fit, which takes the lag out, must lie
//! before them, and by no more than the rise takes. They need no model, which is their use.

use serde::{Deserialize, Serialize};

use super::prepare::repeat;
use super::{LatencyFit, LatencyOptions};
use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal, bootstrap};
use crate::statistics::median;
use crate::step::StepRecord;

/// Marks over the repeats.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct OnsetMarks {
    /// Median instant at which the torque first leaves five times the noise and stays out for two samples, s from the
    /// setpoint coming into force, the sensor's delay taken out.
    pub threshold: Outcome,
    /// Median of the back-extrapolation `t20 - 2/3 (t50 - t20)` along the rise, s, likewise.
    pub extrapolated: Outcome,
    /// Threshold mark of each repeat, s; `None` where a repeat could not be used.
    pub threshold_s: Vec<Option<f64>>,
    /// Extrapolation of each repeat, s.
    pub extrapolated_s: Vec<Option<f64>>,
}

/// Multiple of the noise that counts as onset.
const LEVEL: f64 = 5.0;

/// Draws of the bootstrap of the medians.
const DRAWS: usize = 1000;

/// Marks of all repeats of one commanded change. The same `seed` gives the same intervals.
pub fn onset_marks(steps: &[StepRecord<'_>], options: &LatencyOptions, seed: u64) -> OnsetMarks {
    let each: Vec<Option<(f64, f64)>> = steps
        .iter()
        .enumerate()
        .map(|(i, step)| marks(i, step, options).ok())
        .collect();
    let first_reason = steps
        .iter()
        .enumerate()
        .find_map(|(i, step)| marks(i, step, options).err());
    let of = |pick: fn(&(f64, f64)) -> f64, method: &str| -> (Outcome, Vec<Option<f64>>) {
        let values: Vec<Option<f64>> = each.iter().map(|m| m.as_ref().map(pick)).collect();
        let used: Vec<f64> = values.iter().flatten().copied().collect();
        let budget = vec![
            Contribution::type_b("declared sensor delay", options.sensor_delay_u_s),
            Contribution::rectangular("clock resolution", options.tick_s),
        ];
        let made = match (&first_reason, used.is_empty()) {
            (Some(reason), true) => Err(reason.clone()),
            _ => bootstrap(
                &used,
                median,
                "s",
                method,
                options.min_repeats,
                DRAWS,
                seed,
                budget,
            ),
        };
        (made.into(), values)
    };
    let (threshold, threshold_s) = of(|m| m.0, "median of the first passage of five times the noise");
    let (extrapolated, extrapolated_s) = of(
        |m| m.1,
        "median of the extrapolation from 50 and 20 % of the rise",
    );
    OnsetMarks {
        threshold,
        extrapolated,
        threshold_s,
        extrapolated_s,
    }
}

fn marks(index: usize, step: &StepRecord<'_>, options: &LatencyOptions) -> Result<(f64, f64), Refusal> {
    let r = repeat(index, step, options)?;
    let passage = |from: usize, level: f64, stays: usize| -> Option<f64> {
        let found = (from.max(1)..r.y_nm.len().saturating_sub(stays))
            .find(|i| r.y_nm[*i..=i + stays].iter().all(|y| *y >= level))?;
        let (a, b) = (r.y_nm[found - 1], r.y_nm[found]);
        let share = if b > a {
            ((level - a) / (b - a)).clamp(0.0, 1.0)
        } else {
            1.0
        };
        Some(r.t_s[found - 1] + share * (r.t_s[found] - r.t_s[found - 1]))
    };
    let before = r.t_s.partition_point(|t| *t <= 0.0);
    let late = || Refusal::DelayBeyondWindow {
        delay_s: r.t_s[r.t_s.len() - 1],
        window_s: r.t_s[r.t_s.len() - 1],
    };
    let threshold = passage(before, LEVEL * r.noise_nm, 1).ok_or_else(late)?;
    let t20 = passage(before, 0.2 * r.settled_nm, 0).ok_or_else(late)?;
    let t50 = passage(before, 0.5 * r.settled_nm, 0).ok_or_else(late)?;
    let extrapolated = t20 - (t50 - t20) * 2.0 / 3.0;
    Ok((
        threshold - options.sensor_delay_s,
        extrapolated - options.sensor_delay_s,
    ))
}

/// Whether the joint fit lies where the marks allow: not after the threshold mark, which is late by the lag of the first
/// rise, and not before it by more than `rise_s`, the time from onset to half of the change.
///
/// # Errors
/// A refusal of the latency or of the mark.
pub fn marks_agree(fit: &LatencyFit, marks: &OnsetMarks, rise_s: f64) -> Result<Check, Refusal> {
    let of = |outcome: &Outcome, what: &str| -> Result<Estimate, Refusal> {
        outcome.estimate().cloned().ok_or_else(|| Refusal::TooFewRepeats {
            what: what.into(),
            got: 0,
            needed: 1,
        })
    };
    let (latency, mark) = (
        of(&fit.latency, "latency")?,
        of(&marks.threshold, "the threshold mark")?,
    );
    let u = latency.std_uncertainty.hypot(mark.std_uncertainty);
    let late = mark.value - latency.value;
    let agree = late > -2.0 * u && late < rise_s + 2.0 * u;
    Ok(Check::new(
        "latency lies before the first visible torque",
        agree,
        format!(
            "{:.3} ms before it, allowed {:.3} to {:.3} ms",
            1e3 * late,
            -2e3 * u,
            1e3 * (rise_s + 2.0 * u)
        ),
    ))
}
