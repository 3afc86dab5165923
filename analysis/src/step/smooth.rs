//! A record with its noise taken away, as far as that costs no signal.

use std::ops::Range;

use crate::linear::dot;

/// Reaches of the smoothing, samples to either side, the widest first.
const REACHES: [usize; 7] = [12, 8, 6, 4, 3, 2, 1];

/// What smoothing may take away beyond noise: more is signal.
const MORE_THAN_NOISE: f64 = 1.3;

/// The record under a running parabola (Savitzky and Golay 1964), as wide as takes away noise alone over `judged`. Otherwise
/// ringing leaves a band too late, and its peaks are too high, by about the breadth of the noise and always to the same side.
/// Never wider than `most` samples to either side: a fifth of a period of ringing under the parabola costs a thousandth of it.
pub(super) fn smoothed(y: &[f64], judged: Range<usize>, noise_nm: f64, most: usize) -> Vec<f64> {
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
