//! Friction over speed: closed forms, published parameters, scipy
//! (tests/reference/analysis/friction.py), recovery over seeds, refusals.
#![allow(clippy::unwrap_used, clippy::panic)]

use crate::common::{Random, list};
use crate::drivetrain::{Lugre, Tally, friction_reference as reference, noisy, steps};
use ndarray::{Array1, ArrayView1};
use std::f64::consts::TAU;
use truerim_analysis::estimate::{Estimate, Outcome};
use truerim_analysis::friction::*;

fn points(v: &[f64], t: &[f64], u: &[f64]) -> Vec<DragPoint> {
    (0..v.len())
        .map(|i| DragPoint {
            speed_rad_s: v[i],
            torque_nm: t[i],
            u_nm: u[i],
            periods: 10,
        })
        .collect()
}

fn speeds(low: f64, high: f64, n: i32) -> Vec<f64> {
    let up: Vec<f64> = (0..n)
        .map(|i| low * (high / low).powf(f64::from(i) / f64::from(n - 1)))
        .collect();
    up.iter().map(|v| -v).chain(up.clone()).collect()
}

fn value(o: &Outcome) -> f64 {
    o.estimate().unwrap_or_else(|| panic!("{o:?}")).value
}

fn near(found: f64, expected: f64, relative: f64) {
    assert!(
        (found - expected).abs() <= relative * expected.abs(),
        "{found} for {expected}"
    );
}

/// Check FR-S (closed form, as curve_fit returns it).
#[test]
fn a_curve_without_noise_comes_back() {
    let v = speeds(0.005, 3.0, 25);
    let t: Vec<f64> = v
        .iter()
        .map(|v| v.signum() * (0.35 + 0.27 * (-(v / 0.08_f64).powi(2)).exp()) + 0.045 * v)
        .collect();
    let fit = fit_stribeck(&points(&v, &t, &vec![1e-3; v.len()]), &StribeckOptions::default()).unwrap();
    near(value(&fit.coulomb), 0.35, 1e-6);
    near(value(&fit.breakaway_ratio) * 0.35, 0.62, 1e-6);
    for breakaway in [&fit.breakaway, &fit.breakaway_positive, &fit.breakaway_negative] {
        near(value(breakaway), 0.62, 1e-6);
    }
    near(value(&fit.stribeck_speed), 0.08, 1e-6);
    near(value(&fit.viscous), 0.045, 1e-6);
    for (v, f) in [
        (0.01, 0.616_264_0),
        (0.05, 0.534_941_1),
        (0.1, 0.411_095_1),
        (0.5, 0.3725),
        (2.0, 0.44),
    ] {
        assert!((fit.model.torque_nm(v) - f).abs() < 1e-7, "{v}");
    }
}

/// Check LU-1: the steady friction of the LuGre paper's table I, a linear axis of its own.
#[test]
fn the_published_bristle_parameters_come_back() {
    let v = speeds(1e-4, 0.1, 30);
    let t: Vec<f64> = v
        .iter()
        .map(|v| v.signum() * (1.0 + 0.5 * (-(v / 0.001_f64).powi(2)).exp()) + 0.4 * v)
        .collect();
    let options = StribeckOptions {
        axis: Axis::Linear,
        ..StribeckOptions::default()
    };
    let fit = fit_stribeck(&points(&v, &t, &vec![1e-3; v.len()]), &options).unwrap();
    for (v, f) in [
        (1e-4, 1.495_064_9),
        (5e-4, 1.389_600_4),
        (1e-3, 1.184_339_7),
        (2e-3, 1.009_957_8),
        (5e-3, 1.002_000_0),
        (0.1, 1.040_000_0),
        (0.002_986_316_6, 1.001_261_5),
    ] {
        assert!(
            (fit.model.torque_nm(v) - f).abs() < 1e-7,
            "{v} {}",
            fit.model.torque_nm(v)
        );
        // The other direction is the same with its sign turned.
        assert!((fit.model.torque_nm(-v) + f).abs() < 1e-7);
    }
    assert_eq!(fit.coulomb.estimate().unwrap().unit, "N");
    assert_eq!(fit.viscous.estimate().unwrap().unit, "N.s/m");
}

#[test]
fn curve_and_uncertainties_are_those_of_scipy() {
    let data = &reference()["curve"];
    let (best, sd) = (list(&data["best"]), list(&data["sd"]));
    let all = points(&list(&data["v"]), &list(&data["t"]), &list(&data["u"]));
    let fit = fit_stribeck(&all, &StribeckOptions::default()).unwrap();
    let of = |o: &Outcome| o.estimate().unwrap().clone();
    let pairs: [(Estimate, f64, f64); 5] = [
        (of(&fit.coulomb_positive), best[0], sd[0]),
        (of(&fit.coulomb_negative), best[1], sd[1]),
        (
            of(&fit.breakaway_ratio),
            data["ratio"].as_f64().unwrap(),
            data["ratio_sd"].as_f64().unwrap(),
        ),
        (of(&fit.stribeck_speed), best[4], sd[4]),
        (of(&fit.viscous), best[5], sd[5]),
    ];
    for (found, expected, u) in pairs {
        near(found.value, expected, 1e-6);
        near(found.std_uncertainty, u, 1e-3);
    }
    let chi2: f64 = fit.residuals.iter().map(|r| r * r).sum();
    near(chi2, data["chi2"].as_f64().unwrap(), 1e-9);
}

