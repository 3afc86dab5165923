//! Small changes, small sines and held torque against closed forms.
#![allow(clippy::unwrap_used)] // a test

use crate::common::Random;
use std::f64::consts::TAU;
use truerim_analysis::estimate::Outcome;
use truerim_analysis::small::{SineRecord, Trial, TrialOptions, grain, sine, told};

/// 95 % quantile of the normal distribution (table).
const Z: f64 = 1.644_853_627;
const SIZES: [f64; 7] = [0.001, 0.002, 0.004, 0.008, 0.016, 0.032, 0.064];

/// `n` trials of every size either way and none, with an answer and noise.
fn trials(n: usize, sd: f64, random: &mut Random, answer: impl Fn(f64) -> f64) -> Vec<Trial> {
    let sizes = SIZES.iter().flat_map(|s| [*s, -*s]).chain([0.0]);
    sizes
        .flat_map(|size_nm| (0..n).map(move |_| size_nm))
        .map(|size_nm| Trial {
            size_nm,
            change_nm: answer(size_nm) + 0.0003 + sd * random.normal(),
        })
        .collect()
}

fn value(outcome: &Outcome) -> f64 {
    outcome.estimate().unwrap().value
}

#[test]
fn the_smallest_change_is_where_the_answer_stands_out() {
    // Up all of it arrives, down three quarters: 2 z s and that over 0.75.
    let sd = 0.002;
    let answer = |d: f64| if d < 0.0 { 0.75 * d } else { d };
    let (mut inside, mut sums, mut falsely) = ([0; 4], [0.0; 2], 0.0);
    let truth = [2.0 * Z * sd, 2.0 * Z * sd / 0.75, 1.0, 0.75];
    let mut random = Random::new(77);
    let seeds = 300;
    for _ in 0..seeds {
        let found = told(&trials(12, sd, &mut random, answer), &TrialOptions::default()).unwrap();
        let outcomes = [&found.up, &found.down, &found.share_up, &found.share_down];
        for (k, outcome) in outcomes.into_iter().enumerate() {
            let [low, high] = outcome.estimate().unwrap().interval;
            inside[k] += usize::from((low..=high).contains(&truth[k]));
        }
        sums[0] += value(&found.up) / f64::from(seeds);
        sums[1] += value(&found.down) / f64::from(seeds);
        // The size told is one at which that share of trials without a change and of those with it lie beyond the threshold
        // half way: count them.
        let half = 0.5 * found.needed_nm;
        let beyond = (0..200).filter(|_| sd * random.normal() > half).count();
        falsely += beyond as f64 / 200.0 / f64::from(seeds);
    }
    println!("inside of {seeds}: {inside:?}, means {sums:?}, false {falsely:.4}");
    assert!(inside.iter().all(|n| *n >= 274), "{inside:?}");
    assert!(
        (sums[0] / truth[0] - 1.0).abs() < 0.04 && (sums[1] / truth[1] - 1.0).abs() < 0.04,
        "{sums:?}"
    );
    assert!((falsely - 0.05).abs() < 0.012, "{falsely}");
}

#[test]
fn a_deadband_is_in_the_smallest_change() {
    let answer = |d: f64| d.signum() * (d.abs() - 0.010).max(0.0);
    let found = told(
        &trials(40, 2e-4, &mut Random::new(3), answer),
        &TrialOptions::default(),
    )
    .unwrap();
    // Between 8 and 16 mN·m straight lines cannot know where the answer begins: by hand 8 + 0.658·8/6 = 8.9, in an interval that
    // holds 10.7.
    let up = found.up.estimate().unwrap();
    assert!((up.value - 0.0089).abs() < 3e-4, "{up:?}");
    assert!(up.interval[1] > 0.0107, "{up:?}");
    // None at all: even the largest is not told.
    let none = told(
        &trials(8, 0.002, &mut Random::new(4), |_| 0.0),
        &TrialOptions::default(),
    )
    .unwrap();
    assert_eq!(none.up.refused().unwrap().code, "too_small");
    assert_eq!(none.down.refused().unwrap().code, "too_small");
    // Torque that goes the other way is not told either.
    let wrong = told(
        &trials(8, 2e-4, &mut Random::new(5), |d| -d),
        &TrialOptions::default(),
    )
    .unwrap();
    assert_eq!(wrong.up.refused().unwrap().code, "too_small");
}

#[test]
fn trials_that_do_not_suffice_are_refused() {
    let code = |trials: &[Trial], options: &TrialOptions| told(trials, options).unwrap_err().code();
    let good = trials(6, 1e-3, &mut Random::new(9), |d| d);
    assert!(told(&good, &TrialOptions::default()).is_ok());
    let without: Vec<Trial> = good.iter().copied().filter(|t| t.size_nm != 0.0).collect();
    assert_eq!(code(&without, &TrialOptions::default()), "too_few_repeats");
    assert_eq!(
        code(
            &good,
            &TrialOptions {
                min_trials: 7,
                ..TrialOptions::default()
            }
        ),
        "too_few_repeats"
    );
    assert_eq!(
        code(
            &good,
            &TrialOptions {
                error_rate: 0.5,
                ..TrialOptions::default()
            }
        ),
        "out_of_range"
    );
    assert_eq!(code(&[], &TrialOptions::default()), "too_few_repeats");
    let mut holed = good;
    holed[3].change_nm = f64::NAN;
    assert_eq!(code(&holed, &TrialOptions::default()), "non_finite");
}

