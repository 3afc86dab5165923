//! Tolerance intervals from order statistics, whatever the distribution.

use super::Sides;
use crate::Refusal;
use crate::conformity::Limits;
use serde::Serialize;
use statrs::function::beta::beta_reg;

/// Limits between order statistics.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct FreeInterval {
    /// The limits.
    pub limits: Limits,
    /// How many of the outermost values are left out on each bounded side, the limit itself included: 1 for the extremes.
    pub rank: usize,
    /// Probability with which they hold the share.
    pub level: f64,
}

/// Probability that the order statistics of `rank` on each bounded side hold `share`: with `out` blocks of the sample
/// outside, coverage is Beta(n + 1 − out, out) (Wilks 1941).
fn proven(n: usize, share: f64, rank: usize, sides: Sides) -> f64 {
    let out = match sides {
        Sides::Both => 2 * rank,
        Sides::Lower | Sides::Upper => rank,
    };
    if out > n {
        return 0.0;
    }
    1.0 - beta_reg((n + 1 - out) as f64, out as f64, share)
}

/// Fewest values whose extremes hold `share` with probability `level`.
///
/// # Errors
/// [`Refusal::OutOfRange`] for share or level.
pub fn least_count(share: f64, level: f64, sides: Sides) -> Result<usize, Refusal> {
    Refusal::unless_within("the share", share, f64::MIN_POSITIVE, 0.999_999)?;
    Refusal::unless_within("the level", level, f64::MIN_POSITIVE, 0.999_999_999)?;
    let (mut low, mut high) = (1, 2);
    while proven(high, share, 1, sides) < level {
        (low, high) = (high, high * 2);
    }
    while high - low > 1 {
        let middle = low + (high - low) / 2;
        if proven(middle, share, 1, sides) < level {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ok(high)
}

/// The narrowest interval between order statistics of equal rank that holds `share` with at least `level`.
///
/// # Errors
/// [`Refusal::TooFew`] with the number needed, [`Refusal::NonFinite`], [`Refusal::OutOfRange`], [`Refusal::NoVariance`] if
/// both ends are one value.
pub fn free_interval(values: &[f64], share: f64, level: f64, sides: Sides) -> Result<FreeInterval, Refusal> {
    Refusal::unless_finite("values of a tolerance interval", values)?;
    let needed = least_count(share, level, sides)?;
    Refusal::unless_enough("values of a tolerance interval", values.len(), needed)?;
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    // It falls with the rank; the last that is proven.
    let rank = (1..=n / 2)
        .take_while(|rank| proven(n, share, *rank, sides) >= level)
        .last()
        .unwrap_or(1);
    let (lower, upper) = (sorted[rank - 1], sorted[n - rank]);
    let limits = match sides {
        Sides::Both if upper <= lower => {
            return Err(Refusal::NoVariance {
                what: "values of a tolerance interval".into(),
                value: lower,
            });
        }
        Sides::Both => Limits::between(lower, upper)?,
        Sides::Lower => Limits::at_least(lower)?,
        Sides::Upper => Limits::at_most(upper)?,
    };
    Ok(FreeInterval {
        limits,
        rank,
        level: proven(n, share, rank, sides),
    })
}
