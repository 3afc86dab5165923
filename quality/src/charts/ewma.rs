//! Exponentially weighted moving average: small persistent shifts.

use super::{Chart, Point, RunRule, Signal};
use crate::Refusal;
use serde::Serialize;

/// Limits of an EWMA.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum EwmaLimits {
    /// Those it settles at.
    Steady,
    /// Narrower at first, as its variance grows: (1 − (1 − λ)^2i) of the steady one.
    Exact,
}

/// What an EWMA is judged by.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct EwmaSettings {
    /// Centre line and starting value.
    pub target: f64,
    /// Standard deviation of a single value.
    pub sigma: f64,
    /// Weight of the newest value, above 0 to 1; 0.2 to 0.3 is usual.
    pub weight: f64,
    /// Limits in standard deviations of the average; 3 is usual.
    pub width: f64,
    /// Which limits.
    pub limits: EwmaLimits,
}

/// EWMA of `values` (Roberts 1959; e-Handbook 6.3.2.4).
///
/// # Errors
/// [`Refusal::TooFew`] without values, [`Refusal::NonFinite`], [`Refusal::OutOfRange`] for the settings.
pub fn ewma(values: &[f64], settings: &EwmaSettings) -> Result<Chart, Refusal> {
    Refusal::unless_enough("values of a chart", values.len(), 1)?;
    Refusal::unless_finite("values of a chart", values)?;
    Refusal::unless_finite("the target", &[settings.target])?;
    Refusal::unless_positive("the spread", settings.sigma)?;
    Refusal::unless_within("the weight", settings.weight, f64::MIN_POSITIVE, 1.0)?;
    Refusal::unless_positive("the width of the limits", settings.width)?;
    let (weight, mut average, mut left) = (settings.weight, settings.target, 1.0);
    let steady = settings.width * settings.sigma * (weight / (2.0 - weight)).sqrt();
    let mut points = Vec::with_capacity(values.len());
    for value in values {
        average += weight * (value - average);
        left *= (1.0 - weight) * (1.0 - weight);
        let reach = match settings.limits {
            EwmaLimits::Steady => steady,
            EwmaLimits::Exact => steady * (1.0_f64 - left).sqrt(),
        };
        points.push(Point {
            value: average,
            lower: settings.target - reach,
            upper: settings.target + reach,
        });
    }
    let signals = points
        .iter()
        .enumerate()
        .filter(|(_, p)| p.value < p.lower || p.value > p.upper)
        .map(|(at, _)| Signal {
            rule: RunRule::OneBeyondThreeSigma,
            first: at,
            last: at,
        })
        .collect();
    Ok(Chart {
        centre: settings.target,
        points,
        signals,
    })
}
