//! Inertia from two discs, ratio, knee and comparison of belts: closed forms (checks BT-1, BT-2; propagation by hand),
//! recovery over seeds, error rates, refusals.
#![allow(clippy::unwrap_used, clippy::panic)]

use crate::common::Random;
use crate::drivetrain::{Lugre, Tally, noisy, steps};
use ndarray::ArrayView1;
use std::f64::consts::TAU;
use truerim_analysis::backlash::{BacklashOptions, LoopRecord};
use truerim_analysis::estimate::{Contribution, Estimate};
use truerim_analysis::inertia::*;

fn known(value: f64, u: f64, unit: &str) -> Estimate {
    Estimate::from_budget(
        value,
        unit,
        9,
        "declared",
        vec![Contribution::type_b("declared", u)],
    )
    .unwrap()
}

/// J 0.004, discs 0.005 and 0.009 kg·m², 1.3 N·m: closed form, and the derivatives by hand.
#[test]
fn two_discs_in_closed_form() {
    let (a1, a2) = (1.3 / 0.009, 1.3 / 0.013);
    let (d1, d2) = (known(0.005, 5e-6, "kg.m2"), known(0.009, 9e-6, "kg.m2"));
    let (x1, x2) = (known(a1, 0.2, "rad/s2"), known(a2, 0.1, "rad/s2"));
    let j = two_discs([&d1, &d2], [&x1, &x2]).unwrap();
    assert!((j.value - 0.004).abs() < 1e-12);
    let d = a1 - a2;
    let parts = [0.009 / d * 0.2, 0.013 / d * 0.1, a1 / d * 5e-6, a2 / d * 9e-6];
    let u = parts.iter().map(|p| p * p).sum::<f64>().sqrt();
    assert!((j.std_uncertainty - u).abs() < 1e-12, "{} {u}", j.std_uncertainty);
    assert_eq!(
        two_discs([&d1, &d1], [&x1, &x1]).unwrap_err().code(),
        "confounded"
    );
    assert_eq!(
        two_discs([&d2, &d1], [&x1, &x2]).unwrap_err().code(),
        "out_of_range"
    );
}

/// The belt unit run up by 2 N·m for 0.12 s with two discs, read in steps of 0.02 degree: inertia within its interval.
#[test]
fn two_discs_are_recovered_over_seeds() {
    let mut tally = Tally::default();
    let own = 0.003;
    for seed in 0..60 {
        let mut random = Random::new(seed);
        let mut found = Vec::new();
        let mut declared = Vec::new();
        for disc in [0.004, 0.012] {
            let unit = Lugre {
                inertia: own + disc,
                coulomb: [0.25; 2],
                ..Lugre::belt()
            };
            let runs: Vec<Vec<f64>> = (0..6)
                .map(|_| {
                    let at = TAU * random.uniform();
                    // Already sliding: from rest, breaking away would be part of it.
                    let path = unit.run([at, 1.0, 0.25], 2.5e-4, 320, |_, a, _| {
                        2.0 + 0.03 * (108.0 * a).sin()
                    });
                    path.iter()
                        .map(|y| steps(noisy(&mut random, y[0], 2e-5), 3.5e-4))
                        .collect()
                })
                .collect();
            let runs: Vec<RunUp<'_>> = runs
                .iter()
                .map(|a| RunUp {
                    fs_hz: 4000.0,
                    angle_rad: ArrayView1::from(a),
                })
                .collect();
            found.push(acceleration(&runs).unwrap());
            declared.push(known(disc * (1.0 + 1e-3 * random.normal()), 1e-3 * disc, "kg.m2"));
        }
        let j = two_discs([&declared[0], &declared[1]], [&found[0], &found[1]]).unwrap();
        tally.add(j.value, j.interval, j.std_uncertainty, own);
    }
    tally.covers("two discs", 0.86, 1.0);
    let angle = [0.0; 10];
    let brief = RunUp {
        fs_hz: 1e3,
        angle_rad: ArrayView1::from(&angle),
    };
    assert_eq!(acceleration(&[brief; 3]).unwrap_err().code(), "too_few_samples");
    assert_eq!(acceleration(&[brief; 2]).unwrap_err().code(), "too_few_repeats");
}