/// One turn at a speed: steady friction of the equations, cogging, sensor noise, angle steps of 0.02 degree.
fn turn(unit: &Lugre, v: f64, random: &mut Random) -> (f64, Vec<f64>, Vec<f64>) {
    let (fs, periods) = if v.abs() > 0.5 {
        (4000.0, 36.2)
    } else {
        (1000.0, 8.2)
    };
    let n = (periods * TAU / 36.0 / v.abs() * fs) as usize + 2;
    let phase = TAU * random.uniform();
    let (angle, torque) = (0..n)
        .map(|i| {
            let a = phase + v * i as f64 / fs;
            let cogging = 0.03 * (108.0 * a).sin() + 0.03 * (36.0 * a).cos();
            let noise = 0.002 * (fs / 1000.0_f64).sqrt();
            (
                steps(a, 3.5e-4),
                noisy(random, unit.steady(v) + cogging + 0.004, noise),
            )
        })
        .unzip();
    (fs, angle, torque)
}

#[test]
fn a_sweep_over_speeds_is_recovered_over_seeds() {
    let unit = Lugre::belt();
    let torque = TorqueScale {
        zero_nm: 0.0,
        zero_u_nm: 0.004,
        gain_rel_u: 0.0,
    };
    let options = StribeckOptions {
        torque,
        ..StribeckOptions::default()
    };
    let mut tallies: [Tally; 5] = Default::default();
    for seed in 0..60 {
        let mut random = Random::new(seed);
        let all: Vec<DragPoint> = speeds(0.02, 8.0, 12)
            .iter()
            .map(|v| {
                let (fs_hz, angle, torque) = turn(&unit, *v, &mut random);
                let turn = SteadyTurn {
                    fs_hz,
                    angle_rad: ArrayView1::from(&angle),
                    torque_nm: ArrayView1::from(&torque),
                };
                drag_point(&turn, TAU / 36.0).unwrap()
            })
            .collect();
        let fit = fit_stribeck(&all, &options).unwrap();
        let truth = [0.25, 0.26, unit.viscous, unit.stribeck, unit.ratio];
        let found = [
            &fit.coulomb,
            &fit.coulomb_positive,
            &fit.viscous,
            &fit.stribeck_speed,
            &fit.breakaway_ratio,
        ];
        for k in 0..5 {
            tallies[k].outcome(found[k], truth[k]);
        }
    }
    let names = [
        "Coulomb",
        "Coulomb, positive",
        "viscous",
        "Stribeck speed",
        "breakaway ratio",
    ];
    for (tally, name) in tallies.iter().zip(names) {
        // Errors where two periods meet cancel in the mean but not in the scatter that speaks for it, so uncertainties
        // of tenths of a millinewton metre err on the safe side; and the sensor's true zero is one declared
        // uncertainty away.
        tally.covers(&format!("sweep, {name}"), 0.88, 1.0);
        let claimed = tally.claimed / tally.errors.len() as f64;
        assert!(
            claimed < 3.0 * tally.spread() || name.ends_with("positive"),
            "{name}: idle uncertainty"
        );
    }
    assert!(tallies[0].bias().abs() + 2.0 * tallies[0].spread() < 0.03 * 0.25);
    assert!(tallies[2].bias().abs() + 2.0 * tallies[2].spread() < 0.05 * unit.viscous);
}

#[test]
fn what_cannot_be_told_apart_is_not_told() {
    let mut random = Random::new(5);
    let v = speeds(0.3, 8.0, 10);
    let t: Vec<f64> = v
        .iter()
        .map(|v| noisy(&mut random, v.signum() * 0.25 + 0.012 * v, 0.001))
        .collect();
    let fit = fit_stribeck(
        &points(&v, &t, &vec![0.001; v.len()]),
        &StribeckOptions::default(),
    )
    .unwrap();
    assert_eq!(fit.stribeck_speed.refused().unwrap().code, "confounded");
    assert_eq!(fit.breakaway_ratio.refused().unwrap().code, "confounded");
    let coulomb = fit.coulomb.estimate().unwrap();
    assert!((coulomb.value - 0.25).abs() < 2.0 * coulomb.std_uncertainty);
    // A fall far below the slowest speed is seen in no direction either.
    let t: Vec<f64> = v
        .iter()
        .map(|v| {
            noisy(
                &mut random,
                v.signum() * 0.25 * (1.0 + 0.3 * (-(v / 0.05_f64).powi(2)).exp()),
                0.001,
            )
        })
        .collect();
    let fit = fit_stribeck(
        &points(&v, &t, &vec![0.001; v.len()]),
        &StribeckOptions::default(),
    )
    .unwrap();
    assert_eq!(fit.breakaway_ratio.refused().unwrap().code, "confounded");
}

