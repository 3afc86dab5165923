//! Step measures against closed forms (checks ST-1 to ST-6; roots by scipy's brentq, python-control agrees).
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

use crate::common::Random;
use ndarray::ArrayView1;
use std::f64::consts::TAU;
use truerim_analysis::step::*;

fn grid(from: f64, to: f64) -> Vec<f64> {
    let (first, last) = ((from * 1e4).round() as i64, (to * 1e4).round() as i64);
    (first..=last).map(|i| i as f64 * 1e-4).collect()
}

fn measure(
    t: &[f64],
    y: &[f64],
    from_nm: f64,
    to_nm: f64,
    band: f64,
) -> Result<StepMeasures, truerim_analysis::estimate::Refusal> {
    let record = StepRecord {
        t_s: ArrayView1::from(t),
        torque_nm: ArrayView1::from(y),
        from_nm,
        to_nm,
    };
    measure_step(
        &record,
        &StepOptions {
            settle_band: band,
            ..StepOptions::default()
        },
    )
}

fn second_order(t: f64) -> f64 {
    let (w, z) = (std::f64::consts::TAU * 20.0, 0.5_f64);
    let root = (1.0 - z * z).sqrt();
    if t <= 0.0 {
        0.0
    } else {
        1.0 - (-z * w * t).exp() * ((root * w * t).cos() + z / root * (root * w * t).sin())
    }
}

fn close(found: f64, expected: f64, tolerance: f64) {
    assert!(
        (found - expected).abs() <= tolerance,
        "{found}, expected {expected} within {tolerance}"
    );
}

#[test]
fn st1_first_order_lag() {
    let t = grid(-0.02, 0.12);
    let y: Vec<f64> = t
        .iter()
        .map(|t| if *t > 0.0 { 1.0 - (-t / 4e-3).exp() } else { 0.0 })
        .collect();
    let m = measure(&t, &y, 0.0, 1.0, 0.05).unwrap();
    close(m.transition_s, 8.788_898e-3, 1e-4 * 8.788_898e-3);
    // Chords of 0.1 ms cut the curve by h²/(8 tau²) of the distance still to go.
    close(m.t50_s, 2.772_589e-3, 2e-4 * 2.772_589e-3);
    close(m.settling_s, 11.982_929e-3, 1e-4 * 11.982_929e-3);
    close(
        measure(&t, &y, 0.0, 1.0, 0.02).unwrap().settling_s,
        15.648_092e-3,
        1e-4 * 15.648_092e-3,
    );
    // ST-5: bandwidth 1/(2 pi tau) times rise.
    close(
        m.transition_s / (std::f64::consts::TAU * 4e-3),
        0.349_699_2,
        1e-4 * 0.35,
    );
    close(9.0_f64.ln() / std::f64::consts::TAU, 0.349_699_2, 1e-6);
}

#[test]
fn st2_second_order() {
    let t = grid(-0.02, 0.4);
    let y: Vec<f64> = t.iter().map(|t| second_order(*t)).collect();
    let m = measure(&t, &y, 0.0, 1.0, 0.02).unwrap();
    close(m.overshoot, 0.163_033_5, 2e-4);
    for (found, expected) in [
        (m.peak_s, 28.867_51e-3),
        (m.t10_s, 3.885_205e-3),
        (m.t50_s, 10.297_639e-3),
        (m.t90_s, 16.916_597e-3),
        (m.transition_s, 13.031_392e-3),
        (m.settling_s, 64.269_63e-3),
        (measure(&t, &y, 0.0, 1.0, 0.05).unwrap().settling_s, 42.089_29e-3),
    ] {
        close(found, expected, 0.05e-3);
    }
    close(m.steepest_nm_per_s, 68.649_21, 0.01);
}

