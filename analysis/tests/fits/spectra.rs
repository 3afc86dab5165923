//! Spectra against scipy (tests/reference/analysis/spectra.py) and closed forms of Bendat and Piersol.
#![allow(clippy::unwrap_used)]

use crate::common::{Random, list};
use serde_json::Value;
use truerim_analysis::frequency::{
    auto_spectrum_error, coherence_error, cross_spectrum_error, magnitude_error, phase_error_rad,
};
use truerim_analysis::spectra::{Estimator, WelchOptions, coherence, csd, spectra, welch, welch_response};

/// Relative to the value, and to the largest value for the line at zero, which holds rounding alone once the mean is
/// taken out.
fn close(found: &[f64], expected: &[f64]) {
    assert_eq!(found.len(), expected.len());
    let largest = expected.iter().fold(0.0_f64, |a, v| a.max(v.abs()));
    for (i, (a, b)) in found.iter().zip(expected).enumerate() {
        assert!((a - b).abs() <= 1e-12 * b.abs() + 1e-15 * largest, "{i}: {a} {b}");
    }
}

#[test]
fn agree_with_scipy() {
    let path = format!("{}/tests/data/spectra.json", env!("CARGO_MANIFEST_DIR"));
    let data: Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    let (x, y) = (list(&data["x"]), list(&data["y"]));
    let fs_hz = data["fs"].as_f64().unwrap();
    let cases = data["cases"].as_array().unwrap();
    assert_eq!(cases.len(), 2);
    for case in cases {
        let segment = case["segment"].as_u64().unwrap() as usize;
        let options = WelchOptions::half_overlap(fs_hz, segment);
        let (f, pxx) = welch(&x, &options).unwrap();
        close(&f, &list(&case["f"]));
        close(&pxx, &list(&case["pxx"]));
        let (_, pxy) = csd(&x, &y, &options).unwrap();
        close(&pxy.iter().map(|v| v.re).collect::<Vec<_>>(), &list(&case["re"]));
        close(&pxy.iter().map(|v| v.im).collect::<Vec<_>>(), &list(&case["im"]));
        let (_, g2) = coherence(&x, &y, &options).unwrap();
        // At zero both spectra are rounding, and so is their ratio.
        close(&g2[1..], &list(&case["coherence"])[1..]);
    }
}

/// FR-4 (ISO 7626-2 annex A, 4.08 %) and FR-5.
#[test]
fn random_errors_are_those_of_bendat_and_piersol() {
    assert!((magnitude_error(0.8, 75.0) - 0.040_825).abs() < 5e-7);
    let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-6, "{a} {b}");
    near(magnitude_error(0.9, 32.0), 0.041_666_7);
    near(phase_error_rad(0.9, 32.0).to_degrees(), 2.387_324);
    near(coherence_error(0.9, 32.0), 0.026_352_3);
    near(auto_spectrum_error(32.0), 0.176_776_7);
    near(cross_spectrum_error(0.9, 32.0), 0.186_339_0);
}

/// FR-6: input noise of a quarter of the input's power, output free of noise: H1 = 0.8 H, H2 = H, coherence 0.8.
#[test]
fn input_noise_lowers_h1_and_leaves_h2() {
    let mut random = Random::new(3);
    let (segment, averages) = (64, 400);
    let clean: Vec<f64> = (0..segment * averages).map(|_| random.normal()).collect();
    let seen: Vec<f64> = clean.iter().map(|u| u + 0.5 * random.normal()).collect();
    let output: Vec<f64> = clean.iter().map(|u| 3.0 * u).collect();
    let s = spectra(
        &seen,
        &output,
        &WelchOptions {
            fs_hz: 1.0,
            segment,
            overlap: 0,
        },
    )
    .unwrap();
    assert_eq!(s.segments, averages);
    let mean = |v: Vec<f64>| v[1..32].iter().sum::<f64>() / 31.0;
    let h1 = mean(s.h1().iter().map(|h| h.norm()).collect());
    let h2 = mean(s.h2().iter().map(|h| h.norm()).collect());
    let g2 = mean(s.coherence());
    assert!((h1 / 2.4 - 1.0).abs() < 0.03 && (h2 / 3.0 - 1.0).abs() < 0.03 && (g2 / 0.8 - 1.0).abs() < 0.03);
}

