//! How near bandwidth comes to the Cramér–Rao bound when sensor noise is all that differs.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

use crate::common::Random;
use crate::common::sweep::{Chain, FS_HZ, SENSOR_DELAY_S, records};
use realfft::RealFftPlanner;
use truerim_analysis::frequency::*;

const NOISE_NM: f64 = 5e-3;
const LEVEL_DB: f64 = -3.0;

/// Bound of the frequency at which the magnitude passes the level, with gain, slope and curvature of its logarithm unknown
/// over eight bands of 1/48 octave on either side: noise of variance `N s²` a line of the transform (Kay, Fundamentals of
/// Statistical Signal Processing, 1993, 3.9 and 15.6, from memory), each line worth its part of the command's own spectrum.
fn bound_hz(chain: &Chain, inputs: &[&Vec<f64>], crossing_hz: f64) -> f64 {
    let reach = 2.0_f64.powf(8.0 / 48.0);
    let mut information = [[0.0; 3]; 3];
    for input in inputs {
        let n = input.len();
        let spectrum = RealFftPlanner::<f64>::new().plan_fft_forward(n);
        let (mut time, mut lines) = ((*input).clone(), spectrum.make_output_vec());
        spectrum.process(&mut time, &mut lines).unwrap();
        for (k, u) in lines.iter().enumerate() {
            let f = k as f64 * FS_HZ / n as f64;
            if !(crossing_hz / reach..=crossing_hz * reach).contains(&f) {
                continue;
            }
            // ln|H| is off by the part of the noise that is in phase with the signal: half of its variance.
            let weight = 2.0 * (u * chain.truth(f)).norm_sqr() / (n as f64 * NOISE_NM.powi(2));
            let x = (f / crossing_hz).ln() / reach.ln();
            let terms = [1.0, x, x * x];
            for (row, a) in information.iter_mut().zip(terms) {
                for (cell, b) in row.iter_mut().zip(terms) {
                    *cell += weight * a * b;
                }
            }
        }
    }
    // First element of the inverse, by cofactors.
    let [a, b, c] = information;
    let minor = b[1] * c[2] - b[2] * c[1];
    let determinant = a[0] * minor - a[1] * (b[0] * c[2] - b[2] * c[0]) + a[2] * (b[0] * c[1] - b[1] * c[0]);
    let h = 1e-3;
    let ln_gain = |f: f64| chain.truth(f).norm().ln();
    let slope = (ln_gain(crossing_hz * (1.0 + h)) - ln_gain(crossing_hz * (1.0 - h))) / (2.0 * h);
    crossing_hz * (minor / determinant).sqrt() / slope.abs()
}

/// 80 draws of noise on the same two sweeps. With a curvature that each band finds for itself it is 1.54 (seen). On a drive that
/// polls, what noise does is a tenth of what the phase of its clock does (docs/recovery.md).
#[test]
fn bandwidth_scatters_as_little_as_noise_allows() {
    let chain = Chain {
        f1_hz: 93.0,
        zeta1: 0.08,
        lead_s: 0.2e-3,
        second: true,
        slew_nm_per_s: f64::INFINITY,
    };
    let clean: Vec<_> = (0..2).map(|i| chain.sweep(1.4, 0.0, 900 + i)).collect();
    let options = FrequencyOptions {
        output_delay_s: SENSOR_DELAY_S,
        output_delay_u_s: 5e-6,
        min_repeats: 2,
        ..FrequencyOptions::default()
    };
    let draws = 80;
    let found: Vec<f64> = (0..draws)
        .map(|seed| {
            let mut random = Random::new(31_000 + seed);
            let noisy: Vec<_> = clean
                .iter()
                .map(|(u, y)| {
                    (
                        u.clone(),
                        y.iter().map(|y| y + NOISE_NM * random.normal()).collect(),
                    )
                })
                .collect();
            let response = frequency_response(&records(&noisy), &options).unwrap();
            bandwidth(&response, &BandwidthOptions::default())
                .estimate()
                .unwrap()
                .value
        })
        .collect();
    let mean = found.iter().sum::<f64>() / draws as f64;
    let spread = (found.iter().map(|f| (f - mean).powi(2)).sum::<f64>() / (draws - 1) as f64).sqrt();
    let inputs: Vec<&Vec<f64>> = clean.iter().map(|c| &c.0).collect();
    let bound = bound_hz(&chain, &inputs, chain.crossing(10.0_f64.powf(LEVEL_DB / 20.0)));
    let ratio = spread / bound;
    println!(
        "mean {mean:.3} Hz, bound {:.2} mHz, spread over bound {ratio:.3}",
        1e3 * bound
    );
    // 80 draws scatter by 0.08 of it.
    assert!((0.85..1.3).contains(&ratio), "{ratio}");
}
