//! Shapiro and Wilk's test, the most powerful for small samples.

use crate::distributions::{normal_above, normal_quantile};
use crate::{Refusal, Summary};
use serde::Serialize;

/// Most values that the approximation was made for.
pub const LARGEST: usize = 5000;

/// What the test found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ShapiroWilk {
    /// W, 1 for values on a straight line of normal scores.
    pub statistic: f64,
    /// Probability of a W at least as small if the values are normal.
    pub p: f64,
}

fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

/// Weights of the upper half, largest first, with Royston's corrections to the outermost.
fn weights(n: usize) -> Vec<f64> {
    if n == 3 {
        return vec![0.5_f64.sqrt()];
    }
    let count = n as f64;
    let scores: Vec<f64> = (0..n / 2)
        .map(|i| -normal_quantile((i as f64 + 0.625) / (count + 0.25)))
        .collect();
    let squares = 2.0 * scores.iter().map(|m| m * m).sum::<f64>();
    let root = 1.0 / count.sqrt();
    let first = scores[0] / squares.sqrt()
        + polynomial(&[0.0, 0.221157, -0.147981, -2.07119, 4.434685, -2.706056], root);
    let (fixed, rest) = if n > 5 {
        let second = scores[1] / squares.sqrt()
            + polynomial(&[0.0, 0.042981, -0.293762, -1.752461, 5.682633, -3.582633], root);
        let outer = 2.0 * (scores[0] * scores[0] + scores[1] * scores[1]);
        let left = (squares - outer) / (1.0 - 2.0 * first * first - 2.0 * second * second);
        (vec![first, second], left)
    } else {
        let left = (squares - 2.0 * scores[0] * scores[0]) / (1.0 - 2.0 * first * first);
        (vec![first], left)
    };
    let inner = scores.iter().skip(fixed.len()).map(|m| m / rest.sqrt());
    fixed.iter().copied().chain(inner).collect()
}

/// Tests `values` for normality (Shapiro and Wilk 1965; weights and p-value by Royston, Applied Statistics 44, 1995,
/// algorithm AS R94).
///
/// # Errors
/// [`Refusal::TooFew`] below three values, [`Refusal::OutOfRange`] above [`LARGEST`], [`Refusal::NonFinite`],
/// [`Refusal::NoVariance`].
pub fn shapiro_wilk(values: &[f64]) -> Result<ShapiroWilk, Refusal> {
    let summary = Summary::of_spread("values for a test of normality", values, 3)?;
    Refusal::unless_within("the number of values", values.len() as f64, 3.0, LARGEST as f64)?;
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let n = sorted.len();
    let count = n as f64;
    let line: f64 = weights(n)
        .iter()
        .enumerate()
        .map(|(i, a)| a * (sorted[n - 1 - i] - sorted[i]))
        .sum();
    let w = (line * line / (summary.sd * summary.sd * (count - 1.0))).min(1.0);
    let p = if n == 3 {
        let sixth = std::f64::consts::FRAC_PI_3; // asin √0.75
        (6.0 / std::f64::consts::PI * (w.sqrt().asin() - sixth)).clamp(0.0, 1.0)
    } else {
        let gap = (1.0 - w).max(f64::MIN_POSITIVE).ln();
        let (y, mean, sd) = if n <= 11 {
            let reach = -2.273 + 0.459 * count;
            if gap >= reach {
                return Ok(ShapiroWilk { statistic: w, p: 0.0 });
            }
            (
                -(reach - gap).ln(),
                polynomial(&[0.544, -0.39978, 0.025054, -6.714e-4], count),
                polynomial(&[1.3822, -0.77857, 0.062767, -0.0020322], count).exp(),
            )
        } else {
            let log = count.ln();
            (
                gap,
                polynomial(&[-1.5861, -0.31082, -0.083751, 0.0038915], log),
                polynomial(&[-0.4803, -0.082676, 0.0030302], log).exp(),
            )
        };
        normal_above((y - mean) / sd)
    };
    Ok(ShapiroWilk { statistic: w, p })
}