#[test]
fn st3_negative_and_delayed() {
    let t = grid(-0.02, 0.4);
    let y: Vec<f64> = t.iter().map(|t| 2.0 - 5.0 * second_order(t - 12.5e-3)).collect();
    let m = measure(&t, &y, 2.0, -3.0, 0.02).unwrap();
    close(m.amplitude_nm, 5.0, 1e-3);
    close(m.low_nm, 2.0, 1e-3);
    close(m.high_nm, -3.0, 1e-3);
    close(m.t50_s, 22.797_639e-3, 0.05e-3);
    close(m.transition_s, 13.031_392e-3, 0.05e-3);
    close(m.overshoot, 0.163_033_5, 2e-4);
    assert!(m.peak_nm < -3.0);
}

#[test]
fn st4_levels_in_noise() {
    let mut random = Random::new(4);
    let y: Vec<f64> = (0..10_040)
        .map(|i| 0.2 + 2.6 * ((f64::from(i) - 4000.0) / 40.0).clamp(0.0, 1.0) + 0.02 * random.normal())
        .collect();
    let levels = state_levels(&y, 256, 0.02).unwrap();
    close(levels.low, 0.2, 0.02);
    close(levels.high, 2.8, 0.02);
}

#[test]
fn refusals_are_typed() {
    let t = grid(-0.02, 0.2);
    let code = |y: &[f64]| measure(&t, y, 0.0, 1.0, 0.02).unwrap_err().code();
    // ST-6: still rising at the end.
    assert_eq!(
        code(&t.iter().map(|t| (5.0 * t).max(0.0)).collect::<Vec<_>>()),
        "never_settled"
    );
    let good: Vec<f64> = t.iter().map(|t| second_order(4.0 * t)).collect();
    assert_eq!(code(&good.iter().map(|v| -v).collect::<Vec<_>>()), "wrong_sign");
    let mut random = Random::new(8);
    assert_eq!(
        code(
            &good
                .iter()
                .map(|v| 0.01 * v + 0.01 * random.normal())
                .collect::<Vec<_>>()
        ),
        "too_small"
    );
    let mut hole = good.clone();
    hole[77] = f64::NAN;
    assert_eq!(code(&hole), "non_finite");
    assert_eq!(
        measure(&t[..10], &good[..10], 0.0, 1.0, 0.02).unwrap_err().code(),
        "too_few_samples"
    );
    assert_eq!(
        measure(&t[..150], &good[..150], 0.0, 1.0, 0.02)
            .unwrap_err()
            .code(),
        "too_short"
    );
    let record = StepRecord {
        t_s: ArrayView1::from(&t),
        torque_nm: ArrayView1::from(&good),
        from_nm: 0.0,
        to_nm: 1.0,
    };
    let options = StepOptions {
        saturation_nm: Some(1.1),
        ..StepOptions::default()
    };
    assert_eq!(measure_step(&record, &options).unwrap_err().code(), "saturated");
    let mut uneven = t.clone();
    uneven.remove(600);
    assert_eq!(
        measure(&uneven, &good[1..], 0.0, 1.0, 0.02).unwrap_err().code(),
        "uneven_time"
    );
}

#[test]
fn repeats_are_summarised_with_both_kinds_of_uncertainty() {
    let t = grid(-0.02, 0.4);
    let mut random = Random::new(2);
    let steps: Vec<StepMeasures> = (0..12)
        .map(|_| {
            let y: Vec<f64> = t
                .iter()
                .map(|t| 2.0 * second_order(*t) + 2e-3 * random.normal())
                .collect();
            measure(&t, &y, 0.0, 2.0, 0.05).unwrap()
        })
        .collect();
    let options = SummaryOptions {
        gain_rel_u: 1e-3,
        ..SummaryOptions::default()
    };
    let summary = summarise_steps(&steps, &[], &options);
    let transition = summary.transition.estimate().unwrap();
    assert!(
        transition.interval[0] < 13.031_392e-3 && 13.031_392e-3 < transition.interval[1],
        "{transition:?}"
    );
    let amplitude = summary.amplitude.estimate().unwrap();
    assert!(
        amplitude.interval[0] < 2.0 && 2.0 < amplitude.interval[1] && amplitude.std_uncertainty >= 1.9e-3
    );
    assert_eq!(
        summarise_steps(&steps[..1], &[], &options)
            .peak
            .refused()
            .unwrap()
            .code,
        "too_few_repeats"
    );
}

