//! Between samples, and under noise: what a step's measures need of both.
//!
//! Chords between samples cut the corners of a rise: at a quarter of a millisecond they make a transition of a millisecond
//! longer by some hundredths of it, always to the same side. Lagrange's polynomial through the six nearest samples is near
//! what a signal with nothing above a third of the sample rate does between them.

use crate::linear::dot;

/// Points on the fine grid for each sample.
pub(super) const PARTS: usize = 8;

/// Samples that a point between is made of.
const TAPS: usize = 6;

/// Values `PARTS` times as dense between the samples of `range`, the first at its start; chords where a neighbour is missing.
pub(super) fn between(y: &[f64], range: std::ops::Range<usize>) -> Vec<f64> {
    let end = range.end.min(y.len());
    let mut out = Vec::with_capacity(PARTS * range.len());
    for i in range.start..end {
        for part in 0..PARTS {
            let x = part as f64 / PARTS as f64;
            out.push(match y.get(i.wrapping_sub(2)..i + 4) {
                Some(near) if part > 0 => bent(near, x),
                _ if part == 0 || i + 1 >= y.len() => y[i],
                _ => y[i] + x * (y[i + 1] - y[i]),
            });
        }
    }
    out
}

/// Lagrange's value between the middle two of six samples, where it bends no further than the chords beside it: a corner
/// between two straight lines stays one.
fn bent(near: &[f64], x: f64) -> f64 {
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
    let bend = dot(&weights(x), near) - chord;
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

/// Reaches of the smoothing, samples to either side, the widest first.
const REACHES: [usize; 7] = [12, 8, 6, 4, 3, 2, 1];

/// What smoothing may take away beyond noise: more is signal.
const MORE_THAN_NOISE: f64 = 1.3;

/// The record under a running parabola (Savitzky and Golay 1964), as wide as takes away noise alone over `judged`. Otherwise
/// ringing leaves a band too late, and its peaks are too high, by about the breadth of the noise and always to the same side.
/// Never wider than `most` samples to either side: a fifth of a period of ringing under the parabola costs a thousandth of it.
pub(super) fn smoothed(y: &[f64], judged: std::ops::Range<usize>, noise_nm: f64, most: usize) -> Vec<f64> {
    for reach in REACHES.into_iter().filter(|reach| *reach <= most) {
        let weights = parabola(reach);
        let out = run(y, &weights);
        let pairs = y.iter().zip(&out).take(judged.end).skip(judged.start);
        let taken: Vec<f64> = pairs.map(|(y, s)| y - s).collect();
        let rms = (dot(&taken, &taken) / taken.len().max(1) as f64).sqrt();
        // Of white noise this takes away all but the share of the middle sample.
        if rms <= MORE_THAN_NOISE * noise_nm * (1.0 - weights[reach]).sqrt() {
            return out;
        }
    }
    y.to_vec()
}

/// Weights of a parabola's value in the middle of `2 reach + 1` samples.
fn parabola(reach: usize) -> Vec<f64> {
    let m = reach as f64;
    let n = (2.0 * m - 1.0) * (2.0 * m + 1.0) * (2.0 * m + 3.0);
    let of = |k: f64| 3.0 * (3.0 * m * m + 3.0 * m - 1.0 - 5.0 * k * k) / n;
    (0..=2 * reach).map(|i| of(i as f64 - m)).collect()
}

/// Weighted sums; samples near the ends stay as they are.
fn run(y: &[f64], weights: &[f64]) -> Vec<f64> {
    let reach = weights.len() / 2;
    let mut out = y.to_vec();
    for (middle, window) in y.windows(weights.len()).enumerate() {
        out[middle + reach] = dot(weights, window);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Weights of five and seven points as tabulated by Savitzky and Golay (1964): -3 12 17 12 -3 over 35, -2 3 6 7 6 3 -2
    /// over 21.
    #[test]
    fn weights_are_those_tabulated() {
        let close = |found: &[f64], expected: &[f64], over: f64| {
            assert_eq!(found.len(), expected.len());
            for (found, expected) in found.iter().zip(expected) {
                assert!((found - expected / over).abs() < 1e-14, "{found} {expected}");
            }
        };
        close(&parabola(2), &[-3.0, 12.0, 17.0, 12.0, -3.0], 35.0);
        close(&parabola(3), &[-2.0, 3.0, 6.0, 7.0, 6.0, 3.0, -2.0], 21.0);
        // Half-way: -> 3 -25 150 150 -25 3 over 256 (Lagrange's of six points, any table of interpolation).
        close(&weights(0.5), &[3.0, -25.0, 150.0, 150.0, -25.0, 3.0], 256.0);
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

    /// Ringing of eight samples a period is signal, not noise: it is left alone, however little noise there is.
    #[test]
    fn ringing_is_not_smoothed_away() {
        let ringing: Vec<f64> = (0..200).map(|i| (0.785 * f64::from(i)).sin()).collect();
        assert_eq!(smoothed(&ringing, 0..200, 1e-3, 12), ringing);
        let slow: Vec<f64> = (0..200).map(|i| (0.1 * f64::from(i)).sin()).collect();
        // Noise from -1 to 1 (Lehmer's generator), so with a standard deviation of 1/√3.
        let mut state = 1_u64;
        let mut noise = || {
            state = state * 48_271 % 2_147_483_647;
            2.0 * state as f64 / 2_147_483_647.0 - 1.0
        };
        let rough: Vec<f64> = slow.iter().map(|v| v + 1e-2 * noise()).collect();
        let out = smoothed(&rough, 0..200, 5.8e-3, 12);
        let rms = |a: &[f64]| (a.iter().zip(&slow).map(|(a, b)| (a - b).powi(2)).sum::<f64>() / 200.0).sqrt();
        assert!(rms(&out) < 0.6 * rms(&rough), "{} {}", rms(&out), rms(&rough));
    }
}
