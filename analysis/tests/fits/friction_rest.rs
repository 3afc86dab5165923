//! Breakaway and pre-sliding on motion integrated here from the LuGre equations; published curve of the LuGre paper;
//! recovery over seeds; refusals.
#![allow(clippy::unwrap_used, clippy::panic)]

use crate::common::Random;
use crate::drivetrain::{Lugre, Tally, noisy, steps};
use ndarray::ArrayView1;
use std::f64::consts::TAU;
use truerim_analysis::friction::*;

const CONDITIONS: RampConditions = RampConditions {
    position_rad: 0.0,
    rest_s: 1.0,
};

/// A ramp as a bench reads it: 1 kHz, steps of 0.02 degree, 2 mN·m of noise.
fn ramp(unit: &Lugre, rate: f64, random: &mut Random) -> (Vec<f64>, Vec<f64>) {
    let top = unit.coulomb[usize::from(rate < 0.0)] * unit.ratio;
    let start = 0.8 * top / rate.abs();
    let path = unit.run(
        [0.1, 0.0, 0.8 * top * rate.signum()],
        1e-3,
        (0.6 * top / rate.abs() * 1e3) as usize,
        |t, _, _| rate * (t + start),
    );
    let path: Vec<[f64; 3]> = path
        .into_iter()
        .take_while(|y| (y[0] - 0.1).abs() < 0.1)
        .collect();
    path.iter()
        .enumerate()
        .map(|(i, y)| {
            (
                steps(y[0], 3.5e-4),
                noisy(random, rate * (i as f64 * 1e-3 + start), 0.002),
            )
        })
        .unzip()
}

fn view<'a>(angle: &'a [f64], torque: &'a [f64], conditions: RampConditions) -> Ramp<'a> {
    Ramp {
        fs_hz: 1e3,
        angle_rad: ArrayView1::from(angle),
        torque_nm: ArrayView1::from(torque),
        conditions,
    }
}

fn units() -> [Lugre; 3] {
    let geared = Lugre {
        inertia: 0.012,
        coulomb: [0.22, 0.22],
        ratio: 1.4,
        stribeck: 0.15,
        sigma0: 0.22 / 0.1_f64.to_radians(),
        ..Lugre::belt()
    };
    let direct = Lugre {
        inertia: 0.019,
        coulomb: [0.1, 0.1],
        ratio: 1.1,
        stribeck: 0.05,
        sigma0: 0.1 / 0.05_f64.to_radians(),
        ..Lugre::belt()
    };
    [Lugre::belt(), geared, direct]
}

/// On three units the truth lies within the bracket of every ramp, and within 3 % of the value.
#[test]
fn breakaway_is_found_on_a_slow_ramp() {
    let options = BreakawayOptions::default();
    let mut worst = 0.0_f64;
    for (k, unit) in units().iter().enumerate() {
        for seed in 0..4 {
            for rate in [0.05, -0.05] {
                let mut random = Random::new(seed + 100 * k as u64);
                let (angle, torque) = ramp(unit, rate, &mut random);
                let found = breakaway(&view(&angle, &torque, CONDITIONS), &options).unwrap();
                let top = rate.signum() * unit.coulomb[usize::from(rate < 0.0)] * unit.ratio;
                let [low, high] = found.bracket_nm.map(|b| b * rate.signum());
                assert!(
                    low < top.abs() && top.abs() < high,
                    "unit {k}: {top} in {found:?}"
                );
                worst = worst.max((found.torque_nm / top - 1.0).abs());
                assert!((found.rate_nm_s / rate - 1.0).abs() < 0.1, "{found:?}");
            }
        }
    }
    println!("breakaway: worst {:.2} %", 100.0 * worst);
    assert!(worst < 0.03);
}

fn made_up(torque_nm: f64, position_rad: f64, rest_s: f64) -> Breakaway {
    Breakaway {
        torque_nm,
        bracket_nm: [0.99 * torque_nm, 1.01 * torque_nm],
        rate_nm_s: 0.05 * torque_nm.signum(),
        conditions: RampConditions { position_rad, rest_s },
    }
}

