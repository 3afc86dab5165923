//! Means, spreads, quantiles and intervals.

use crate::Refusal;
use serde::Serialize;

/// An interval and the probability with which it holds the true value.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Interval {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// Probability, 0 to 1.
    pub level: f64,
}

impl Interval {
    /// Whether `value` lies within, ends included.
    pub fn holds(&self, value: f64) -> bool {
        self.low <= value && value <= self.high
    }
}

/// Number, mean and standard deviation (n − 1) of values.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Summary {
    /// How many.
    pub n: usize,
    /// Arithmetic mean.
    pub mean: f64,
    /// Standard deviation with n − 1; zero for one value.
    pub sd: f64,
}

impl Summary {
    /// Of `values`, by two passes about the first value, which loses nothing where many leading digits are common.
    ///
    /// # Errors
    /// [`Refusal::TooFew`] when empty, [`Refusal::NonFinite`].
    pub fn of(what: &str, values: &[f64]) -> Result<Self, Refusal> {
        Refusal::unless_finite(what, values)?;
        let Some(first) = values.first() else {
            return Err(Refusal::TooFew {
                what: what.into(),
                got: 0,
                needed: 1,
            });
        };
        let n = values.len() as f64;
        let mean = first + values.iter().map(|v| v - first).sum::<f64>() / n;
        let (sum, squares) = values
            .iter()
            .map(|v| v - mean)
            .fold((0.0, 0.0), |(sum, squares), d| (sum + d, squares + d * d));
        let sd = if values.len() > 1 {
            ((squares - sum * sum / n) / (n - 1.0)).max(0.0).sqrt()
        } else {
            0.0
        };
        Ok(Self {
            n: values.len(),
            mean: mean + sum / n,
            sd,
        })
    }

    /// As [`Self::of`], refusing fewer than `needed` values and values that are all alike.
    ///
    /// # Errors
    /// [`Refusal::TooFew`], [`Refusal::NonFinite`], [`Refusal::NoVariance`].
    pub fn of_spread(what: &str, values: &[f64], needed: usize) -> Result<Self, Refusal> {
        Refusal::unless_enough(what, values.len(), needed)?;
        let summary = Self::of(what, values)?;
        // The mean of equal values may be rounded, which leaves a spread of one part in 10^16: compare the values.
        if values.iter().all(|v| (v - values[0]).abs() <= 0.0) {
            return Err(Refusal::NoVariance {
                what: what.into(),
                value: values[0],
            });
        }
        Ok(summary)
    }

    /// Standard error of the mean.
    pub fn std_error(&self) -> f64 {
        self.sd / (self.n as f64).sqrt()
    }
}

/// Quantile `q` (0 to 1) by linear interpolation of the order statistics (Hyndman and Fan 1996, type 7).
///
/// # Errors
/// [`Refusal::TooFew`] when empty, [`Refusal::NonFinite`], [`Refusal::OutOfRange`] for `q`.
pub fn quantile(values: &[f64], q: f64) -> Result<f64, Refusal> {
    Refusal::unless_finite("the values", values)?;
    Refusal::unless_within("the quantile", q, 0.0, 1.0)?;
    Refusal::unless_enough("values for a quantile", values.len(), 1)?;
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    Ok(quantile_of_sorted(&sorted, q))
}

/// [`quantile`] of sorted, finite values, at least one.
pub(crate) fn quantile_of_sorted(sorted: &[f64], q: f64) -> f64 {
    let last = sorted.len() - 1;
    let h = q * last as f64;
    let i = (h.floor() as usize).min(last);
    let j = (i + 1).min(last);
    sorted[i] + (h - i as f64) * (sorted[j] - sorted[i])
}

/// The median.
///
/// # Errors
/// As [`quantile`].
pub fn median(values: &[f64]) -> Result<f64, Refusal> {
    quantile(values, 0.5)
}

/// Median absolute deviation from the median, not scaled.
///
/// # Errors
/// As [`quantile`].
pub fn median_absolute_deviation(values: &[f64]) -> Result<f64, Refusal> {
    let centre = median(values)?;
    median(&values.iter().map(|v| (v - centre).abs()).collect::<Vec<_>>())
}
