//! What the sensor's own filter does to the shape of a step.

use std::f64::consts::SQRT_2;

use crate::zero_phase::Section;

/// The record as a second-order Butterworth low-pass of that delay, the usual amplifier's, would show it (bilinear transform with
/// the corner prewarped; Oppenheim and Schafer, Discrete-Time Signal Processing, ch. 7), from rest on the first value. It comes later
/// by the delay. A delay that is less than a sample leaves the record as it is: such a filter passes all that the samples hold.
pub fn filtered_again(y_nm: &[f64], sample_s: f64, delay_s: f64) -> Vec<f64> {
    let Some(first) = y_nm.first().copied() else {
        return Vec::new();
    };
    // At low frequency such a filter delays by √2 over its corner. Half a turn a sample is the most that there is.
    let half_turn = 0.5 * SQRT_2 * sample_s / delay_s;
    if half_turn.is_nan() || half_turn >= 1.4 {
        return y_nm.to_vec();
    }
    let k = half_turn.tan();
    let mut rows: Vec<[f64; 1]> = y_nm.iter().map(|y| [*y]).collect();
    Section::low_pass(k, SQRT_2 * k).pass([first], rows.iter_mut());
    rows.into_iter().flatten().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A slow sine comes out as large and later by the delay; at the corner √2 is lost (Butterworth 1930).
    #[test]
    fn a_slow_sine_is_late_and_the_corner_is_three_decibels_down() {
        let (h, delay) = (1e-4, 1e-3);
        let corner_hz = SQRT_2 / delay / std::f64::consts::TAU;
        for (f, gain, late) in [(10.0, 1.0, delay), (corner_hz, 0.5_f64.sqrt(), 0.25 / corner_hz)] {
            let w = std::f64::consts::TAU * f;
            let sine: Vec<f64> = (0..20_000).map(|i| (w * h * f64::from(i)).sin()).collect();
            let out = filtered_again(&sine, h, delay);
            for (i, found) in out.iter().enumerate().skip(15_000) {
                let expected = gain * (w * (h * i as f64 - late)).sin();
                assert!((found - expected).abs() < 2e-3, "{f} {i}: {found} {expected}");
            }
        }
        assert_eq!(filtered_again(&[1.0, 2.0], h, 0.0), [1.0, 2.0]);
    }
}
