//! The static map against closed forms.

#![allow(clippy::unwrap_used)] // a test may fail

use crate::common::Random;
use truerim_analysis::estimate::Outcome;
use truerim_analysis::static_map::{
    Correction, MapOptions, Reading, fit_map, isotonic, straightest, through_ends, through_zero,
};

/// Cycles of a staircase of `steps` levels a branch up to `to_nm`; `torque` gives what settles at a command on a way.
fn staircase(
    (to_nm, steps, cycles): (f64, i32, usize),
    mut torque: impl FnMut(f64, bool) -> f64,
) -> Vec<Reading> {
    let way: Vec<i32> = (1..=steps)
        .chain((-steps..steps).rev())
        .chain(-steps + 1..=0)
        .collect();
    let mut all = Vec::new();
    for cycle in 0..cycles {
        let mut before = 0;
        for i in &way {
            let (command_nm, rising) = (to_nm * f64::from(*i) / f64::from(steps), *i > before);
            all.push(Reading {
                command_nm,
                torque_nm: torque(command_nm, rising),
                rising,
                cycle,
            });
            before = *i;
        }
    }
    all
}

fn value(outcome: &Outcome) -> f64 {
    outcome.estimate().unwrap().value
}

/// `y = x + 0.02 x (10 − x)/10` over 0 to 10: the parabola's bump of 0.05 in its middle. Nearest line at its worst: half the bump
/// either side, 0.25 % of span; through the ends: all of it, 0.50 % (checks of linearity, closed form). Through zero:
/// `a x` with `s = a − 1`: the bump above it at `x = 5 − 250 s` is `(0.2 − 10 s)²/0.8·…`; equal to `10 s` at the far end at s =
/// 0.0034315 (scipy minimize_scalar gives the same).
#[test]
fn deviations_from_lines() {
    let points: Vec<(f64, f64)> = (0..=1000)
        .map(|i| {
            let x = f64::from(i) / 100.0;
            (x, x + 0.02 * x * (10.0 - x) / 10.0)
        })
        .collect();
    assert!((straightest(&points).unwrap().worst - 0.025).abs() < 1e-9);
    assert!((through_ends(&points).unwrap().worst - 0.05).abs() < 1e-9);
    // Bump above the line of slope 1 + s: max of 0.02 x − 0.002 x² − s x = (0.02 − s)²/0.008; far end below it: 10 s.
    // (0.02 − s)² = 0.08 s: s = 0.06 − sqrt(0.06² − 0.02²).
    let s = 0.06 - f64::sqrt(0.0032);
    let zero = through_zero(&points).unwrap();
    assert!(
        (zero.slope - 1.0 - s).abs() < 1e-5 && (zero.worst - 10.0 * s).abs() < 1e-5,
        "{zero:?}"
    );
}

/// A map of known gain, offset, deadband and friction: each found exactly without noise, and no saturation.
#[test]
fn a_known_map_is_found() {
    let torque = |u: f64, rising: bool| {
        let way = if rising { -0.11 } else { 0.11 };
        0.02 + 0.93 * u.signum() * (u.abs() - 0.07).max(0.0) + way
    };
    let readings = staircase((5.0, 20, 3), torque);
    let map = fit_map(&readings, &MapOptions::default()).unwrap();
    assert!((value(&map.gain) - 0.93).abs() < 1e-12);
    assert!((value(&map.offset) - 0.02).abs() < 1e-12);
    assert!((value(&map.deadband) - 0.07).abs() < 1e-12);
    assert!((value(&map.hysteresis) - 0.22).abs() < 1e-12);
    assert!(value(&map.repeatability) < 1e-12);
    assert_eq!(map.knee.refused().unwrap().code, "no_saturation");
    // At the ends only one way is there.
    assert!((value(&map.largest[0]) - (0.02 + 0.93 * 4.93 - 0.11)).abs() < 1e-12);
    assert!((value(&map.largest[1]) - (0.02 - 0.93 * 4.93 + 0.11)).abs() < 1e-12);
}

/// Torque that ends at 3.3 N·m upward and 3.5 N·m downward: the nearer knee, to a quarter of a level.
#[test]
fn the_nearer_knee_is_found() {
    let readings = staircase((5.0, 25, 3), |u, _| (1.1 * u).clamp(-3.5, 3.3));
    let map = fit_map(&readings, &MapOptions::default()).unwrap();
    let knee = map.knee.estimate().unwrap();
    assert!((knee.value - 3.0).abs() < 1e-9, "{knee:?}");
}

/// Over 200 seeds of noise from reading to reading: truth inside the stated intervals of gain, offset and deadband in 95 %
/// of them, four standard deviations of a share from 200 allowed.
#[test]
fn intervals_hold_the_truth() {
    let mut inside = [0; 3];
    let seeds = 200;
    for seed in 0..seeds {
        let mut random = Random::new(900 + seed);
        let torque =
            |u: f64, _: bool| 0.02 + 0.93 * u.signum() * (u.abs() - 0.07).max(0.0) + 0.01 * random.normal();
        let map = fit_map(&staircase((5.0, 20, 4), torque), &MapOptions::default()).unwrap();
        for (count, (outcome, truth)) in
            inside
                .iter_mut()
                .zip([(&map.gain, 0.93), (&map.offset, 0.02), (&map.deadband, 0.07)])
        {
            let [low, high] = outcome.estimate().unwrap().interval;
            *count += usize::from(low <= truth && truth <= high);
        }
        assert!((value(&map.repeatability) / 0.01 - 1.0).abs() < 0.25);
    }
    println!("inside of {seeds}: {inside:?}");
    assert!(inside.iter().all(|i| *i >= 178), "{inside:?}");
}

