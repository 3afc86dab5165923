//! Cumulative sums: small persistent shifts, and since when.

use crate::Refusal;
use serde::Serialize;

/// What cumulative sums are judged by, in the unit of the values.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CusumSettings {
    /// Where the values should be.
    pub target: f64,
    /// Allowance: half the shift that should be found.
    pub allowance: f64,
    /// Height at which a sum signals; four to five sigma is usual.
    pub height: f64,
}

/// Both sums after a value.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CusumPoint {
    /// What lies above target and allowance.
    pub high: f64,
    /// What lies below.
    pub low: f64,
}

/// Cumulative sums with their first signal.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Cusum {
    /// After each value.
    pub points: Vec<CusumPoint>,
    /// First value at which a sum exceeds the height.
    pub signal: Option<usize>,
    /// First value that this sum counts without falling back to zero: where the shift is likely to have begun.
    pub begun: Option<usize>,
}

/// Two-sided tabular cumulative sums (Page 1954; e-Handbook 6.3.2.3).
///
/// # Errors
/// [`Refusal::TooFew`] without values, [`Refusal::NonFinite`], [`Refusal::OutOfRange`] for a negative allowance or a height
/// that is not positive.
pub fn cusum(values: &[f64], settings: &CusumSettings) -> Result<Cusum, Refusal> {
    Refusal::unless_enough("values of a chart", values.len(), 1)?;
    Refusal::unless_finite("values of a chart", values)?;
    Refusal::unless_finite("the target", &[settings.target])?;
    Refusal::unless_within("the allowance", settings.allowance, 0.0, f64::MAX)?;
    Refusal::unless_positive("the height", settings.height)?;
    let (mut high, mut low) = (0.0_f64, 0.0_f64);
    let mut since = [0, 0];
    let (mut signal, mut begun) = (None, None);
    let mut points = Vec::with_capacity(values.len());
    for (at, value) in values.iter().enumerate() {
        high = (high + value - settings.target - settings.allowance).max(0.0);
        low = (low + settings.target - value - settings.allowance).max(0.0);
        for (since, sum) in since.iter_mut().zip([high, low]) {
            if sum <= 0.0 {
                *since = at + 1;
            }
        }
        if signal.is_none() && high.max(low) > settings.height {
            signal = Some(at);
            begun = Some(since[usize::from(low > high)]);
        }
        points.push(CusumPoint { high, low });
    }
    Ok(Cusum {
        points,
        signal,
        begun,
    })
}
