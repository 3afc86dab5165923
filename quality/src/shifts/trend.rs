//! A steady trend, without a model of its shape.

use crate::distributions::{normal_above, normal_quantile};
use crate::{Interval, Refusal, median};
use serde::Serialize;

/// What a series does over its abscissa.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Trend {
    /// Kendall's τ-b, −1 to 1.
    pub tau: f64,
    /// Probability of a |τ| at least as large without a trend (Mann and Kendall).
    pub p: f64,
    /// Median of the slopes of all pairs (Theil and Sen), per unit of the abscissa.
    pub slope: f64,
    /// Interval of the slope.
    pub interval: Interval,
}

/// Mann and Kendall's test with corrections for ties, and Sen's slope with its interval (JASA 63, 1968). Pairs are all
/// compared, so this is for up to a few thousand values.
///
/// # Errors
/// [`Refusal::LengthMismatch`], [`Refusal::TooFew`] below eight values, [`Refusal::NonFinite`], [`Refusal::NoVariance`],
/// [`Refusal::OutOfRange`] for the level.
pub fn trend(x: &[f64], y: &[f64], level: f64) -> Result<Trend, Refusal> {
    if x.len() != y.len() {
        return Err(Refusal::LengthMismatch {
            what: "abscissa and values of a trend".into(),
            left: x.len(),
            right: y.len(),
        });
    }
    Refusal::unless_enough("values of a trend", x.len(), 8)?;
    Refusal::unless_finite("the abscissa of a trend", x)?;
    Refusal::unless_finite("values of a trend", y)?;
    Refusal::unless_probability("the level", level)?;
    let n = x.len();
    let (mut score, mut slopes) = (0.0, Vec::with_capacity(n * (n - 1) / 2));
    for i in 0..n {
        for j in 0..i {
            let (dx, dy) = (x[i] - x[j], y[i] - y[j]);
            if dx.abs() > 0.0 {
                slopes.push(dy / dx);
                if dy.abs() > 0.0 {
                    score += (dx * dy).signum();
                }
            }
        }
    }
    let (x_ties, y_ties) = (ties(x), ties(y));
    let pairs = 0.5 * (n * (n - 1)) as f64;
    let free = |ties: &[f64]| pairs - ties.iter().map(|t| 0.5 * t * (t - 1.0)).sum::<f64>();
    for (what, values, ties) in [
        ("the abscissa of a trend", x, &x_ties),
        ("values of a trend", y, &y_ties),
    ] {
        if free(ties) <= 0.0 {
            return Err(Refusal::NoVariance {
                what: what.into(),
                value: values[0],
            });
        }
    }
    let spread = variance(n as f64, &x_ties, &y_ties).sqrt();
    let slope = median(&slopes)?;
    slopes.sort_by(f64::total_cmp);
    // Sen's ranks about the middle.
    let reach = normal_quantile(0.5 + 0.5 * level) * spread;
    let count = slopes.len() as f64;
    let end = |rank: f64| slopes[(rank.max(0.0) as usize).min(slopes.len() - 1)];
    Ok(Trend {
        tau: score / (free(&x_ties) * free(&y_ties)).sqrt(),
        p: (2.0 * normal_above(score.abs() / spread)).min(1.0),
        slope,
        interval: Interval {
            low: end(((count - reach) / 2.0).round() - 1.0),
            high: end(((count + reach) / 2.0).round()),
            level,
        },
    })
}

/// Sizes of the groups of equal values.
fn ties(values: &[f64]) -> Vec<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let groups = sorted.chunk_by(|a, b| (a - b).abs() <= 0.0);
    groups.map(|g| g.len() as f64).collect()
}

/// Variance of Kendall's score without a trend (Kendall, Rank Correlation Methods, 1970, 4.6).
fn variance(n: f64, x: &[f64], y: &[f64]) -> f64 {
    let sum = |ties: &[f64], f: fn(f64) -> f64| ties.iter().map(|t| f(*t)).sum::<f64>();
    let first: fn(f64) -> f64 = |t| t * (t - 1.0) * (2.0 * t + 5.0);
    let two: fn(f64) -> f64 = |t| t * (t - 1.0);
    let three: fn(f64) -> f64 = |t| t * (t - 1.0) * (t - 2.0);
    (n * (n - 1.0) * (2.0 * n + 5.0) - sum(x, first) - sum(y, first)) / 18.0
        + sum(x, three) * sum(y, three) / (9.0 * n * (n - 1.0) * (n - 2.0))
        + sum(x, two) * sum(y, two) / (2.0 * n * (n - 1.0))
}
