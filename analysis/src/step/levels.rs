//! State levels by a two-mode histogram (IEEE Std 181-2011, 5.2).

use crate::estimate::Refusal;
use crate::statistics::{all_finite, extent, median};

/// The two levels of a waveform.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StateLevels {
    /// Lower mode.
    pub low: f64,
    /// Upper mode.
    pub high: f64,
}

/// Finds the two state levels of a rising or falling waveform `y`.
///
/// A histogram of `bins` equal cells over the whole range is cut half way between the medians of the first and last
/// twentieth of the record (not half way up the range: an overshoot of 100 % would put the final level on that cut).
/// Each part's fullest cell is its mode, and the level is the median of the samples around it: within half a cell, or
/// within three times `noise` (one standard deviation) when that is wider.
///
/// # Errors
/// [`Refusal::TooFewSamples`] below 20 samples, [`Refusal::NonFinite`], [`Refusal::OutOfRange`] for fewer than 8 cells.
pub fn state_levels(y: &[f64], bins: usize, noise: f64) -> Result<StateLevels, Refusal> {
    all_finite("the torque", y.iter())?;
    if y.len() < 20 {
        return Err(Refusal::TooFewSamples {
            what: "state levels".into(),
            got: y.len(),
            needed: 20,
        });
    }
    if bins < 8 {
        return Err(Refusal::OutOfRange {
            what: "the number of histogram cells".into(),
            value: bins as f64,
            low: 8.0,
            high: f64::INFINITY,
            unit: "1".into(),
        });
    }
    let end = (y.len() / 20).max(5);
    let (start_level, end_level) = (median(&y[..end])?, median(&y[y.len() - end..])?);
    let cut = 0.5 * (start_level + end_level);
    let low = mode(y, bins, noise, |v| v < cut)?.unwrap_or(start_level.min(end_level));
    let high = mode(y, bins, noise, |v| v >= cut)?.unwrap_or(start_level.max(end_level));
    Ok(StateLevels { low, high })
}

/// The mode of the samples that `keep` admits, refined by a median; `None` when it admits none.
fn mode(y: &[f64], bins: usize, noise: f64, keep: impl Fn(f64) -> bool) -> Result<Option<f64>, Refusal> {
    let [min, max] = extent(y);
    let width = (max - min) / bins as f64;
    if width <= 0.0 {
        return Ok(Some(min));
    }
    let mut counts = vec![0_usize; bins];
    for v in y.iter().copied().filter(|v| keep(*v)) {
        counts[(((v - min) / width) as usize).min(bins - 1)] += 1;
    }
    // Counts are added over cells as wide as the noise, else the fullest cell is a matter of chance.
    let reach = ((2.0 * noise / width).round() as usize).min(bins / 8);
    let smooth = |i: usize| {
        counts[i.saturating_sub(reach)..=(i + reach).min(bins - 1)]
            .iter()
            .sum::<usize>()
    };
    let mut best = (0, 0);
    for i in 0..bins {
        let count = smooth(i);
        if count > best.1 {
            best = (i, count);
        }
    }
    if best.1 == 0 {
        return Ok(None);
    }
    let mut level = min + (best.0 as f64 + 0.5) * width;
    let radius = (0.5 * width).max(3.0 * noise) * (1.0 + 1e-9);
    for _ in 0..3 {
        let near: Vec<f64> = y
            .iter()
            .copied()
            .filter(|v| keep(*v) && (v - level).abs() <= radius)
            .collect();
        if near.is_empty() {
            break;
        }
        level = median(&near)?;
    }
    Ok(Some(level))
}
