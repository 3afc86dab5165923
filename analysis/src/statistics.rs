//! Means, spreads and quantiles.

use crate::estimate::Refusal;

/// Mean and standard deviation (n − 1) by two passes with a correction for rounding.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeanSd {
    /// Number of values.
    pub n: usize,
    /// Arithmetic mean.
    pub mean: f64,
    /// Standard deviation with n − 1; zero for one value.
    pub sd: f64,
}

/// Least and greatest of `x`; `[∞, −∞]` of nothing.
pub fn extent<'a>(x: impl IntoIterator<Item = &'a f64>) -> [f64; 2] {
    x.into_iter()
        .fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], v| {
            [low.min(*v), high.max(*v)]
        })
}

/// Mean and standard deviation of `x`.
///
/// # Errors
/// [`Refusal::TooFewSamples`] when empty, [`Refusal::NonFinite`] for a value that is not finite.
pub fn mean_sd(x: &[f64]) -> Result<MeanSd, Refusal> {
    all_finite("a list of values", x.iter())?;
    let Some(&first) = x.first() else {
        return Err(Refusal::TooFewSamples {
            what: "a mean".into(),
            got: 0,
            needed: 1,
        });
    };
    let n = x.len() as f64;
    // Differences from the first value lose nothing for data with many leading digits in common (NIST NumAcc).
    let mean = first + x.iter().map(|v| v - first).sum::<f64>() / n;
    let (mut sum, mut squares) = (0.0, 0.0);
    for v in x {
        let d = v - mean;
        sum += d;
        squares += d * d;
    }
    let sd = if x.len() > 1 {
        ((squares - sum * sum / n) / (n - 1.0)).max(0.0).sqrt()
    } else {
        0.0
    };
    Ok(MeanSd {
        n: x.len(),
        mean: mean + sum / n,
        sd,
    })
}

/// Quantile `q` (0 to 1) by linear interpolation of the order statistics (Hyndman and Fan, type 7).
///
/// # Errors
/// As [`mean_sd`], and [`Refusal::OutOfRange`] for `q` outside 0 to 1.
pub fn quantile(x: &[f64], q: f64) -> Result<f64, Refusal> {
    all_finite("a list of values", x.iter())?;
    if !(0.0..=1.0).contains(&q) {
        return Err(Refusal::OutOfRange {
            what: "a quantile".into(),
            value: q,
            low: 0.0,
            high: 1.0,
            unit: "1".into(),
        });
    }
    let mut sorted = x.to_vec();
    sorted.sort_by(f64::total_cmp);
    let Some(last) = sorted.len().checked_sub(1) else {
        return Err(Refusal::TooFewSamples {
            what: "a quantile".into(),
            got: 0,
            needed: 1,
        });
    };
    let h = q * last as f64;
    let i = (h.floor() as usize).min(last);
    let j = (i + 1).min(last);
    Ok(sorted[i] + (h - i as f64) * (sorted[j] - sorted[i]))
}

/// The median.
///
/// # Errors
/// As [`quantile`].
pub fn median(x: &[f64]) -> Result<f64, Refusal> {
    quantile(x, 0.5)
}

/// Median absolute deviation from the median (not scaled).
///
/// # Errors
/// As [`quantile`].
pub fn median_absolute_deviation(x: &[f64]) -> Result<f64, Refusal> {
    let centre = median(x)?;
    median(&x.iter().map(|v| (v - centre).abs()).collect::<Vec<_>>())
}

/// Lag-1 autocorrelation coefficient about the mean.
///
/// # Errors
/// As [`mean_sd`]; [`Refusal::TooFewSamples`] below two values.
pub fn lag1_autocorrelation(x: &[f64]) -> Result<f64, Refusal> {
    if x.len() < 2 {
        return Err(Refusal::TooFewSamples {
            what: "an autocorrelation".into(),
            got: x.len(),
            needed: 2,
        });
    }
    let mean = mean_sd(x)?.mean;
    let total: f64 = x.iter().map(|v| (v - mean).powi(2)).sum();
    Ok(x.windows(2).map(|w| (w[0] - mean) * (w[1] - mean)).sum::<f64>() / total)
}

/// Refuses the first value that is not finite.
pub(crate) fn all_finite<'a>(what: &str, x: impl Iterator<Item = &'a f64>) -> Result<(), Refusal> {
    for (index, v) in x.enumerate() {
        if !v.is_finite() {
            return Err(Refusal::NonFinite {
                what: what.into(),
                index,
            });
        }
    }
    Ok(())
}