/// Without a fall, noise passes for one in no more than the stated share of sweeps.
#[test]
fn a_fall_is_rarely_seen_where_there_is_none() {
    let v = speeds(0.02, 8.0, 10);
    let mut told = 0;
    for seed in 0..300 {
        let mut random = Random::new(4000 + seed);
        let t: Vec<f64> = v
            .iter()
            .map(|v| noisy(&mut random, v.signum() * 0.25 + 0.012 * v, 0.001))
            .collect();
        let fit = fit_stribeck(
            &points(&v, &t, &vec![0.001; v.len()]),
            &StribeckOptions::default(),
        )
        .unwrap();
        told += usize::from(fit.breakaway_ratio.estimate().is_some());
    }
    println!("fall told {told} of 300");
    assert!(told <= 6);
}

/// Torque to and fro with cogging of order 12.3 that the directions share, friction that depends on the angle, and a zero:
/// the mean of `0.25 + 0.03 sin 2θ` over the shared angles 0.2 to 2.2 rad is 0.25 + 0.03 (cos 0.4 − cos 4.4)/4 (by hand).
#[test]
fn friction_from_both_directions_is_free_of_cogging_and_zero() {
    let torque = |a: f64, s: f64| s * (0.25 + 0.03 * (2.0 * a).sin()) + 0.1 * (12.3 * a).cos() + 0.004;
    let up: Array1<f64> = Array1::linspace(0.0, 2.2, 11_000);
    let down: Array1<f64> = Array1::linspace(2.5, 0.2, 11_500);
    let (t_up, t_down) = (up.mapv(|a| torque(a, 1.0)), down.mapv(|a| torque(a, -1.0)));
    let turn = |angle: &'static str| match angle {
        "up" => (up.view(), t_up.view()),
        _ => (down.view(), t_down.view()),
    };
    let turn = |way| {
        let (angle_rad, torque_nm) = turn(way);
        SteadyTurn {
            fs_hz: 1000.0,
            angle_rad,
            torque_nm,
        }
    };
    let found = paired_drag(&turn("up"), &turn("down")).unwrap();
    let expected = 0.25 + 0.03 * (0.4_f64.cos() - 4.4_f64.cos()) / 4.0;
    near(found.friction_nm, expected, 2e-4);
    near(found.speed_rad_s, 0.2, 1e-3);
    near(found.travel_rad, 2.0, 1e-3);
    assert!(found.u_nm > 0.0 && found.ripple_nm < 0.04, "{found:?}");
    assert_eq!(
        paired_drag(&turn("up"), &turn("up")).unwrap_err().code(),
        "wrong_sign"
    );
    let both = points_of(&[found]);
    near(0.5 * (both[0].torque_nm - both[1].torque_nm), expected, 2e-4);
    assert!(both[0].speed_rad_s > 0.0 && both[1].speed_rad_s < 0.0);
}

#[test]
fn sweeps_that_say_nothing_are_refused() {
    let v = speeds(0.02, 8.0, 8);
    let t: Vec<f64> = v.iter().map(|v| v.signum() * 0.25).collect();
    let u = vec![0.001; v.len()];
    let fit = |v: &[f64], t: &[f64], u: &[f64]| {
        fit_stribeck(&points(v, t, u), &StribeckOptions::default())
            .unwrap_err()
            .code()
    };
    assert_eq!(fit(&v[..5], &t[..5], &u[..5]), "too_few_samples");
    let one_way: Vec<f64> = v.iter().map(|v| v.abs()).collect();
    assert_eq!(fit(&one_way, &one_way, &u), "too_few_samples");
    let narrow: Vec<f64> = v.iter().map(|v| v.signum() * (1.0 + v.abs() / 10.0)).collect();
    assert_eq!(fit(&narrow, &t, &u), "not_covered");
    let against: Vec<f64> = t.iter().map(|t| -t).collect();
    assert_eq!(fit(&v, &against, &u), "wrong_sign");
    assert_eq!(fit(&v, &[f64::NAN; 16], &u), "non_finite");
    assert_eq!(fit(&v, &t, &[-1.0; 16]), "non_finite");
    let angle = Array1::linspace(0.0, 1.0, 1000);
    let turn = |angle: &Array1<f64>, torque: &Array1<f64>, period: f64| {
        let turn = SteadyTurn {
            fs_hz: 1e3,
            angle_rad: angle.view(),
            torque_nm: torque.view(),
        };
        drag_point(&turn, period).unwrap_err().code()
    };
    assert_eq!(turn(&angle, &angle, 0.3), "not_covered");
    assert_eq!(turn(&angle, &angle, 0.0), "out_of_range");
    assert_eq!(turn(&angle, &Array1::zeros(10), 0.1), "length_mismatch");
    assert_eq!(
        turn(&angle, &Array1::from_elem(1000, f64::NAN), 0.1),
        "non_finite"
    );
    let surging = angle.mapv(|a| a * a);
    assert_eq!(turn(&surging, &angle, 0.1), "records_differ");
}
