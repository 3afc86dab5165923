//! A part of a step between its samples.
//!
//! Chords between samples cut the corners of a rise: at a quarter of a millisecond they make a transition of a millisecond
//! longer by some hundredths of it, always to the same side. Lagrange's polynomial through the six nearest samples is near
//! what a signal with nothing above a third of the sample rate does between them.

use std::ops::Range;

use super::measure::{extreme, first_passage};
use crate::estimate::Refusal;
use crate::linear::dot;

/// Points on the fine grid for each sample.
pub(super) const PARTS: usize = 8;

/// Samples that a point between is made of.
const TAPS: usize = 6;

/// Values `PARTS` times as dense between the samples of `range`, the first at its start; chords where a neighbour is missing.
fn between(y: &[f64], range: Range<usize>) -> Vec<f64> {
    let end = range.end.min(y.len());
    let mut out = Vec::with_capacity(PARTS * range.len());
    let weights: [[f64; TAPS]; PARTS] = std::array::from_fn(|part| weights(part as f64 / PARTS as f64));
    for i in range.start..end {
        for (part, weights) in weights.iter().enumerate() {
            let x = part as f64 / PARTS as f64;
            out.push(match y.get(i.wrapping_sub(2)..i + 4) {
                Some(near) if part > 0 => bent(near, x, weights),
                _ if part == 0 || i + 1 >= y.len() => y[i],
                _ => y[i] + x * (y[i + 1] - y[i]),
            });
        }
    }
    out
}

/// Lagrange's value at `x` between the middle two of six samples, by its `weights` there, where it bends no further than the chords
/// beside it: a corner between two straight lines stays one.
fn bent(near: &[f64], x: f64, weights: &[f64; TAPS]) -> f64 {
    let chord = near[2] + x * (near[3] - near[2]);
    let left = near[2] + x * (near[2] - near[1]) - chord;
    let right = near[3] - (1.0 - x) * (near[4] - near[3]) - chord;
    let most = if left * right >= 0.0 {
        // Bent one way: between the chord and its neighbours' lines, and not far beyond the nearer of them.
        let (near, far) = if left.abs() < right.abs() {
            (left, right)
        } else {
            (right, left)
        };
        [
            0.0,
            if 2.0 * near.abs() < far.abs() {
                2.0 * near
            } else {
                far
            },
        ]
    } else {
        [left, right]
    };
    let bend = dot(weights, near) - chord;
    chord + bend.clamp(most[0].min(most[1]), most[0].max(most[1]))
}

/// Lagrange's weights of the samples at -2 to 3, at `x` between 0 and 1.
fn weights(x: f64) -> [f64; TAPS] {
    std::array::from_fn(|k| {
        let own = k as f64 - 2.0;
        let others = (0..TAPS).filter(|j| *j != k).map(|j| j as f64 - 2.0);
        others.map(|other| (x - other) / (own - other)).product()
    })
}

/// A part of a record on a finer grid.
pub(super) struct Fine {
    pub(super) t_s: Vec<f64>,
    pub(super) y_nm: Vec<f64>,
    step_s: f64,
}

impl Fine {
    pub(super) fn new(t: &[f64], y: &[f64], range: Range<usize>, sample_s: f64) -> Self {
        let step_s = sample_s / PARTS as f64;
        let y_nm = between(y, range.clone());
        let t_s = (0..y_nm.len())
            .map(|i| t[range.start] + i as f64 * step_s)
            .collect();
        Self { t_s, y_nm, step_s }
    }

    /// First passage of a level, s.
    pub(super) fn passage(&self, level: f64) -> Result<f64, Refusal> {
        first_passage(&self.t_s, &self.y_nm, level).map(|(t_s, _)| t_s)
    }

    /// Place and value of the largest `score` from an instant on.
    pub(super) fn extreme(&self, from_s: f64, score: impl Fn(f64) -> f64) -> (usize, f64) {
        let first = self.t_s.partition_point(|t| *t < from_s).min(self.y_nm.len() - 1);
        let (at, value) = extreme(&self.y_nm[first..], score);
        (first + at, value)
    }

    /// Steepest slope between two samples of the part, N·m/s, and how far it is in doubt: by what a chord over two samples falls
    /// short of it, and by what the narrow chords beside differ. Where it is
    /// steepest is asked of wide chords, how steep of narrow ones, whose noise is another: the largest of noisy slopes would be
    /// too large. What both fall short by goes with the square of their length.
    pub(super) fn steepest(&self, (first, last): (usize, usize), noise_nm: f64) -> (f64, f64) {
        let slope = |i: usize, reach: usize| -> Option<f64> {
            let (before, after) = (self.y_nm.get(i.checked_sub(reach)?)?, self.y_nm.get(i + reach)?);
            Some((after - before) / (2.0 * reach as f64 * self.step_s))
        };
        // A standard deviation of the difference of two narrow chords.
        let clear = noise_nm / (PARTS as f64 * self.step_s);
        let both = |i: usize| Some((slope(i, PARTS)?, slope(i, 2 * PARTS)?));
        let places = PARTS * first..=PARTS * last;
        let steepest = places
            .filter_map(|i| Some((i, both(i)?.1)))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        let (near, _) = steepest.unwrap_or((PARTS * first, 0.0));
        // A single steep difference is steep for several wide chords alike: a narrow one beside it that is steeper than noise
        // makes it is the one.
        let (Some(own), Some(best)) = (
            both(near),
            (near.saturating_sub(PARTS)..=near + PARTS)
                .filter_map(both)
                .max_by(|a, b| a.0.total_cmp(&b.0)),
        ) else {
            return (f64::NAN, 0.0);
        };
        let (narrow, wide) = if best.0 > own.0 + clear { best } else { own };
        let short = ((narrow - wide) / 3.0).max(0.0);
        (narrow + short, short + best.0 - own.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Half-way: 3 -25 150 150 -25 3 over 256 (Lagrange's of six points, any table of interpolation).
    #[test]
    fn weights_are_those_tabulated() {
        for (found, expected) in weights(0.5).iter().zip([3.0, -25.0, 150.0, 150.0, -25.0, 3.0]) {
            assert!((found - expected / 256.0).abs() < 1e-14, "{found} {expected}");
        }
    }

    #[test]
    fn a_corner_stays_a_corner() {
        let ramp = |x: f64| (x - 10.0).clamp(0.0, 7.0);
        let y: Vec<f64> = (0..30).map(|i| ramp(f64::from(i))).collect();
        for (i, found) in between(&y, 3..25).iter().enumerate() {
            let expected = ramp(3.0 + i as f64 / PARTS as f64);
            assert!((found - expected).abs() < 1e-12, "{i}: {found} {expected}");
        }
    }

    #[test]
    fn a_sine_is_found_between_its_samples() {
        let at = |x: f64| (0.4 * x).sin();
        let y: Vec<f64> = (0..40).map(|i| at(f64::from(i))).collect();
        for (i, found) in between(&y, 5..30).iter().enumerate() {
            let expected = at(5.0 + i as f64 / PARTS as f64);
            assert!((found - expected).abs() < 5e-5, "{i}: {found} {expected}");
        }
    }
}
