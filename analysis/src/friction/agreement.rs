//! Whether estimates of one quantity, found in different ways, agree.

use serde::{Deserialize, Serialize};
use statrs::distribution::{ChiSquared, ContinuousCDF};

use crate::estimate::{Check, Estimate, Refusal};

/// How far several estimates of one quantity agree.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Agreement {
    /// Mean weighted by the inverse variances.
    pub mean: f64,
    /// Its standard uncertainty if the estimates agree.
    pub mean_u: f64,
    /// Chance that estimates that measure the same differ by so much or more.
    pub chance: f64,
    /// Whether that chance is at least 5 %.
    pub agree: bool,
    /// Pairs and their normalised errors `(x − y) / (t · u(x − y))` at 95 %; beyond 1 two disagree
    /// (as in ISO/IEC 17043, E_n).
    pub pairs: Vec<(String, String, f64)>,
    /// The same as a check.
    pub check: Check,
}

/// Compares named estimates of one quantity by their chi-squared about the weighted mean (Birge 1932; Mandel and Paule
/// 1970), and two by two.
///
/// Uncertainties are taken as independent. A common part, such as the gain of one sensor, makes them look further
/// apart than they may be, hence agreement more likely: leave common parts out of what is compared where they weigh.
///
/// # Errors
/// [`Refusal::TooFewRepeats`] below two estimates, [`Refusal::NonFinite`] for an uncertainty that is not positive.
pub fn agreement(estimates: &[(&str, &Estimate)]) -> Result<Agreement, Refusal> {
    if estimates.len() < 2 {
        return Err(Refusal::TooFewRepeats {
            what: "agreement of methods".into(),
            got: estimates.len(),
            needed: 2,
        });
    }
    for (index, (_, e)) in estimates.iter().enumerate() {
        if !(e.std_uncertainty > 0.0 && e.std_uncertainty.is_finite() && e.value.is_finite()) {
            return Err(Refusal::NonFinite {
                what: "an estimate to be compared (its uncertainty must be positive)".into(),
                index,
            });
        }
    }
    // The half-width of each interval stands for its uncertainty, so that few degrees of freedom count for less.
    let half = |e: &Estimate| 0.5 * (e.interval[1] - e.interval[0]);
    let u = |e: &Estimate| half(e) / 1.959_963_984_540_054;
    let weight = |e: &Estimate| u(e).powi(-2);
    let total: f64 = estimates.iter().map(|(_, e)| weight(e)).sum();
    let mean = estimates.iter().map(|(_, e)| weight(e) * e.value).sum::<f64>() / total;
    let squares: f64 = estimates
        .iter()
        .map(|(_, e)| weight(e) * (e.value - mean).powi(2))
        .sum();
    let chance = ChiSquared::new(estimates.len() as f64 - 1.0).map_or(f64::NAN, |d| d.sf(squares));
    let mut pairs = Vec::new();
    for (i, (a, x)) in estimates.iter().enumerate() {
        for (b, y) in &estimates[i + 1..] {
            let error = (x.value - y.value) / half(x).hypot(half(y));
            pairs.push(((*a).to_owned(), (*b).to_owned(), error));
        }
    }
    let agree = chance >= 0.05;
    Ok(Agreement {
        mean,
        mean_u: total.powf(-0.5),
        chance,
        agree,
        pairs,
        check: Check::new(
            "methods agree",
            agree,
            format!("so far apart by chance in {:.1} %, at least 5 %", 100.0 * chance),
        ),
    })
}