/// What cannot be read is refused: too few cycles, a cycle that stops halfway, too few levels, a torque that is no number.
#[test]
fn what_cannot_be_read_is_refused() {
    let fit = |readings: &[Reading]| fit_map(readings, &MapOptions::default()).unwrap_err().code();
    let good = staircase((5.0, 20, 3), |u, _| u);
    assert_eq!(fit(&staircase((5.0, 20, 2), |u, _| u)), "too_few_repeats");
    assert_eq!(fit(&good[..good.len() - 30]), "too_few_repeats");
    assert_eq!(fit(&staircase((5.0, 4, 3), |u, _| u)), "not_covered");
    assert_eq!(fit(&[]), "too_few_repeats");
    assert_eq!(fit(&staircase((5.0, 20, 3), |_, _| f64::NAN)), "non_finite");
}

/// Isotonic regression and the monotone cubic over torque are scipy's (`tests/reference/analysis/correction.py`, scipy 1.17.1).
#[test]
fn a_map_is_turned_round_as_scipy_does_it() {
    let command = [-4.0, -3.0, -2.0, -1.0, -0.5, 0.0, 0.5, 1.0, 2.0, 3.0, 4.0];
    let torque = [-3.7, -2.9, -1.9, -0.8, -0.35, 0.02, 0.01, 0.4, 1.7, 2.8, 3.3];
    let rising = [-3.7, -2.9, -1.9, -0.8, -0.35, 0.015, 0.015, 0.4, 1.7, 2.8, 3.3];
    assert!(
        isotonic(&torque)
            .iter()
            .zip(rising)
            .all(|(a, b)| (a - b).abs() < 1e-12)
    );
    let correction = Correction::of(&command, &torque).unwrap();
    let wanted = [-3.7, -3.3, -2.0, -0.5, 0.0, 0.2, 1.0, 2.5, 3.2, 3.3];
    let commands = [
        -4.0,
        -3.475_459_137,
        -2.095_159_888,
        -0.692_984_424,
        0.219_574_176,
        0.647_693_34,
        1.526_096_375,
        2.659_030_448,
        3.767_165_425,
        4.0,
    ];
    for (w, c) in wanted.iter().zip(commands) {
        let found = correction.command_nm(*w);
        assert!((found - c).abs() < 1e-8, "{w}: {found} {c}");
    }
    let [low, high] = correction.range_nm();
    assert!(
        (low + 3.7).abs() < 1e-12 && (high - 3.3).abs() < 1e-12,
        "{low} {high}"
    );
    let table = correction.table(21);
    assert!(
        table.windows(2).all(|w| w[1].0 > w[0].0 && w[1].1 > w[0].1),
        "{table:?}"
    );
    assert!(table.iter().any(|row| row.0 == 0.0) && table.len() == 21);
}

#[test]
fn what_cannot_be_turned_round_is_refused() {
    let command = [-2.0, -1.0, 0.0, 1.0, 2.0];
    let code = |c: &[f64], t: &[f64]| Correction::of(c, t).unwrap_err().code();
    assert_eq!(code(&command, &[1.0, 0.5, 0.0, -0.5, -1.0]), "too_few_samples");
    assert_eq!(code(&command, &command[1..]), "length_mismatch");
    assert_eq!(code(&command, &[0.0, 1.0, f64::NAN, 2.0, 3.0]), "non_finite");
    assert_eq!(code(&[0.0, 0.0, 1.0, 2.0], &[0.0, 1.0, 2.0, 3.0]), "out_of_range");
}

/// A bend that is alike on both sides (a sine over torque, as ripple of a motor over its twist makes) is no deadband: with one of
/// 0.5 % of the largest torque beside a deadband of 30 mN·m, what is found is within a fifth of a per cent of the largest, and its
/// interval holds the truth.
#[test]
fn a_bend_is_not_taken_for_a_deadband() {
    for phase in [0.0, 0.7, 1.57, 2.4] {
        let torque = |u: f64, _: bool| {
            let beyond = u.signum() * (u.abs() - 0.03).max(0.0);
            beyond + 0.025 * (0.75 * beyond + phase).sin()
        };
        let map = fit_map(&staircase((5.0, 20, 4), torque), &MapOptions::default()).unwrap();
        let found = map.deadband.estimate().unwrap();
        assert!((found.value - 0.03).abs() < 0.002 * 5.0, "{phase}: {found:?}");
        assert!(
            (found.interval[0]..=found.interval[1]).contains(&0.03),
            "{phase}: {found:?}"
        );
    }
}
