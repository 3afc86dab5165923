//! Anderson and Darling's test, which weighs the tails.

use crate::distributions::{normal_above, normal_below};
use crate::{Refusal, Summary};
use serde::Serialize;

/// What the test found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct AndersonDarling {
    /// A².
    pub statistic: f64,
    /// A² (1 + 0.75/n + 2.25/n²), which the p-value is read from.
    pub corrected: f64,
    /// Probability of a value at least as large if the values are normal.
    pub p: f64,
}

/// Tests `values` against the normal distribution with their mean and standard deviation; p-values by D'Agostino and
/// Stephens, Goodness-of-Fit Techniques, 1986, table 4.9 (both parameters estimated).
///
/// # Errors
/// [`Refusal::TooFew`] below eight values, for which the p-values do not hold, [`Refusal::NonFinite`],
/// [`Refusal::NoVariance`].
pub fn anderson_darling(values: &[f64]) -> Result<AndersonDarling, Refusal> {
    let summary = Summary::of_spread("values for a test of normality", values, 8)?;
    let mut z: Vec<f64> = values.iter().map(|v| (v - summary.mean) / summary.sd).collect();
    z.sort_by(f64::total_cmp);
    let n = z.len() as f64;
    let sum: f64 = (0..z.len())
        .map(|i| {
            let logs = normal_below(z[i]).ln() + normal_above(z[z.len() - 1 - i]).ln();
            (2 * i + 1) as f64 * logs
        })
        .sum();
    let statistic = -n - sum / n;
    let a = statistic * (1.0 + 0.75 / n + 2.25 / (n * n));
    let p = if a < 0.2 {
        1.0 - (-13.436 + 101.14 * a - 223.73 * a * a).exp()
    } else if a < 0.34 {
        1.0 - (-8.318 + 42.796 * a - 59.938 * a * a).exp()
    } else if a < 0.6 {
        (0.9177 - 4.279 * a - 1.38 * a * a).exp()
    } else if a <= 13.0 {
        (1.2937 - 5.709 * a + 0.0186 * a * a).exp()
    } else {
        0.0
    };
    Ok(AndersonDarling {
        statistic,
        corrected: a,
        p,
    })
}
