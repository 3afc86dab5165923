//! The difference of two means.

use crate::distributions::{student_quantile, student_two_sided};
use crate::{Interval, Refusal, Summary};
use serde::Serialize;

/// A mean, or any estimate, with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Mean {
    /// The value.
    pub value: f64,
    /// Its standard error.
    pub std_error: f64,
    /// Degrees of freedom of the standard error; infinite if known exactly.
    pub dof: f64,
}

impl From<Summary> for Mean {
    fn from(summary: Summary) -> Self {
        Self {
            value: summary.mean,
            std_error: summary.std_error(),
            dof: summary.n as f64 - 1.0,
        }
    }
}

/// A difference with its interval and test against zero.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Difference {
    /// First less second, in their unit.
    pub value: f64,
    /// Standard error of it.
    pub std_error: f64,
    /// Degrees of freedom.
    pub dof: f64,
    /// Two-sided interval.
    pub interval: Interval,
    /// Student's t: value over standard error.
    pub t: f64,
    /// Probability of a |t| at least as large if there is no difference.
    pub p: f64,
}

impl Difference {
    fn of(value: f64, std_error: f64, dof: f64, level: f64) -> Self {
        let reach = student_quantile(0.5 + 0.5 * level, dof) * std_error;
        let t = value / std_error;
        Self {
            value,
            std_error,
            dof,
            interval: Interval {
                low: value - reach,
                high: value + reach,
                level,
            },
            t,
            p: student_two_sided(t, dof),
        }
    }
}

/// `a` less `b`, independent of each other; degrees of freedom by Welch (1947) and Satterthwaite (1946).
///
/// # Errors
/// [`Refusal::NonFinite`], [`Refusal::OutOfRange`] for a negative standard error, degrees of freedom below 1 or a level
/// outside 0 to 1, [`Refusal::NoVariance`] if both standard errors are zero.
pub fn difference(a: &Mean, b: &Mean, level: f64) -> Result<Difference, Refusal> {
    Refusal::unless_probability("the level", level)?;
    Refusal::unless_finite("the means", &[a.value, b.value])?;
    for mean in [a, b] {
        Refusal::unless_within("a standard error", mean.std_error, 0.0, f64::MAX)?;
        Refusal::unless_within("the degrees of freedom", mean.dof, 1.0, f64::INFINITY)?;
    }
    let parts = [a, b].map(|m| (m.std_error * m.std_error, m.dof));
    let variance = parts[0].0 + parts[1].0;
    if variance <= 0.0 {
        return Err(Refusal::NoVariance {
            what: "both groups".into(),
            value: a.value,
        });
    }
    // Shares first: squares of tiny variances would vanish.
    let weight: f64 = parts.iter().map(|(v, dof)| (v / variance).powi(2) / dof).sum();
    let dof = if weight > 0.0 { 1.0 / weight } else { f64::INFINITY };
    Ok(Difference::of(a.value - b.value, variance.sqrt(), dof, level))
}

/// Mean of `a` less mean of `b`, whose spreads may differ (Welch's test).
///
/// # Errors
/// [`Refusal::TooFew`] below two values in either, and those of [`difference`].
pub fn welch(a: &[f64], b: &[f64], level: f64) -> Result<Difference, Refusal> {
    let mean = |what: &str, values: &[f64]| {
        Refusal::unless_enough(what, values.len(), 2)?;
        Summary::of(what, values).map(Mean::from)
    };
    difference(
        &mean("values of the first group", a)?,
        &mean("values of the second group", b)?,
        level,
    )
}

/// Mean of the differences of pairs that belong together, `a` less `b`.
///
/// # Errors
/// [`Refusal::LengthMismatch`], [`Refusal::TooFew`] below two pairs, [`Refusal::NonFinite`], [`Refusal::NoVariance`].
pub fn paired(a: &[f64], b: &[f64], level: f64) -> Result<Difference, Refusal> {
    Refusal::unless_probability("the level", level)?;
    if a.len() != b.len() {
        return Err(Refusal::LengthMismatch {
            what: "pairs".into(),
            left: a.len(),
            right: b.len(),
        });
    }
    Refusal::unless_finite("the first of the pairs", a)?;
    Refusal::unless_finite("the second of the pairs", b)?;
    let apart: Vec<f64> = a.iter().zip(b).map(|(a, b)| a - b).collect();
    let summary = Summary::of_spread("differences of the pairs", &apart, 2)?;
    Ok(Difference::of(
        summary.mean,
        summary.std_error(),
        summary.n as f64 - 1.0,
        level,
    ))
}