/// ST-1's steepest slope is 1/tau at onset. Half the amplitude takes tau ln 2 from there, and nowhere less.
#[test]
fn slew_largest_and_sustained() {
    let tau = 4e-3;
    let t = grid(-0.02, 0.12);
    let y: Vec<f64> = t
        .iter()
        .map(|t| if *t > 0.0 { 1.0 - (-t / tau).exp() } else { 0.0 })
        .collect();
    let m = measure(&t, &y, 0.0, 1.0, 0.05).unwrap();
    close(m.sustained_nm_per_s, 0.5 / (tau * 2.0_f64.ln()), 0.01 * 180.0);
    // A ramp keeps its rate: both are it, for a fall as for a rise. A single step between samples is not sustained.
    let ramp: Vec<f64> = t.iter().map(|t| -2.0 * (t / 10e-3).clamp(0.0, 1.0)).collect();
    let m = measure(&t, &ramp, 0.0, -2.0, 0.05).unwrap();
    close(m.steepest_nm_per_s, 200.0, 1e-6);
    close(m.sustained_nm_per_s, 200.0, 1e-6);
    let glitch: Vec<f64> = t
        .iter()
        .zip(&ramp)
        .map(|(t, y)| y - if *t > 5e-3 && *t < 5.9e-3 { 0.3 } else { 0.0 })
        .collect();
    let m = measure(&t, &glitch, 0.0, -2.0, 0.05).unwrap();
    assert!(
        m.steepest_nm_per_s > 1000.0 && m.sustained_nm_per_s < 300.0,
        "{m:?}"
    );
}

/// Ringing with a damping ratio of 0.05: overshoot `exp(-πζ/√(1-ζ²))`, and the first undershoot is its square; a record that
/// ends while it rings is refused.
#[test]
fn ringing_is_measured_or_refused() {
    let (w, z) = (TAU * 90.0, 0.05_f64);
    let root = (1.0 - z * z).sqrt();
    let ring = |t: f64| {
        if t <= 0.0 {
            return 0.0;
        }
        1.0 - (-z * w * t).exp() * ((root * w * t).cos() + z / root * (root * w * t).sin())
    };
    let t = grid(-0.02, 0.4);
    let y: Vec<f64> = t.iter().map(|t| ring(*t)).collect();
    let m = measure(&t, &y, 0.0, 1.0, 0.02).unwrap();
    let over = (-std::f64::consts::PI * z / root).exp();
    close(m.overshoot, over, 1e-3);
    close(m.undershoot, over * over, 2e-3);
    // The envelope falls to 2 % at ln(50)/(ζω); the last entry lies within half a period of ringing before that.
    let envelope = 50.0_f64.ln() / (z * w);
    assert!(
        m.settling_s < 1.01 * envelope && m.settling_s > envelope - 0.5 / 90.0,
        "{}",
        m.settling_s
    );
    let n = grid(-0.02, 0.06).len();
    assert_eq!(
        measure(&t[..n], &y[..n], 0.0, 1.0, 0.02).unwrap_err().code(),
        "never_settled"
    );
}

/// A sensor that drifts through the whole record is told from a step that settles slowly, and a drift within the settling
/// band leaves the result standing.
#[test]
fn a_drifting_baseline_is_refused() {
    let t = grid(-0.1, 0.4);
    let mut random = Random::new(5);
    let drifting = |rate: f64, random: &mut Random| -> Vec<f64> {
        t.iter()
            .map(|t| second_order(*t) + rate * t + 1e-4 * random.normal())
            .collect()
    };
    // 2 % of 1 N·m over 0.5 s is 0.04 N·m/s. The settled end must lie within the band all the same.
    let much = drifting(0.08, &mut random);
    assert_eq!(measure(&t, &much, 0.0, 1.0, 0.02).unwrap_err().code(), "drifting");
    let falling = drifting(-0.08, &mut random);
    assert_eq!(
        measure(&t, &falling, 0.0, 1.0, 0.02).unwrap_err().code(),
        "drifting"
    );
    let little = drifting(0.02, &mut random);
    close(
        measure(&t, &little, 0.0, 1.0, 0.02).unwrap().overshoot,
        0.163,
        0.01,
    );
    // A base at rest and an end that creeps is no drift of the sensor.
    let creeping: Vec<f64> = t
        .iter()
        .map(|t| second_order(*t) * (1.0 + 0.015 * t.max(0.0)) + 1e-4 * random.normal())
        .collect();
    assert!(measure(&t, &creeping, 0.0, 1.0, 0.02).is_ok());
}

