//! Change points: the level of a series changes, and stays.

use crate::Refusal;
use serde::Serialize;

/// A stretch of one level.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Segment {
    /// First value.
    pub first: usize,
    /// One past the last.
    pub end: usize,
    /// Mean of the stretch.
    pub mean: f64,
    /// Standard error of the mean, from the given spread.
    pub std_error: f64,
}

/// The best segmentation.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Segments {
    /// In order; one if nothing changed.
    pub segments: Vec<Segment>,
    /// Squares about the levels over σ², and the penalty for each change.
    pub cost: f64,
    /// The penalty that was used.
    pub penalty: f64,
}

impl Segments {
    /// First value of each new level.
    pub fn changes(&self) -> Vec<usize> {
        self.segments.iter().skip(1).map(|s| s.first).collect()
    }
}

/// The penalty for a change in `n` values of independent normal scatter, in units of σ²: 3 ln n, and 100/n more because few
/// values leave σ uncertain. A series of 25 to 400 values without a change then shows one in two cases of a hundred or fewer
/// (measured in the tests).
pub fn usual_penalty(n: usize) -> f64 {
    let n = n.max(2) as f64;
    3.0 * n.ln() + 100.0 / n
}

/// Splits `values` where their level changes: the segmentation of least cost, found exactly by pruned dynamic programming
/// (PELT; Killick, Fearnhead and Eckley, JASA 107, 2012). `sigma` is the spread about the levels, from
/// [`moving_range_spread`](crate::charts::moving_range_spread), which shifts hardly touch; `penalty` from
/// [`usual_penalty`].
///
/// # Errors
/// [`Refusal::TooFew`] below two values, [`Refusal::NonFinite`], [`Refusal::OutOfRange`] unless sigma and penalty are positive.
pub fn change_points(values: &[f64], sigma: f64, penalty: f64) -> Result<Segments, Refusal> {
    Refusal::unless_enough("values of a series", values.len(), 2)?;
    Refusal::unless_finite("values of a series", values)?;
    Refusal::unless_positive("the spread about the levels", sigma)?;
    Refusal::unless_positive("the penalty", penalty)?;
    let n = values.len();
    // Sums from the start, of values about the mean for the sake of digits.
    let centre = values.iter().sum::<f64>() / n as f64;
    let mut sums = vec![(0.0, 0.0)];
    for value in values {
        let d = (value - centre) / sigma;
        let (sum, squares) = sums[sums.len() - 1];
        sums.push((sum + d, squares + d * d));
    }
    let cost = |first: usize, end: usize| {
        let (sum, squares) = (sums[end].0 - sums[first].0, sums[end].1 - sums[first].1);
        (squares - sum * sum / (end - first) as f64).max(0.0)
    };
    // Least cost of the first so many values, and where their last segment begins.
    let mut best = vec![(-penalty, 0)];
    let mut candidates = vec![0];
    for end in 1..=n {
        let of = |first: usize| best[first].0 + cost(first, end) + penalty;
        let mut least = (f64::INFINITY, 0);
        for first in &candidates {
            let total = of(*first);
            if total < least.0 {
                least = (total, *first);
            }
        }
        // A start that is worse by the penalty now never becomes the best.
        candidates.retain(|first| of(*first) - penalty <= least.0);
        candidates.push(end);
        best.push(least);
    }
    let mut segments = Vec::new();
    let mut end = n;
    while end > 0 {
        let first = best[end].1;
        let count = (end - first) as f64;
        segments.push(Segment {
            first,
            end,
            mean: centre + sigma * (sums[end].0 - sums[first].0) / count,
            std_error: sigma / count.sqrt(),
        });
        end = first;
    }
    segments.reverse();
    Ok(Segments {
        segments,
        cost: best[n].0,
        penalty,
    })
}
