//! Orders of torque against closed forms (checks OR-1, CG-1), numpy and scipy (tests/reference/analysis/cogging.py);
//! names of declared orders; what is refused.
#![allow(clippy::unwrap_used, clippy::panic)]

use crate::common::{Random, list};
use crate::drivetrain::{noisy, reference};
use ndarray::{Array1, ArrayView1};
use std::f64::consts::TAU;
use truerim_analysis::cogging::*;

/// Check OR-1: order 12 of 0.1200 and order 60 of 0.0500 N·m on a mean of 0.8000 N·m, at a speed that grows.
#[test]
fn resampling_keeps_orders_at_a_speed_that_grows() {
    let turns = |t: f64| 0.5 * t + 0.03 * t * t;
    let angle: Vec<f64> = (0..24_000).map(|i| TAU * turns(f64::from(i) / 2000.0)).collect();
    let torque: Vec<f64> = angle
        .iter()
        .map(|a| 0.8 + 0.12 * (12.0 * a + 0.3).sin() + 0.05 * (60.0 * a).sin())
        .collect();
    let track = Track {
        direction: 1.0,
        speed_rad_s: 5.0,
        angle_rad: angle,
        torque_nm: torque,
    };
    let mut grid = resample(&track, 1024).unwrap();
    grid.torque_nm.truncate(10 * 1024);
    let s = order_spectrum(&grid, false).unwrap();
    assert_eq!((s.turns, s.order[120]), (10, 12.0));
    assert!((s.mean_nm - 0.8).abs() < 1e-4);
    assert!((s.amplitude_nm[120] - 0.12).abs() < 1e-4);
    assert!((s.amplitude_nm[600] - 0.05).abs() < 1e-4);
    // sin(12 a + 0.3) = cos(12 a − (π/2 − 0.3)).
    assert!((s.phase_rad[120] - (0.25 * TAU - 0.3)).abs() < 1e-3);
    assert!((s.phase_rad[600] - 0.25 * TAU).abs() < 5e-3);
    let lines = find_lines(&s, 6.0);
    let orders: Vec<f64> = lines.iter().take(2).map(|l| l.order).collect();
    assert_eq!(orders, [12.0, 60.0]);
    // Backwards over the same angles is the same torque.
    let back = Track {
        angle_rad: track.angle_rad.iter().rev().copied().collect(),
        torque_nm: track.torque_nm.iter().rev().copied().collect(),
        direction: -1.0,
        ..track
    };
    let again = resample(&back, 1024).unwrap();
    for (a, b) in grid.torque_nm.iter().zip(&again.torque_nm) {
        assert!((a - b).abs() < 1e-9);
    }
}

#[test]
fn regression_and_spectrum_are_those_of_numpy() {
    let data = reference("cogging");
    let track = Track {
        angle_rad: list(&data["angle"]),
        torque_nm: list(&data["torque"]),
        direction: 1.0,
        speed_rad_s: 1.25,
    };
    let (orders, c) = (list(&data["orders"]), list(&data["c"]));
    let fit = fit_orders(&[&track], &orders, &OrderOptions::default()).unwrap();
    // Blocks of samples are averaged on both sides, which leaves the noise's share of the solution a little different.
    for (k, line) in fit.lines.iter().enumerate() {
        for (found, expected) in line.cos_sin_nm.iter().zip(&c[1 + 2 * k..]) {
            assert!(
                (found - expected).abs() < 0.3 * line.u_nm,
                "{} {found} {expected}",
                line.order
            );
        }
    }
    assert!((fit.means_nm[0] - c[0]).abs() < 5e-5);
    assert!((fit.condition / data["condition"].as_f64().unwrap() - 1.0).abs() < 0.02);
    // Order 1 is not in the torque: an upper bound.
    assert_eq!(fit.lines[0].amplitude.refused().unwrap().code, "below_noise");
    let grid = resample(&track, data["points"].as_u64().unwrap() as usize).unwrap();
    for (a, b) in grid.torque_nm.iter().zip(list(&data["even"])) {
        // Spline and local cubic differ by what the noise does between samples.
        assert!((a - b).abs() < 2e-3, "{a} {b}");
    }
    let s = order_spectrum(&grid, false).unwrap();
    let expected = list(&data["amplitude"]);
    for (k, (found, expected)) in s.amplitude_nm.iter().zip(&expected).enumerate().take(20).skip(1) {
        assert!((found - expected).abs() < 2e-4, "{k}");
    }
}