#[test]
fn ratio_and_error_once_a_turn_are_recovered() {
    let (mut ratio, mut once) = (Tally::default(), Tally::default());
    for seed in 0..60 {
        let mut random = Random::new(seed);
        let (phase, start) = (TAU * random.uniform(), TAU * random.uniform());
        let (rim, rotor): (Vec<f64>, Vec<f64>) = (0..20_000)
            .map(|i| {
                let a = start + 2.2 * TAU * f64::from(i) / 20_000.0;
                let wrong = 2e-3 * (a - phase).cos();
                (steps(a, 3.5e-4), noisy(&mut random, 9.0 * (a + wrong), 1e-3))
            })
            .unzip();
        let fit = fit_ratio(ArrayView1::from(&rim), ArrayView1::from(&rotor)).unwrap();
        ratio.outcome(&fit.ratio, 9.0);
        once.outcome(&fit.once_per_turn, 2e-3);
        assert!(fit.checks[0].passed && fit.residual_rms_rad < 3e-4);
    }
    ratio.covers("ratio", 0.86, 1.0);
    once.covers("error once a turn", 0.86, 1.0);
    let angle: Vec<f64> = (0..1000).map(|i| f64::from(i) * 4e-3).collect();
    let view = |n: usize| ArrayView1::from(&angle[..n]);
    let half = fit_ratio(view(1000), view(1000)).unwrap();
    assert_eq!(half.once_per_turn.refused().unwrap().code, "not_covered");
    assert_eq!(fit_ratio(view(300), view(300)).unwrap_err().code(), "not_covered");
    assert_eq!(
        fit_ratio(view(100), view(100)).unwrap_err().code(),
        "too_few_samples"
    );
    assert_eq!(
        fit_ratio(view(300), view(301)).unwrap_err().code(),
        "length_mismatch"
    );
}

/// Slow loops of a belt with its knee at `knee`: both spans 900 N·m/rad, one 450, friction 0.15 N·m.
fn belt(knee: f64, top: f64, random: &mut Random) -> (Vec<f64>, Vec<f64>) {
    (0..14_000)
        .map(|i| {
            let phase = (f64::from(i) / 4000.0 + 0.25) % 1.0;
            let t = top * (4.0 * (phase - 0.5).abs() - 1.0);
            let net = t - 0.15 * if phase < 0.5 { -1.0 } else { 1.0 };
            let a = net / 900.0 + net.signum() * (net.abs() - knee).max(0.0) / 900.0;
            (noisy(random, a, 1e-5), noisy(random, t, 0.002))
        })
        .unzip()
}

fn knee_of(loops: &(Vec<f64>, Vec<f64>), top: f64) -> KneeFit {
    let record = LoopRecord {
        twist_rad: ArrayView1::from(&loops.0),
        torque_nm: ArrayView1::from(&loops.1),
        position_rad: 0.0,
    };
    fit_knee(&record, &BacklashOptions::new(top, [1e-5, 0.002])).unwrap()
}

