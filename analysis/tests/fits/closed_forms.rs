//! Readings of a frequency response against closed forms (checks LA-1, LA-2, FR-1 to FR-3, FR-8).
#![allow(clippy::unwrap_used, clippy::panic)]

use crate::common;
use common::Random;
use ndarray::ArrayView1;
use realfft::num_complex::Complex64;
use std::f64::consts::TAU;
use truerim_analysis::frequency::*;

/// A response without noise from a formula, 48 bands an octave, as if three repeats agreed.
fn exact(f_min: f64, f_max: f64, delay_s: f64, h: impl Fn(Complex64) -> Complex64) -> FrequencyResponse {
    let count = ((f_max / f_min).log2() * 48.0) as usize;
    let f_hz: Vec<f64> = (0..=count)
        .map(|i| f_min * 2.0_f64.powf(i as f64 / 48.0))
        .collect();
    let values: Vec<Complex64> = f_hz
        .iter()
        .map(|f| {
            let s = Complex64::new(0.0, TAU * f);
            h(s) * (-s * delay_s).exp()
        })
        .collect();
    let n = f_hz.len();
    FrequencyResponse {
        re: values.iter().map(|v| v.re).collect(),
        im: values.iter().map(|v| v.im).collect(),
        coherence: vec![1.0; n],
        gain_rel_u: vec![1e-5; n],
        phase_u_rad: vec![1e-5; n],
        averages: vec![100.0; n],
        usable: vec![true; n],
        min_coherence: 0.5,
        repeats: vec![values.iter().map(|v| [v.re, v.im]).collect(); 3],
        repeat_delay_s: vec![delay_s; 3],
        output_delay_s: 0.0,
        output_delay_u_s: 0.0,
        input_hold_delay_s: 0.0,
        fs_hz: 4000.0,
        line_hz: 1e-4,
        checks: vec![],
        f_hz,
    }
}

fn lag(s: Complex64) -> Complex64 {
    2.0 / (1.0 + 8e-3 * s)
}

fn second_order(s: Complex64, zeta: f64) -> Complex64 {
    let w = TAU * 20.0;
    w * w / (s * s + 2.0 * zeta * w * s + w * w)
}

/// LA-1: flat random-phase lines to 120 Hz, output delayed by exactly 7.4 ms.
#[test]
fn la1_delay_from_the_phase_slope() {
    let n = 4096;
    let mut random = Random::new(1);
    let records: Vec<(Vec<f64>, Vec<f64>)> = (0..3)
        .map(|_| {
            let lines: Vec<(f64, f64)> = (1..=491)
                .map(|k| (TAU * f64::from(k) / f64::from(n), TAU * random.uniform()))
                .collect();
            let at = |t: f64| lines.iter().map(|(w, p)| (w * t + p).cos()).sum::<f64>();
            (
                (0..n).map(|i| at(f64::from(i))).collect(),
                (0..n).map(|i| at(f64::from(i) - 7.4)).collect(),
            )
        })
        .collect();
    let sweeps: Vec<SweepRecord<'_>> = records
        .iter()
        .map(|(x, y)| SweepRecord {
            fs_hz: 1000.0,
            input_nm: ArrayView1::from(x),
            output_nm: ArrayView1::from(y),
            input_hold_s: 1e-3,
            input_age_s: 0.0,
        })
        .collect();
    // A cross-correlation with a parabola through its top three points agrees to 0.01 ms; the parabola reads 7.396.
    for (x, y) in &records {
        let lag = |k: usize| x.iter().zip(&y[k..]).map(|(x, y)| x * y).sum::<f64>();
        let around: Vec<f64> = (0..16).map(lag).collect();
        let top = (1..15).max_by(|a, b| around[*a].total_cmp(&around[*b])).unwrap();
        let [l, m, r] = [around[top - 1], around[top], around[top + 1]];
        let peak_ms = top as f64 + 0.5 * (l - r) / (l - 2.0 * m + r);
        assert!((peak_ms - 7.4).abs() < 0.01, "{peak_ms}");
    }
    let options = FrequencyOptions {
        f_min_hz: 2.0,
        f_max_hz: 110.0,
        ..FrequencyOptions::default()
    };
    let response = frequency_response(&sweeps, &options).unwrap();
    for delay in &response.repeat_delay_s {
        // The delay of the hold was taken out of the response; here the values are instants and not held.
        assert!(
            (delay + response.input_hold_delay_s - 7.4e-3).abs() < 1e-9,
            "{delay}"
        );
    }
}