/// 12 positions, both ways, three rests: spread between positions and growth with rest are recovered over seeds.
#[test]
fn position_and_rest_are_told_apart() {
    let options = BreakawayOptions::default();
    let (mut mean, mut growth, mut spread) = (Tally::default(), Tally::default(), Tally::default());
    for seed in 0..300 {
        let mut random = Random::new(seed);
        let mut ramps = Vec::new();
        for place in 0..12 {
            let here = 0.02 * random.normal();
            for rest in [1.0, 3.0, 10.0] {
                for sign in [1.0, -1.0] {
                    let level = 0.31 + here + 0.01 * f64::log10(rest / 3.0);
                    let torque = sign * noisy(&mut random, level, 0.004);
                    ramps.push(made_up(torque, TAU * f64::from(place) / 12.0, rest));
                }
            }
        }
        let found = summarise_breakaway(&ramps, &options).unwrap();
        // The mean's bracket is no error here, so it is left out of what must cover.
        let m = found.mean.estimate().unwrap();
        mean.add(
            m.value,
            m.interval,
            m.std_uncertainty,
            0.31 + 0.01 * (30.0_f64.log10() / 3.0 - 3.0_f64.log10()),
        );
        growth.outcome(&found.per_decade_of_rest, 0.01);
        spread.outcome(&found.position_spread, 0.02);
    }
    mean.covers("breakaway, mean", 0.9, 1.0);
    growth.covers("breakaway, growth per decade of rest", 0.91, 0.985);
    spread.covers("breakaway, spread between positions", 0.85, 1.0);
}

#[test]
fn ramps_that_say_nothing_are_refused() {
    let options = BreakawayOptions::default();
    let unit = Lugre::belt();
    let (angle, torque) = ramp(&unit, 0.05, &mut Random::new(1));
    let code = |a: &[f64], t: &[f64]| breakaway(&view(a, t, CONDITIONS), &options).unwrap_err().code();
    assert_eq!(code(&angle, &torque[1..]), "length_mismatch");
    assert_eq!(code(&[f64::NAN; 1000], &[0.0; 1000]), "non_finite");
    assert_eq!(code(&angle[..50], &torque[..50]), "too_few_samples");
    assert_eq!(code(&[0.1; 1000], &[0.1; 1000]), "not_covered");
    let against: Vec<f64> = torque.iter().map(|t| -t).collect();
    assert_eq!(code(&angle, &against), "wrong_sign");
    let few = [made_up(0.3, 0.0, 1.0), made_up(-0.3, 0.0, 1.0)];
    assert_eq!(
        summarise_breakaway(&few, &options).unwrap_err().code(),
        "too_few_repeats"
    );
    // One position, one rest: a mean, but no spread and no growth.
    let mut random = Random::new(1);
    let same: Vec<Breakaway> = (0..8)
        .map(|i| {
            made_up(
                noisy(&mut random, 0.3, 0.003) * f64::from(1 - 2 * (i % 2)),
                0.0,
                1.0,
            )
        })
        .collect();
    let found = summarise_breakaway(&same, &options).unwrap();
    assert!(found.mean.estimate().is_some());
    assert_eq!(found.position_spread.refused().unwrap().code, "too_few_repeats");
    assert_eq!(found.per_decade_of_rest.refused().unwrap().code, "not_covered");
    // Positions that do not differ beyond the scatter: an upper bound.
    let alike: Vec<Breakaway> = (0..40)
        .map(|i| {
            made_up(
                noisy(&mut random, 0.3, 0.003) * f64::from(1 - 2 * (i % 2)),
                f64::from(i / 8),
                1.0,
            )
        })
        .collect();
    let found = summarise_breakaway(&alike, &options).unwrap();
    assert_eq!(found.position_spread.refused().unwrap().code, "below_noise");
    assert_eq!(found.per_decade_of_rest.refused().unwrap().code, "not_covered");
}

/// Check LU-2 and LU-3, the LuGre paper's pre-sliding: the displacements of scipy at the ends of the force's ramps, and
/// the stiffness from the loop itself. Metres and newtons.
#[test]
fn the_published_presliding_comes_back() {
    let unit = Lugre {
        inertia: 1.0,
        coulomb: [1.0, 1.0],
        ratio: 1.5,
        stribeck: 0.001,
        sigma0: 1e5,
        sigma1: 1e5_f64.sqrt(),
        viscous: 0.4,
    };
    let knots = [
        (0.0, 0.0),
        (10.0, 1.425),
        (15.0, 1.425),
        (35.0, -1.425),
        (40.0, -1.425),
        (60.0, 1.425),
        (65.0, 1.425),
    ];
    let force = |t: f64| {
        let k = knots
            .iter()
            .rposition(|(at, _)| *at <= t)
            .unwrap()
            .min(knots.len() - 2);
        let ((a, x), (b, y)) = (knots[k], knots[k + 1]);
        x + (y - x) * (t - a) / (b - a)
    };
    let path = unit.run([0.0; 3], 1e-3, 65_001, |t, _, _| force(t));
    for (t, um) in [
        (5, 9.656_751),
        (10, 44.857_931),
        (15, 45.311_859),
        (25, 35.298_932),
        (35, -9.563_512),
    ] {
        assert!(
            (path[t * 1000][0] * 1e6 - um).abs() < 0.01,
            "{t} s: {}",
            path[t * 1000][0] * 1e6
        );
    }
    // Four loops like the last make a record.
    let loops: Vec<usize> = (0..5).flat_map(|_| 15_000..60_000).step_by(10).collect();
    let angle: Vec<f64> = loops.iter().map(|i| path[*i][0]).collect();
    let torque: Vec<f64> = loops.iter().map(|i| force(*i as f64 * 1e-3)).collect();
    let options = PreslidingOptions {
        axis: Axis::Linear,
        torque: TorqueScale::default(),
        corner_hz: 5.0,
        angle_step_rad: 0.0,
    };
    let record = Reversals {
        fs_hz: 100.0,
        angle_rad: ArrayView1::from(&angle),
        torque_nm: ArrayView1::from(&torque),
    };
    let fit = fit_presliding(&record, &options).unwrap();
    let e = fit.stiffness.estimate().unwrap();
    assert!((e.value / 1e5 - 1.0).abs() < 0.01, "{}", e.value);
    assert_eq!(e.unit, "N/m");
    assert!(
        (fit.sliding.estimate().unwrap().value / 1.5 - 1.0).abs() < 0.01,
        "{:?}",
        fit.sliding
    );
    assert!(fit.checks.iter().all(|c| c.passed));
}

