//! What is known of a value, and how probable it is that it conforms.

use super::Limits;
use crate::Refusal;
use crate::distributions::{normal_above, normal_below};
use serde::Serialize;

/// A normal distribution: what is known of a measurand, or how a process spreads.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Normal {
    /// Mean.
    pub mean: f64,
    /// Standard deviation.
    pub sd: f64,
}

impl Normal {
    /// A checked distribution.
    ///
    /// # Errors
    /// [`Refusal::NonFinite`], [`Refusal::OutOfRange`] unless `sd` is positive.
    pub fn new(mean: f64, sd: f64) -> Result<Self, Refusal> {
        Refusal::unless_finite("the mean", &[mean])?;
        Refusal::unless_positive("the standard deviation", sd)?;
        Ok(Self { mean, sd })
    }

    /// Probability of a value outside `limits`; the tails are added, so small ones keep their digits.
    pub fn outside(&self, limits: &Limits) -> f64 {
        let below = limits
            .lower()
            .map_or(0.0, |l| normal_below((l - self.mean) / self.sd));
        let above = limits
            .upper()
            .map_or(0.0, |u| normal_above((u - self.mean) / self.sd));
        below + above
    }

    /// Probability of a value within `limits`.
    pub fn within(&self, limits: &Limits) -> f64 {
        match (limits.lower(), limits.upper()) {
            (Some(lower), None) => normal_above((lower - self.mean) / self.sd),
            (None, Some(upper)) => normal_below((upper - self.mean) / self.sd),
            _ => 1.0 - self.outside(limits),
        }
    }
}

/// Probability that a measurand conforms of which `estimate` with standard uncertainty `u` is all that is known
/// (JCGM 106:2012, 7.3 to 7.5).
///
/// # Errors
/// [`Refusal::NonFinite`], [`Refusal::OutOfRange`] unless `u` is positive.
pub fn probability_of_conformity(estimate: f64, u: f64, limits: &Limits) -> Result<f64, Refusal> {
    Ok(Normal::new(estimate, u)?.within(limits))
}

/// What is known of one item after it read `estimate` with standard uncertainty `u`, when items spread as `process`
/// (JCGM 106:2012, 7.2.2): the mean weighted by both precisions.
///
/// # Errors
/// [`Refusal::NonFinite`], [`Refusal::OutOfRange`] unless both spreads are positive.
pub fn posterior(process: &Normal, estimate: f64, u: f64) -> Result<Normal, Refusal> {
    let measured = Normal::new(estimate, u)?;
    let process = Normal::new(process.mean, process.sd)?;
    let ratio = (measured.sd / process.sd).powi(2);
    Normal::new(
        (ratio * process.mean + measured.mean) / (1.0 + ratio),
        measured.sd / (1.0 + ratio).sqrt(),
    )
}