/// LA-2 and FR-1: 2 exp(-s 3.5 ms) / (8 ms s + 1).
#[test]
fn la2_dead_time_apart_from_lag() {
    let response = exact(0.5, 300.0, 3.5e-3, lag);
    let table = [
        (1.0, 1.997_478, -4.137_578),
        (5.0, 1.939_678, -20.407_802),
        (10.0, 1.786_953, -39.286_610),
        (20.0, 1.410_464, -70.351_707),
        (50.0, 0.739_396, -131.303_016),
    ];
    // Masses and springs out of reach leave the lag.
    let model = TwoMassModel {
        gain: 2.0,
        rotor_hz: 1e12,
        hub_hz: 1e12,
        stiffness_ratio: 1.0,
        drive_damping_s: 0.0,
        rig_damping_s: 0.0,
        bearing_damping_s: 0.0,
        lag_s: 8e-3,
        friction: 0.0,
        sliding_gain: 1.0,
        hold_s: 0.0,
        delay_s: 3.5e-3,
    };
    for (f, magnitude, degrees) in table {
        let [re, im] = model.at(f, 1.0);
        assert!(
            (re.hypot(im) - magnitude).abs() < 1e-5 && (im.atan2(re).to_degrees() - degrees).abs() < 1e-5
        );
    }
    // -90 degrees at 28.051369 Hz: the phase is smooth over the logarithm of frequency.
    let phase = response.phase_rad();
    let at = |octave48: f64| common::interpolate(1.0, &phase, octave48) + std::f64::consts::FRAC_PI_2;
    let (mut low, mut high) = (1.0, phase.len() as f64 - 3.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if at(middle) > 0.0 {
            low = middle
        } else {
            high = middle
        }
    }
    let quarter_hz = 0.5 * 2.0_f64.powf(low / 48.0);
    assert!((quarter_hz / 28.051_369 - 1.0).abs() < 1e-6, "{quarter_hz}");
    let outcome = phase_delay(
        &response,
        &DelayOptions {
            update_period_s: Some(1e-9),
            slew_nm_per_s: Some(f64::INFINITY),
            ..DelayOptions::default()
        },
    );
    let delay = outcome.estimate().unwrap();
    assert!(
        delay.interval[0] < 3.5e-3 && 3.5e-3 < delay.interval[1],
        "{delay:?}"
    );
    assert!((delay.value - 3.5e-3).abs() < 0.05e-3, "{delay:?}");
}

/// FR-2: half power at 19.894368 Hz, exactly -3 dB at 19.847185 Hz.
#[test]
fn fr2_half_power_is_not_three_decibels() {
    let response = exact(0.01, 100.0, 3.5e-3, lag);
    let options = BandwidthOptions {
        reference_hz: [0.01, 0.1],
        ..BandwidthOptions::default()
    };
    let three = bandwidth(&response, &options);
    let half = bandwidth(
        &response,
        &BandwidthOptions {
            level_db: 10.0 * 0.5_f64.log10(),
            ..options
        },
    );
    assert!((three.estimate().unwrap().value / 19.847_185 - 1.0).abs() < 1e-4);
    assert!((half.estimate().unwrap().value / 19.894_368 - 1.0).abs() < 1e-4);
}

/// Where a reading needs a band that is not usable, it says at what frequency and what the limit is.
#[test]
fn a_crossing_among_bands_without_coherence_is_refused() {
    let mut response = exact(0.5, 200.0, 0.004, lag);
    let known = bandwidth(&response, &BandwidthOptions::default());
    let corner_hz = known.estimate().unwrap().value;
    let there = response.f_hz.iter().position(|f| *f > corner_hz).unwrap();
    (response.usable[there], response.coherence[there]) = (false, 0.4);
    let refused = bandwidth(&response, &BandwidthOptions::default());
    let text = &refused.refused().unwrap().message;
    let expected = format!("coherence 0.400 at {:.1} Hz is below 0.5: ", response.f_hz[there]);
    assert!(text.starts_with(&expected), "{text}");
}

/// FR-3: half-power bandwidth of the second-order system, and its peak; a light one comes back with its parameters.
#[test]
fn fr3_second_order() {
    let response = exact(0.01, 100.0, 2e-3, |s| second_order(s, 0.5));
    let low = [0.01, 0.1];
    let half = BandwidthOptions {
        reference_hz: low,
        level_db: 10.0 * 0.5_f64.log10(),
        ..BandwidthOptions::default()
    };
    assert!((bandwidth(&response, &half).estimate().unwrap().value / 25.440_393 - 1.0).abs() < 1e-4);
    let options = ResonanceOptions {
        reference_hz: low,
        search_hz: [1.0, 100.0],
    };
    let heavy = first_resonance(&response, &options);
    assert!((heavy.amplification.estimate().unwrap().value / 1.154_700_5 - 1.0).abs() < 1e-4);
    let light = first_resonance(&exact(0.01, 100.0, 2e-3, |s| second_order(s, 0.03)), &options);
    assert!((light.frequency.estimate().unwrap().value / 20.0 - 1.0).abs() < 1e-5);
    assert!((light.damping.estimate().unwrap().value / 0.03 - 1.0).abs() < 1e-3);
    let flat = flat_band(
        &response,
        &BandwidthOptions {
            reference_hz: low,
            ..BandwidthOptions::default()
        },
    );
    // A peak of 1.25 dB does not leave the band, so the exit is the fall through -3 dB.
    assert!(flat.estimate().unwrap().value > 25.0);
}

/// FR-8: two inertias on a spring, torque and acceleration on the first: the resonance is that of both against each
/// other, the antiresonance that of the second on the spring. A light damper moves neither.
#[test]
fn fr8_two_inertias() {
    let (j1, j2, k, c) = (0.003, 0.012, 180.0, 0.02);
    let inertance = |s: Complex64| (j2 * s * s + c * s + k) / (j1 * j2 * s * s + (j1 + j2) * (c * s + k));
    let options = ResonanceOptions {
        reference_hz: [1.0, 2.0],
        search_hz: [5.0, 100.0],
    };
    let read = |response: &FrequencyResponse| {
        first_resonance(response, &options)
            .frequency
            .estimate()
            .unwrap()
            .value
    };
    let resonance_hz = read(&exact(0.5, 100.0, 2e-3, inertance));
    assert!((resonance_hz / 43.586_376 - 1.0).abs() < 1e-6, "{resonance_hz}");
    let antiresonance_hz = read(&exact(0.5, 100.0, 2e-3, |s| inertance(s).inv()));
    assert!(
        (antiresonance_hz / 19.492_420 - 1.0).abs() < 1e-6,
        "{antiresonance_hz}"
    );
}
