//! The rig's own part against python-control (tests/reference/analysis/clamp.py) and closed forms.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

use realfft::num_complex::Complex64;
use std::f64::consts::TAU;
use truerim_analysis::clamp::*;
use truerim_analysis::estimate::{Contribution, Estimate};
use truerim_analysis::frequency::{BandwidthOptions, FrequencyResponse, bandwidth, flat_band};

fn model() -> ClampModel {
    let exact = |value| Known::new(value, 0.0);
    ClampModel {
        rig_stiffness: exact(3333.0),
        rig_damping: exact(0.2),
        hub_inertia: exact(1.0e-3),
        drive_stiffness: exact(900.0),
        drive_damping: exact(0.40),
        rotor_inertia: exact(2.0e-3),
        rotor_damping: exact(0.012),
    }
}

fn uncertain() -> ClampModel {
    let known = |k: Known, rel: f64| Known::new(k.value, rel * k.value);
    let m = model();
    ClampModel {
        rig_stiffness: known(m.rig_stiffness, 0.05),
        hub_inertia: known(m.hub_inertia, 0.1),
        drive_stiffness: known(m.drive_stiffness, 0.05),
        rotor_inertia: known(m.rotor_inertia, 0.03),
        ..m
    }
}

#[test]
fn both_responses_are_those_of_python_control() {
    for (f, a, b, c, d) in [
        (5.0, 1.003083620, -0.000567548, 1.002191560, -0.000451387),
        (40.0, 1.237590690, -0.030899995, 1.159902053, -0.025299305),
        (92.0, 1.996158892, -4.799469448, 2.387550187, -1.456102737),
        (110.0, -1.800768967, -1.919579353, 0.343228405, -3.227372879),
        (250.0, -0.394252949, -0.108270725, -0.193113328, -0.186699441),
        (400.0, -0.024738800, 0.141526971, -0.068610180, -0.091736535),
    ] {
        let near = |found: Complex64, re, im| {
            assert!((found - Complex64::new(re, im)).norm() < 1e-8, "{f}: {found}")
        };
        near(model().on_the_rig(f), a, b);
        near(model().on_an_ideal_clamp(f), c, d);
    }
}

/// Linear propagation against 200,000 draws in numpy: at 40 Hz the correction's parts spread by 0.004013 and 0.000250.
#[test]
fn uncertainty_is_that_of_drawn_figures() {
    let (c, size, turn) = uncertain().correction(40.0);
    assert!((c - Complex64::new(0.936_967, 0.002_979)).norm() < 2e-4, "{c}");
    assert!((size * c.norm() / 0.004_013 - 1.0).abs() < 0.02, "{size}");
    assert!((turn * c.norm() / 0.000_250 - 1.0).abs() < 0.1, "{turn}");
    assert_eq!(model().correction(40.0).1.to_bits(), 0.0_f64.to_bits());
}

/// Closed forms: the rig's own mode; a rig a thousand times stiffer needs no correction; a fifth below an undamped mode
/// alone the torque is raised by 1/(1 - 1/25).
#[test]
fn limits_of_the_model() {
    assert!((model().rig_mode_hz() - (3333.0_f64 / 1e-3).sqrt() / TAU).abs() < 1e-9);
    let stiff = ClampModel {
        rig_stiffness: Known::new(3333e3, 0.0),
        ..model()
    };
    for f in [1.0, 40.0, 94.0, 300.0] {
        assert!((stiff.correction(f).0 - 1.0).norm() < 0.02, "{f}");
    }
    // A rotor held to the hub as if rigidly: both on the rig's spring, undamped, seen at a fifth of that mode.
    let rigid = ClampModel {
        rig_damping: Known::new(0.0, 0.0),
        drive_stiffness: Known::new(1e9, 0.0),
        rotor_damping: Known::new(0.0, 0.0),
        ..model()
    };
    let mode = (3333.0_f64 / 3e-3).sqrt() / TAU;
    assert!((rigid.on_the_rig(0.2 * mode).norm() - 25.0 / 24.0).abs() < 1e-4);
}

