//! One or several outliers in one list of values: generalised extreme studentised deviates.

use crate::distributions::student_quantile;
use crate::{Refusal, Summary};
use serde::Serialize;

/// The value farthest from the mean of those left.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Deviate {
    /// Where it stands in the list.
    pub index: usize,
    /// Its distance from the mean in standard deviations.
    pub statistic: f64,
    /// What it has to exceed.
    pub critical: f64,
    /// Whether it is an outlier: the last statistic beyond its critical value makes all before it outliers as well.
    pub outlier: bool,
}

/// Tests for up to `most` outliers at significance `alpha` (Rosner, Technometrics 25, 1983; e-Handbook 1.3.5.17.3). Values
/// besides them should be normal; 25 or more make the critical values good.
///
/// # Errors
/// [`Refusal::TooFew`] unless three values more than `most`, [`Refusal::NonFinite`], [`Refusal::NoVariance`],
/// [`Refusal::OutOfRange`] for `alpha`.
pub fn studentised_deviates(values: &[f64], most: usize, alpha: f64) -> Result<Vec<Deviate>, Refusal> {
    Refusal::unless_probability("alpha", alpha)?;
    Refusal::unless_enough(
        "values for a test for outliers",
        values.len(),
        most.saturating_add(3),
    )?;
    Summary::of_spread("values for a test for outliers", values, 3)?;
    let mut left: Vec<usize> = (0..values.len()).collect();
    let mut found: Vec<Deviate> = Vec::with_capacity(most);
    for _ in 0..most {
        let now: Vec<f64> = left.iter().map(|i| values[*i]).collect();
        let summary = Summary::of("values", &now)?;
        if summary.sd <= 0.0 {
            break;
        }
        let far = |i: &usize| (values[*i] - summary.mean).abs();
        let Some((at, index)) = left
            .iter()
            .copied()
            .enumerate()
            .max_by(|(_, a), (_, b)| far(a).total_cmp(&far(b)))
        else {
            break;
        };
        let n = left.len() as f64;
        let t = student_quantile(1.0 - alpha / (2.0 * n), n - 2.0);
        found.push(Deviate {
            index,
            statistic: far(&index) / summary.sd,
            critical: (n - 1.0) * t / ((n - 2.0 + t * t) * n).sqrt(),
            outlier: false,
        });
        left.remove(at);
    }
    let outliers = found
        .iter()
        .rposition(|d| d.statistic > d.critical)
        .map_or(0, |at| at + 1);
    for deviate in &mut found[..outliers] {
        deviate.outlier = true;
    }
    Ok(found)
}