/// Check CG-1.
#[test]
fn cogging_periods_are_least_common_multiples() {
    let pairs = [
        (12, 10, 60),
        (12, 8, 24),
        (36, 8, 72),
        (9, 8, 72),
        (24, 22, 264),
        (5, 2, 10),
        (0, 2, 0),
    ];
    for (slots, poles, expected) in pairs {
        assert_eq!(cogging_periods(slots, poles), expected);
    }
}

/// The orders of the three invented units, as their table of parameters has them.
#[test]
fn orders_of_the_three_units_are_named() {
    let geared = Drivetrain {
        poles: 2,
        slots: 5,
        stages: vec![
            Stage::Gears {
                driving: 14,
                driven: 70,
            },
            Stage::Belt {
                driving: 18,
                driven: 72,
                belt: 110,
            },
        ],
    };
    let belt = Drivetrain {
        poles: 10,
        slots: 12,
        stages: vec![Stage::Belt {
            driving: 16,
            driven: 144,
            belt: 180,
        }],
    };
    let direct = Drivetrain {
        poles: 30,
        slots: 36,
        stages: vec![],
    };
    assert!((geared.ratio() - 20.0).abs() < 1e-12 && (belt.ratio() - 9.0).abs() < 1e-12);
    let cases: [(&Drivetrain, f64, &str); 18] = [
        (&geared, 200.0, "slots and poles together"),
        (&geared, 280.0, "gear mesh 14:70"),
        (&geared, 72.0, "belt teeth 18:72"),
        (&geared, 20.0, "motor shaft, once a turn"),
        (&geared, 4.0, "shaft 1 behind the motor"),
        (&geared, 72.0 / 110.0, "belt of 110 teeth"),
        (&belt, 540.0, "slots and poles together"),
        (&belt, 90.0, "poles (uneven slots)"),
        (&belt, 108.0, "slots (uneven magnets)"),
        (&belt, 144.0, "belt teeth 16:144"),
        (&belt, 9.0, "motor shaft, once a turn"),
        (&belt, 0.8, "belt of 180 teeth"),
        (&direct, 180.0, "slots and poles together"),
        (&direct, 30.0, "poles (uneven slots)"),
        (&direct, 36.0, "slots (uneven magnets)"),
        (&direct, 15.0, "offset of a current sensor"),
        (&direct, 90.0, "dead time"),
        (&direct, 1.0, "motor and rim, once a turn"),
    ];
    for (unit, order, word) in cases {
        let names = names_of(order, 1e-6, &named_orders(unit));
        assert!(names.iter().any(|n| n.name.contains(word)), "{order}: {names:?}");
    }
    // The pole count is twice the electrical frequency: both origins are told.
    assert!(names_of(90.0, 1e-6, &named_orders(&belt)).len() >= 2);
    assert!(names_of(7.3, 0.01, &named_orders(&belt)).is_empty());
}

fn turn(turns: f64, n: i32, torque: impl Fn(f64) -> f64, random: &mut Random) -> Track {
    let angle: Vec<f64> = (0..n)
        .map(|i| TAU * turns * f64::from(i) / f64::from(n))
        .collect();
    let torque_nm = angle.iter().map(|a| noisy(random, torque(*a), 0.002)).collect();
    Track {
        angle_rad: angle,
        torque_nm,
        direction: 1.0,
        speed_rad_s: 0.5,
    }
}