/// A response as the rig would show it, free of noise, in 48 bands an octave.
fn seen() -> FrequencyResponse {
    let f_hz: Vec<f64> = (0..440)
        .map(|i| 0.6 * 2.0_f64.powf(f64::from(i) / 48.0))
        .collect();
    let n = f_hz.len();
    let h: Vec<Complex64> = f_hz.iter().map(|f| model().on_the_rig(*f)).collect();
    FrequencyResponse {
        re: h.iter().map(|h| h.re).collect(),
        im: h.iter().map(|h| h.im).collect(),
        coherence: vec![0.999; n],
        gain_rel_u: vec![1e-3; n],
        phase_u_rad: vec![1e-3; n],
        averages: vec![100.0; n],
        usable: vec![true; n],
        min_coherence: 0.5,
        repeats: vec![h.iter().map(|h| [h.re, h.im]).collect(); 3],
        repeat_delay_s: vec![0.0; 3],
        output_delay_s: 0.0,
        output_delay_u_s: 0.0,
        input_hold_delay_s: 0.0,
        fs_hz: 4000.0,
        line_hz: 0.01,
        checks: Vec::new(),
        f_hz,
    }
}

/// Frequency at which the ideal clamp's magnitude leaves its gain by a factor.
fn ideal(level: f64) -> f64 {
    let out = |f: f64| {
        let g = model().on_an_ideal_clamp(f).norm();
        if level < 1.0 { g < level } else { g > level }
    };
    (1..400_000)
        .map(|i| f64::from(i) * 1e-3)
        .find(|f| out(*f))
        .unwrap()
}

#[test]
fn readings_come_back_as_on_an_ideal_clamp() {
    let seen = seen();
    let corrected = correct_response(&seen, &model()).unwrap();
    for (b, f) in seen.f_hz.iter().enumerate() {
        let found = Complex64::new(corrected.response.re[b], corrected.response.im[b]);
        assert!((found - model().on_an_ideal_clamp(*f)).norm() < 1e-9);
        assert_eq!(corrected.trust[b] == Trust::Free, *f <= corrected.free_hz);
    }
    let options = BandwidthOptions::default();
    let flat = |r: &FrequencyResponse| flat_band(r, &options);
    let wide = |r: &FrequencyResponse| bandwidth(r, &options);
    let raw = flat(&seen).estimate().unwrap().value;
    let found = correct_reading(&seen, &uncertain(), flat).unwrap();
    let (e, truth) = (found.estimate().unwrap(), ideal(10.0_f64.powf(0.15)));
    println!(
        "flat band {raw:.2} on the rig, {:.2} ± {:.2} corrected, ideal {truth:.2} Hz",
        e.value, e.std_uncertainty
    );
    assert!((e.value / truth - 1.0).abs() < 2e-3 && (raw / truth - 1.0).abs() > 0.05);
    let of_model = e
        .budget
        .iter()
        .filter(|c| c.source.contains("clamp model"))
        .count();
    assert_eq!(of_model, 4);
    assert!(e.std_uncertainty > 2.0 * flat(&seen).estimate().unwrap().std_uncertainty);
    let found = correct_reading(&seen, &uncertain(), wide).unwrap();
    assert!((found.estimate().unwrap().value / ideal(10.0_f64.powf(-0.15)) - 1.0).abs() < 2e-3);
}

#[test]
fn what_the_rig_decides_is_marked_or_refused() {
    let estimate = |f: f64| {
        let budget = vec![Contribution::type_b("x", 1.0)];
        Estimate::from_budget(f, "Hz", 3, "x", budget).unwrap()
    };
    let mode = model().rig_mode_hz();
    let passed = |f: f64| judge_reading(estimate(f), mode).unwrap().all_checks_passed();
    assert!(passed(0.19 * mode) && !passed(0.21 * mode));
    assert_eq!(
        judge_reading(estimate(mode), mode).unwrap_err().code(),
        "rig_decides"
    );
    // Figures known to 30 %: near the resonance the correction is no longer one.
    let vague = ClampModel {
        rig_stiffness: Known::new(3333.0, 1000.0),
        drive_stiffness: Known::new(900.0, 270.0),
        ..model()
    };
    let corrected = correct_response(&seen(), &vague).unwrap();
    let at = |f: f64| corrected.trust[seen().f_hz.iter().position(|x| *x > f).unwrap()];
    assert_eq!((at(10.0), at(90.0)), (Trust::Free, Trust::Rig));
    assert!(corrected.response.checks.iter().any(|c| !c.passed));
    let wrong = ClampModel {
        rotor_inertia: Known::new(-1.0, 0.0),
        ..model()
    };
    assert_eq!(
        correct_response(&seen(), &wrong).unwrap_err().code(),
        "out_of_range"
    );
}
