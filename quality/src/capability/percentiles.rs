//! Indices by percentiles, for values that are not normal (ISO 22514-2).

use crate::conformity::Limits;
use crate::{Refusal, quantile};
use serde::Serialize;

/// The middle, and what takes the place of ±3 sigma.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Percentiles {
    /// 0.135 %.
    pub low: f64,
    /// 50 %.
    pub middle: f64,
    /// 99.865 %.
    pub high: f64,
}

/// Lower share, 0.135 %.
const TAIL: f64 = 0.00135;

/// Percentiles of values, which have to reach into the tails: at least 741 (1/0.00135).
///
/// # Errors
/// [`Refusal::TooFew`], [`Refusal::NonFinite`].
pub fn percentiles_of(values: &[f64]) -> Result<Percentiles, Refusal> {
    Refusal::unless_enough("values for percentiles of 0.135 %", values.len(), 741)?;
    Ok(Percentiles {
        low: quantile(values, TAIL)?,
        middle: quantile(values, 0.5)?,
        high: quantile(values, 1.0 - TAIL)?,
    })
}

/// Pp (for two-sided limits) and Ppk by percentiles.
///
/// # Errors
/// [`Refusal::NonFinite`], [`Refusal::OutOfRange`] unless the percentiles rise.
pub fn percentile_indices(p: &Percentiles, limits: &Limits) -> Result<(Option<f64>, f64), Refusal> {
    Refusal::unless_finite("the percentiles", &[p.low, p.middle, p.high])?;
    Refusal::unless_positive("the middle above the low percentile", p.middle - p.low)?;
    Refusal::unless_positive("the high percentile above the middle", p.high - p.middle)?;
    let lower = limits.lower().map(|l| (p.middle - l) / (p.middle - p.low));
    let upper = limits.upper().map(|u| (u - p.middle) / (p.high - p.middle));
    let smaller = lower.into_iter().chain(upper).fold(f64::INFINITY, f64::min);
    Ok((limits.width().map(|w| w / (p.high - p.low)), smaller))
}