/// Neighbours on too little travel are not parted, their like on enough travel are, and others stand in either case.
#[test]
fn what_cannot_be_parted_is_not_parted() {
    let torque = |a: f64| 0.2 + 0.02 * (0.8 * a).cos() + 0.02 * a.cos() + 0.03 * (108.0 * a).cos();
    let orders = [0.8, 1.0, 108.0];
    let options = OrderOptions::default();
    let fit = |turns: f64| {
        fit_orders(
            &[&turn(turns, 20_000, torque, &mut Random::new(9))],
            &orders,
            &options,
        )
        .unwrap()
    };
    let short = fit(1.2);
    for k in 0..2 {
        let refused = short.lines[k].amplitude.refused().unwrap();
        assert_eq!(refused.code, "confounded");
        assert!(short.lines[k].inflation > 10.0);
    }
    assert!(
        short.lines[0]
            .amplitude
            .refused()
            .unwrap()
            .message
            .contains("order 1;")
            || !short.checks[0].passed
    );
    assert!((short.lines[2].amplitude.estimate().unwrap().value - 0.03).abs() < 1e-3);
    assert!(!short.checks[0].passed);
    let long = fit(6.0);
    for (line, expected) in long.lines.iter().zip([0.02, 0.02, 0.03]) {
        let e = line.amplitude.estimate().unwrap();
        assert!(
            (e.value - expected).abs() < 3.0 * e.std_uncertainty,
            "{} {e:?}",
            line.order
        );
    }
    assert!(long.checks[0].passed);
    // Less than a turn cannot part order 0.5 from the mean.
    let little = fit_orders(
        &[&turn(0.6, 4000, torque, &mut Random::new(3))],
        &[0.5, 108.0],
        &options,
    )
    .unwrap();
    assert_eq!(little.lines[0].amplitude.refused().unwrap().code, "confounded");
}

#[test]
fn turns_that_say_nothing_are_refused() {
    let mut random = Random::new(1);
    let good = turn(2.0, 4000, |_| 0.0, &mut random);
    let fit = |t: &[&Track], o: &[f64]| fit_orders(t, o, &OrderOptions::default()).unwrap_err().code();
    assert_eq!(fit(&[&good], &[3.0, 3.0]), "out_of_range");
    assert_eq!(fit(&[&good], &[-1.0]), "out_of_range");
    assert_eq!(fit(&[], &[3.0]), "too_few_samples");
    assert_eq!(resample(&good, 4).unwrap_err().code(), "out_of_range");
    assert_eq!(resample(&good, 4096).unwrap_err().code(), "not_covered");
    let half = turn(0.5, 4000, |_| 0.0, &mut random);
    assert_eq!(
        order_spectrum(&resample(&half, 64).unwrap(), true)
            .unwrap_err()
            .code(),
        "not_covered"
    );
    let angle = Array1::linspace(0.0, 6.0, 4000);
    let options = TrackOptions::default();
    let code = |angle: &Array1<f64>, torque: ArrayView1<'_, f64>, options: &TrackOptions| {
        let turning = Turning {
            fs_hz: 1000.0,
            angle_rad: angle.view(),
            torque_nm: torque,
        };
        tracks(&turning, options).unwrap_err().code()
    };
    assert_eq!(
        code(&angle, angle.slice(ndarray::s![1..]), &options),
        "length_mismatch"
    );
    assert_eq!(
        code(
            &angle,
            angle.view(),
            &TrackOptions {
                step_rad: -1.0,
                ..options.clone()
            }
        ),
        "out_of_range"
    );
    let mut holed = angle.clone();
    holed.slice_mut(ndarray::s![1000..1100]).fill(f64::NAN);
    assert_eq!(code(&holed, angle.view(), &options), "non_finite");
    assert_eq!(code(&angle, holed.view(), &options), "non_finite");
    let still = Array1::zeros(4000);
    assert_eq!(code(&still, angle.view(), &options), "not_covered");
    let brief = Array1::linspace(0.0, 1.0, 100);
    assert_eq!(code(&brief, brief.view(), &options), "too_few_samples");
}
