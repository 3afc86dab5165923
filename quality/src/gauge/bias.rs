//! Bias of a gauge against a reference.

use crate::distributions::{student_quantile, student_two_sided};
use crate::{Interval, Refusal, Summary};
use serde::Serialize;

/// Bias with its interval and test.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Bias {
    /// Mean less reference.
    pub value: f64,
    /// Standard error, the reference's uncertainty included.
    pub std_error: f64,
    /// Interval of the bias.
    pub interval: Interval,
    /// Student's t.
    pub t: f64,
    /// Probability of a |t| at least as large without bias.
    pub p: f64,
    /// Whether the interval excludes zero.
    pub significant: bool,
}

/// Bias of repeats on a reference whose standard uncertainty is `reference_u` (zero if it counts as exact).
///
/// # Errors
/// [`Refusal::TooFew`] below two values, [`Refusal::NonFinite`], [`Refusal::NoVariance`], [`Refusal::OutOfRange`].
pub fn bias(values: &[f64], reference: f64, reference_u: f64, level: f64) -> Result<Bias, Refusal> {
    let summary = Summary::of_spread("repeats on the reference", values, 2)?;
    bias_of(&summary, reference, reference_u, level)
}

/// [`bias`] from number, mean and standard deviation.
///
/// # Errors
/// As [`bias`].
pub fn bias_of(summary: &Summary, reference: f64, reference_u: f64, level: f64) -> Result<Bias, Refusal> {
    Refusal::unless_enough("repeats on the reference", summary.n, 2)?;
    Refusal::unless_finite("mean and reference", &[summary.mean, reference])?;
    Refusal::unless_positive("the spread of the repeats", summary.sd)?;
    Refusal::unless_within("the reference's uncertainty", reference_u, 0.0, f64::MAX)?;
    Refusal::unless_probability("the level", level)?;
    let repeats = summary.std_error();
    let std_error = repeats.hypot(reference_u);
    // Welch and Satterthwaite, the reference known exactly.
    let dof = (summary.n as f64 - 1.0) * (std_error / repeats).powi(4);
    let value = summary.mean - reference;
    let reach = student_quantile(0.5 + 0.5 * level, dof) * std_error;
    let interval = Interval {
        low: value - reach,
        high: value + reach,
        level,
    };
    let t = value / std_error;
    Ok(Bias {
        value,
        std_error,
        interval,
        t,
        p: student_two_sided(t, dof),
        significant: !interval.holds(0.0),
    })
}