/// Band and percentiles against the quantiles of a known spread: amplitudes 1, 1.01 … 1.20.
#[test]
fn bands_are_percentiles_of_the_repeats() {
    let t = grid(-0.02, 0.4);
    let curves: Vec<Vec<f64>> = (0..21)
        .map(|i| {
            t.iter()
                .map(|t| (1.0 + 0.01 * f64::from(i)) * second_order(*t))
                .collect()
        })
        .collect();
    let records: Vec<StepRecord<'_>> = curves
        .iter()
        .map(|y| StepRecord {
            t_s: ArrayView1::from(&t),
            torque_nm: ArrayView1::from(y),
            from_nm: 0.0,
            to_nm: 1.0,
        })
        .collect();
    let band = step_band(&records).unwrap();
    assert_eq!((band.n, band.t_s.len()), (21, t.len()));
    for (t, p) in band.t_s.iter().zip(&band.torque_nm) {
        let y = second_order(*t);
        close(p.low, y * 1.01, 1e-12);
        close(p.median, y * 1.10, 1e-12);
        close(p.high, y * 1.19, 1e-12);
    }
    let measures: Vec<StepMeasures> = curves
        .iter()
        .map(|y| measure(&t, y, 0.0, 1.0, 0.05).unwrap())
        .collect();
    let spread = spread_of_steps(&measures).unwrap();
    close(spread.overshoot.median, 0.163_033_5, 2e-4);
    close(
        spread.sustained_nm_per_s.high / spread.sustained_nm_per_s.median,
        1.19 / 1.10,
        1e-3,
    );
    assert_eq!(step_band(&records[..4]).unwrap_err().code(), "too_few_repeats");
    assert_eq!(
        spread_of_steps(&measures[..4]).unwrap_err().code(),
        "too_few_repeats"
    );
    let mut mixed = records.clone();
    mixed[3].to_nm = 2.0;
    assert_eq!(step_band(&mixed).unwrap_err().code(), "records_differ");
}

/// Ringing whose sixth extremum, `exp(-6πζ/√(1-ζ²))` of the step, just meets the edge of the band: noise decides whether the torque
/// has settled behind it or behind the one before, half a period apart, and the measure says so. With the edge midway between two
/// extrema it is sure.
#[test]
fn a_peak_at_the_edge_of_the_band_leaves_settling_in_doubt() {
    let (w, z) = (TAU * 40.0, 0.1_f64);
    let root = (1.0 - z * z).sqrt();
    let half_period = 0.5 * TAU / (root * w);
    let ring = |t: f64| {
        let turn = root * w * t;
        1.0 - (-z * w * t).exp() * (turn.cos() + z / root * turn.sin())
    };
    let t = grid(-0.02, 0.4);
    let extremum = |k: f64| (-k * std::f64::consts::PI * z / root).exp();
    let mut random = Random::new(5);
    let y: Vec<f64> = t
        .iter()
        .map(|t| if *t > 0.0 { ring(*t) } else { 0.0 } + 2e-3 * random.normal())
        .collect();
    let at_edge = measure(&t, &y, 0.0, 1.0, extremum(6.0)).unwrap();
    let doubt = at_edge.settling_doubt_s;
    assert!(
        doubt > 0.6 * half_period && doubt < 1.2 * half_period,
        "{doubt} of {half_period}"
    );
    let between = measure(&t, &y, 0.0, 1.0, extremum(5.5)).unwrap();
    assert!(
        between.settling_doubt_s < 0.05 * half_period,
        "{}",
        between.settling_doubt_s
    );
}