/// Two belts 10 % apart in tension (the knee is proportional to it) are told apart with p < 0.01, two equal ones are
/// called changed no more often than stated.
#[test]
fn belts_are_told_apart_and_equals_are_not() {
    let (mut apart, mut alike, mut ratio) = (0, 0, Tally::default());
    for seed in 0..60 {
        let mut random = Random::new(seed);
        let state = |knee: f64, random: &mut Random| {
            let fit = knee_of(&belt(knee, 6.9, random), 7.0);
            // One span of two: 450 N·m/rad, from the model above.
            let beyond = fit.beyond.estimate().cloned();
            assert!((beyond.as_ref().unwrap().value / 450.0 - 1.0).abs() < 0.02);
            BeltState {
                beyond,
                knee: fit.knee.estimate().cloned(),
                stiffness: fit.stiffness.estimate().cloned(),
                resonance: vec![(0.5, known_a(noisy(random, 115.0, 0.3), 0.3, "Hz"))],
                coulomb: Some(known_a(noisy(random, 0.25, 0.002), 0.002, "N.m")),
            }
        };
        let (then, tight, same) = (
            state(5.0, &mut random),
            state(5.5, &mut random),
            state(5.0, &mut random),
        );
        let found = compare_belt(&then, &tight, 0.01).unwrap();
        apart += usize::from(found.changed && found.direction == Direction::Tighter);
        assert_eq!(found.changes.len(), 5);
        let back = compare_belt(&tight, &then, 0.01).unwrap();
        assert!(!back.changed || back.direction == Direction::Slacker);
        ratio.errors.push(found.changes[0].relative - 0.1);
        alike += usize::from(compare_belt(&then, &same, 0.05).unwrap().changed);
    }
    println!("10 % more tension told {apart} of 60, equals called changed {alike} of 60 at 5 %");
    println!(
        "relative knee: bias {:.2e}, spread {:.2e}",
        ratio.bias(),
        ratio.spread()
    );
    assert!(apart >= 58 && alike <= 9);
}

/// Known from scatter, with ten degrees of freedom.
fn known_a(value: f64, u: f64, unit: &str) -> Estimate {
    Estimate::from_budget(
        value,
        unit,
        11,
        "scatter",
        vec![Contribution::type_a("repeats", u, 10.0)],
    )
    .unwrap()
}

#[test]
fn a_knee_is_found_or_lies_beyond() {
    let mut tally = Tally::default();
    for seed in 0..40 {
        let mut random = Random::new(300 + seed);
        let fit = knee_of(&belt(5.0, 6.9, &mut random), 7.0);
        tally.outcome(&fit.knee, 5.0);
        assert!((fit.stiffness.estimate().unwrap().value / 900.0 - 1.0).abs() < 0.01);
        assert!((fit.stiffness_ratio.estimate().unwrap().value - 0.5).abs() < 0.02);
        let none = knee_of(&belt(9.0, 6.9, &mut random), 7.0);
        assert_eq!(none.knee.refused().unwrap().code, "not_covered");
        assert!((none.stiffness.estimate().unwrap().value / 900.0 - 1.0).abs() < 0.01);
    }
    tally.covers("knee", 0.86, 1.0);
    assert!(tally.bias().abs() < 0.002 * 5.0);
}

/// Checks BT-1 and BT-2.
#[test]
fn tension_of_a_span() {
    let force = span_tension(
        &known(0.0455, 0.0, "kg/m"),
        &known(0.4, 0.0, "m"),
        &known(62.0, 0.62, "Hz"),
    )
    .unwrap();
    assert!((force.value - 111.937_28).abs() < 1e-9);
    // Twice the relative uncertainty of the frequency.
    assert!((force.std_uncertainty / force.value - 0.02).abs() < 1e-12);
    assert!((span_frequency_hz(120.0, 0.025, 0.3) - 115.470_054).abs() < 1e-6);
    let none = known(0.0, 0.0, "Hz");
    assert_eq!(
        span_tension(&none, &force, &force).unwrap_err().code(),
        "out_of_range"
    );
    let empty = BeltState::default();
    assert_eq!(
        compare_belt(&empty, &empty, 0.05).unwrap_err().code(),
        "too_few_repeats"
    );
    assert_eq!(
        compare_belt(&empty, &empty, 1.5).unwrap_err().code(),
        "out_of_range"
    );
    let exact = BeltState {
        knee: Some(known(5.0, 0.1, "N.m")),
        ..BeltState::default()
    };
    assert_eq!(
        compare_belt(&exact, &exact, 0.05).unwrap_err().code(),
        "too_few_repeats"
    );
}