#[test]
fn refuse_what_they_cannot_transform() {
    let options = WelchOptions::half_overlap(1.0, 16);
    let code = |x: &[f64], y: &[f64], o: &WelchOptions| spectra(x, y, o).unwrap_err().code();
    assert_eq!(code(&[0.0; 8], &[0.0; 8], &options), "too_few_samples");
    assert_eq!(code(&[0.0; 32], &[0.0; 31], &options), "length_mismatch");
    assert_eq!(code(&[f64::NAN; 32], &[0.0; 32], &options), "non_finite");
    assert_eq!(
        code(
            &[0.0; 32],
            &[0.0; 32],
            &WelchOptions {
                overlap: 16,
                ..options
            }
        ),
        "out_of_range"
    );
}

/// Noise of the same relative power on both records: H1 is low by it, H2 high by it, Hv right (closed form: with noise
/// of a quarter of the power, H1 = 0.8 H, H2 = 1.25 H).
#[test]
fn hv_is_right_when_both_records_carry_noise() {
    let mut random = Random::new(11);
    let (segment, averages) = (64, 400);
    let clean: Vec<f64> = (0..segment * averages).map(|_| random.normal()).collect();
    let seen: Vec<f64> = clean.iter().map(|u| u + 0.5 * random.normal()).collect();
    let output: Vec<f64> = clean.iter().map(|u| -3.0 * (u + 0.5 * random.normal())).collect();
    let options = WelchOptions {
        fs_hz: 1.0,
        segment,
        overlap: 0,
    };
    let mean = |estimator| {
        let r = welch_response(&seen, &output, &options, estimator, 0.0).unwrap();
        r.h[1..32].iter().map(|h| h.re).sum::<f64>() / 31.0
    };
    for (estimator, expected) in [
        (Estimator::H1, -2.4),
        (Estimator::H2, -3.75),
        (Estimator::Hv, -3.0),
    ] {
        let found = mean(estimator);
        assert!((found / expected - 1.0).abs() < 0.03, "{estimator:?}: {found}");
    }
}

/// Half-overlapping Hann windows share a sixth of their power: `K / (1 + 2 (1 - 1/K) / 36)` averages (Welch 1967; closed
/// form), and segments that do not overlap count in full.
#[test]
fn overlapping_segments_are_worth_fewer_averages() {
    let options = WelchOptions::half_overlap(1.0, 256);
    for k in [1, 2, 9, 100] {
        let expected = k as f64 / (1.0 + 2.0 * (1.0 - 1.0 / k as f64) / 36.0);
        assert!((options.averages(k) / expected - 1.0).abs() < 1e-9, "{k}");
    }
    assert!(
        (WelchOptions {
            overlap: 0,
            ..options
        }
        .averages(7)
            - 7.0)
            .abs()
            < 1e-12
    );
}

/// A delay of a quarter of a segment costs coherence and gain when it stays in, and nothing when it is taken out first; the
/// phase is that of the delay either way.
#[test]
fn a_delay_is_taken_out_before_windows_are_laid() {
    let mut random = Random::new(4);
    let (fs_hz, late) = (1000.0, 74);
    let x: Vec<f64> = (0..40_000).map(|_| random.normal()).collect();
    let y: Vec<f64> = (0..x.len())
        .map(|i| if i < late { 0.0 } else { x[i - late] })
        .collect();
    let options = WelchOptions::half_overlap(fs_hz, 296);
    let at = |delay_s| welch_response(&x, &y, &options, Estimator::H1, delay_s).unwrap();
    let (left_in, out) = (at(0.0), at(0.0736));
    let mean = |v: &[f64]| v[5..140].iter().sum::<f64>() / 135.0;
    assert!(mean(&left_in.coherence) < 0.8 && mean(&out.coherence) > 0.9999);
    for (h, f) in out.h.iter().zip(&out.f_hz).skip(2).take(140) {
        let expected = -std::f64::consts::TAU * f * 0.074;
        let turns = (h.arg() - expected) / std::f64::consts::TAU;
        assert!(
            (turns - turns.round()).abs() < 1e-3 && (h.norm() - 1.0).abs() < 0.01,
            "{f}"
        );
    }
    let code = |delay_s| {
        welch_response(&x, &y, &options, Estimator::H1, delay_s)
            .unwrap_err()
            .code()
    };
    assert_eq!(
        (code(-1e-3), code(20.0)),
        ("delay_beyond_window", "delay_beyond_window")
    );
}