/// Triangles of ± 0.05 degree in 4 s by the bristle's equation, read with noise.
fn reversals(unit: &Lugre, random: &mut Random, half_deg: f64) -> (Vec<f64>, Vec<f64>) {
    let (period, fs) = (4.0, 500.0);
    let half = half_deg.to_radians();
    let (mut bristle, mut before) = (0.0, 0.0);
    (0..(period * fs) as i32 * 6)
        .map(|i| {
            let phase = f64::from(i) / fs / period % 1.0;
            let a = half * (1.0 - 4.0 * (phase - 0.5).abs());
            let steps = 20;
            for _ in 0..steps {
                let d: f64 = (a - before) / f64::from(steps);
                let top = unit.coulomb[0] * unit.ratio;
                bristle += unit.sigma0 * (d - d.abs() * bristle / top);
            }
            before = a;
            (noisy(random, a, 5e-6), noisy(random, bristle + 0.01, 0.002))
        })
        .unzip()
}

#[test]
fn presliding_is_recovered_over_seeds() {
    let unit = Lugre {
        coulomb: [0.25; 2],
        ..Lugre::belt()
    };
    let options = PreslidingOptions {
        axis: Axis::Rotary,
        torque: TorqueScale::default(),
        corner_hz: 40.0,
        angle_step_rad: 1e-5,
    };
    let (mut stiffness, mut sliding) = (Tally::default(), Tally::default());
    for seed in 0..60 {
        let (angle, torque) = reversals(&unit, &mut Random::new(seed), 0.15);
        let record = Reversals {
            fs_hz: 500.0,
            angle_rad: ArrayView1::from(&angle),
            torque_nm: ArrayView1::from(&torque),
        };
        let fit = fit_presliding(&record, &options).unwrap();
        stiffness.outcome(&fit.stiffness, unit.sigma0);
        sliding.outcome(&fit.sliding, 0.3125);
    }
    stiffness.covers("pre-sliding stiffness", 0.85, 1.0);
    sliding.covers("pre-sliding, sliding torque", 0.85, 1.0);
    assert!(stiffness.bias().abs() < 0.01 * unit.sigma0);
}

#[test]
fn reversals_that_say_nothing_are_refused() {
    let unit = Lugre {
        coulomb: [0.25; 2],
        ..Lugre::belt()
    };
    let (angle, torque) = reversals(&unit, &mut Random::new(1), 0.02);
    let fit = |n: usize, m: usize, step: f64| {
        let options = PreslidingOptions {
            axis: Axis::Rotary,
            torque: TorqueScale::default(),
            corner_hz: 10.0,
            angle_step_rad: step,
        };
        let record = Reversals {
            fs_hz: 500.0,
            angle_rad: ArrayView1::from(&angle[..n]),
            torque_nm: ArrayView1::from(&torque[..m]),
        };
        fit_presliding(&record, &options)
    };
    let n = angle.len();
    assert_eq!(fit(n, n - 1, 1e-6).unwrap_err().code(), "length_mismatch");
    assert_eq!(fit(n, n, 1e-4).unwrap_err().code(), "not_covered");
    assert_eq!(fit(3000, 3000, 1e-6).unwrap_err().code(), "too_few_repeats");
    assert_eq!(fit(30, 30, 1e-6).unwrap_err().code(), "too_few_samples");
    // Movements far within the bristle's reach: its stiffness, but not where it gives.
    let small = fit(n, n, 1e-6).unwrap();
    let e = small.stiffness.estimate().unwrap();
    assert!(
        e.interval[0] < unit.sigma0 && unit.sigma0 < e.interval[1],
        "{e:?}"
    );
    assert_eq!(small.sliding.refused().unwrap().code, "not_covered");
}
