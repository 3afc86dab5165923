//! Coasting down: closed form, scipy's own integration and fit (tests/reference/analysis/friction.py), recovery over
//! seeds, refusals.
#![allow(clippy::unwrap_used, clippy::panic)]

use crate::common::{Random, list};
use crate::drivetrain::{Lugre, Tally, friction_reference as reference, steps};
use ndarray::ArrayView1;
use std::f64::consts::TAU;
use truerim_analysis::estimate::Outcome;
use truerim_analysis::friction::*;

fn near(found: f64, expected: f64, relative: f64) {
    assert!(
        (found - expected).abs() <= relative * expected.abs(),
        "{found} for {expected}"
    );
}

fn coast<'a>(runs: &'a [Vec<f64>], fs_hz: f64) -> Vec<CoastDown<'a>> {
    runs.iter()
        .map(|a| CoastDown {
            fs_hz,
            angle_rad: ArrayView1::from(a),
        })
        .collect()
}

fn options(inertia: f64) -> CoastOptions {
    CoastOptions {
        axis: Axis::Rotary,
        inertia,
        inertia_u: 0.0,
        least_speed: 0.0,
        angle_sd: 1e-4,
    }
}

/// Check CD-1: the closed form of Coulomb and viscous friction, J 0.012 kg·m², B 0.02 N·m·s, T 0.15 N·m from 20 rad/s:
/// at rest after 0.7795698 s and 6.1532266 rad, at half speed after 0.2711911 s.
#[test]
fn coasting_in_closed_form_comes_back() {
    let (j, b, c, w): (f64, f64, f64, f64) = (0.012, 0.02, 0.15, 20.0);
    let turned = |t: f64| {
        let decay = 1.0 - (-b * t / j).exp();
        (w + c / b) * j / b * decay - c / b * t
    };
    let stop = j / b * (1.0 + b * w / c).ln();
    assert!((stop - 0.779_569_8).abs() < 1e-7 && (turned(stop) - 6.153_226_6).abs() < 1e-7);
    let runs: Vec<Vec<f64>> = (0..6)
        .map(|k| {
            (0..760)
                .map(|i| turned(f64::from(i) * 1e-3) * f64::from(1 - 2 * (k % 2)))
                .collect()
        })
        .collect();
    let fit = fit_coast_down(&coast(&runs, 1e3), &options(j)).unwrap();
    near(fit.coulomb.estimate().unwrap().value, c, 1e-5);
    near(fit.viscous.estimate().unwrap().value, b, 1e-5);
}

/// Scipy's own integration and fit of the same runs.
#[test]
fn coasting_is_that_of_scipy() {
    let data = &reference()["coast"];
    let runs: Vec<Vec<f64>> = data["runs"]
        .as_array()
        .unwrap()
        .iter()
        .map(|r| list(&r["angle"]))
        .collect();
    let fs = data["fs"].as_f64().unwrap();
    let fit = fit_coast_down(&coast(&runs, fs), &options(0.012)).unwrap();
    for (found, expected) in fit.per_run.iter().zip(data["runs"].as_array().unwrap()) {
        let sign = expected["coulomb"].as_f64().unwrap().signum();
        near(
            found.unwrap()[0],
            sign * expected["coulomb"].as_f64().unwrap(),
            1e-4,
        );
        near(found.unwrap()[1], expected["viscous"].as_f64().unwrap(), 1e-3);
    }
    let held = |o: &Outcome, truth: f64| {
        let e = o.estimate().unwrap();
        assert!(e.interval[0] < truth && truth < e.interval[1], "{e:?}");
    };
    held(&fit.coulomb_positive, 0.16);
    held(&fit.coulomb_negative, 0.14);
    held(&fit.coulomb, 0.15);
    assert!(fit.checks.iter().all(|c| c.passed), "{:?}", fit.checks);
}

/// LuGre with its Stribeck fall and cogging, integrated here; only speeds well above the fall are used.
#[test]
fn coasting_is_recovered_over_seeds() {
    let unit = Lugre::belt();
    let mut tallies: [Tally; 4] = Default::default();
    for seed in 0..60 {
        let mut random = Random::new(1000 + seed);
        let runs: Vec<Vec<f64>> = (0..8)
            .map(|k| {
                let sign = if k % 2 == 0 { 1.0 } else { -1.0 };
                let at = TAU * random.uniform();
                let start = [at, sign * (9.0 + 2.0 * random.uniform()), sign * 0.25];
                let path = unit.run(start, 1e-3, 400, |_, a, _| {
                    0.03 * (108.0 * a).sin() + 0.03 * (90.0 * a).cos() + 0.02 * (9.0 * a).sin()
                });
                path.iter().map(|y| steps(y[0], 3.5e-4)).collect()
            })
            .collect();
        // The inertia is declared with 1 % and wrong by as much as a draw says.
        let declared = CoastOptions {
            inertia: unit.inertia * (1.0 + 0.01 * random.normal()),
            inertia_u: 0.01 * unit.inertia,
            least_speed: 0.4,
            ..options(0.0)
        };
        let fit = fit_coast_down(&coast(&runs, 1e3), &declared).unwrap();
        let truth = [0.25, 0.26, 0.24, unit.viscous];
        let found = [
            &fit.coulomb,
            &fit.coulomb_positive,
            &fit.coulomb_negative,
            &fit.viscous,
        ];
        for k in 0..4 {
            tallies[k].outcome(found[k], truth[k]);
        }
    }
    for (tally, name) in tallies.iter().zip(["Coulomb", "positive", "negative", "viscous"]) {
        tally.covers(&format!("coasting, {name}"), 0.86, 1.0);
    }
    assert!(tallies[0].bias().abs() < 0.01 * 0.25);
}

#[test]
fn coasting_that_says_nothing_is_refused() {
    let still = vec![vec![1.0; 400]; 5];
    let short = vec![vec![1.0; 20]; 5];
    let faster: Vec<Vec<f64>> = vec![(0..400).map(|i| f64::from(i * i) * 1e-4).collect(); 5];
    for runs in [&still, &short, &faster] {
        let error = fit_coast_down(&coast(runs, 1e3), &options(0.01)).unwrap_err();
        assert_eq!(error.code(), "too_few_repeats", "{error}");
    }
    assert!(
        fit_coast_down(&coast(&faster, 1e3), &options(0.01))
            .unwrap_err()
            .to_string()
            .contains("wrong sign")
    );
    assert_eq!(
        fit_coast_down(&[], &options(0.0)).unwrap_err().code(),
        "out_of_range"
    );
}