#[test]
fn a_small_sine_has_its_gain_and_delay() {
    // 4 periods of 5 Hz, four fifths of it 11 ms late on a torque that creeps.
    let (f, fs) = (5.0, 2000.0);
    let mut random = Random::new(21);
    let mut inside = [0, 0];
    for _ in 0..200 {
        let records: Vec<SineRecord> = (0..4)
            .map(|_| {
                let start = 0.2 * random.uniform();
                let t = |i: usize| start + i as f64 / fs;
                // Held for 1 ms and read 0.2 ms behind its beginning: 0.3 ms fresher than on average.
                SineRecord {
                    lead_s: 0.3e-3,
                    setpoint_nm: (0..1600).map(|i| 2.0 + 0.03 * (TAU * f * t(i)).sin()).collect(),
                    torque_nm: (0..1600)
                        .map(|i| {
                            2.1 + 0.01 * t(i)
                                + 0.024 * (TAU * f * (t(i) - 0.0115)).sin()
                                + 2e-3 * random.normal()
                        })
                        .collect(),
                }
            })
            .collect();
        let found = sine(&records, (f, fs), [0.2e-3, 0.01e-3], 1e-3).unwrap();
        let holds = |outcome: &Outcome, truth: f64| {
            let [low, high] = outcome.estimate().unwrap().interval;
            usize::from((low..=high).contains(&truth))
        };
        inside[0] += holds(&found.gain, 0.8);
        inside[1] += holds(&found.delay, 0.011);
        assert!((value(&found.gain) - 0.8).abs() < 0.02 && (value(&found.delay) - 0.011).abs() < 1e-3);
    }
    println!("inside of 200: {inside:?}");
    assert!(inside.iter().all(|n| *n >= 178), "{inside:?}");
    let record = |n: usize, noise: f64| {
        let mut random = Random::new(2);
        SineRecord {
            lead_s: 0.0,
            setpoint_nm: (0..n).map(|i| 0.01 * (TAU * f * i as f64 / fs).sin()).collect(),
            torque_nm: (0..n).map(|_| noise * random.normal()).collect(),
        }
    };
    let code = |n: usize, count: usize| {
        sine(&vec![record(n, 0.01); count], (f, fs), [0.0; 2], 0.0)
            .unwrap_err()
            .code()
    };
    assert_eq!(code(1600, 1), "too_few_repeats");
    assert_eq!(code(300, 2), "too_short");
    assert_eq!(code(1600, 2), "too_small");
    assert_eq!(
        sine(&vec![record(1600, 0.1); 2], (900.0, fs), [0.0; 2], 0.0)
            .unwrap_err()
            .code(),
        "aliasing"
    );
}

#[test]
fn held_torque_has_the_grain_that_was_put_in() {
    // White noise of 3 mN·m and a sine of 4 mN·m at 50 Hz: sqrt(9 + 8) mN·m; in 30 to 100 Hz sqrt(8 + 9·70/1000).
    let fs = 2000.0;
    let mut random = Random::new(8);
    let holds: Vec<Vec<f64>> = (0..4)
        .map(|_| {
            (0..8000)
                .map(|i| {
                    let t = f64::from(i) / fs;
                    3.0 + 0.02 * t + 4e-3 * (TAU * 50.0 * t).sin() + 3e-3 * random.normal()
                })
                .collect()
        })
        .collect();
    let found = grain(&holds, fs, 0.0).unwrap();
    assert!(
        (value(&found.rms) - 17.0_f64.sqrt() * 1e-3).abs() < 0.05e-3,
        "{found:?}"
    );
    let band = |low: f64| {
        value(
            &found
                .bands
                .iter()
                .find(|b| (b.0[0] - low).abs() < 1e-9)
                .unwrap()
                .1,
        )
    };
    assert!(
        (band(30.0) - (8.0_f64 + 0.63).sqrt() * 1e-3).abs() < 0.06e-3,
        "{}",
        band(30.0)
    );
    assert!(
        (band(100.0) - (9.0 * 0.2_f64).sqrt() * 1e-3).abs() < 0.06e-3,
        "{}",
        band(100.0)
    );
    // White noise alone: density s sqrt(2/fs).
    let far: Vec<f64> = found
        .spectrum
        .iter()
        .filter(|p| p.0 > 200.0 && p.0 < 900.0)
        .map(|p| p.1)
        .collect();
    let mean = far.iter().sum::<f64>() / far.len() as f64;
    assert!((mean / (3e-3 * (2.0 / fs).sqrt()) - 1.0).abs() < 0.03, "{mean}");
    let peak = value(&found.peak);
    // Of a thousand samples the greatest lies near 4 + 3·2.5 mN·m.
    assert!(peak > 9e-3 && peak < 15e-3, "{peak}");
    assert_eq!(
        grain(
            &holds[..1].iter().map(|h| h[..3000].to_vec()).collect::<Vec<_>>(),
            fs,
            0.0
        )
        .unwrap_err()
        .code(),
        "too_short"
    );
}
