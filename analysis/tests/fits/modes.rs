//! Resonances by poles and by circles: both right where the system is linear, told apart where it is not.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

use crate::common::Random;
use realfft::num_complex::Complex64;
use truerim_analysis::modes::{Mode, ModeOptions, resonances};
use truerim_analysis::rational::*;

fn lines(truth: impl Fn(f64) -> Complex64, rel: f64, seed: u64) -> ResponseLines {
    let mut random = Random::new(seed);
    let f_hz: Vec<f64> = (0..240)
        .map(|i| 2.0 * 200.0_f64.powf(f64::from(i) / 239.0))
        .collect();
    let repeats: Vec<Vec<Complex64>> = (0..4)
        .map(|_| {
            let noisy = |f: &f64| {
                let h = truth(*f);
                h + 2.0 * rel * h.norm() * Complex64::new(random.normal(), random.normal())
            };
            f_hz.iter().map(noisy).collect()
        })
        .collect();
    ResponseLines {
        h: (0..f_hz.len())
            .map(|i| repeats.iter().map(|r| r[i]).sum::<Complex64>() / 4.0)
            .collect(),
        u: f_hz.iter().map(|f| rel * truth(*f).norm()).collect(),
        f_hz,
        repeats,
        delay_budget: Vec::new(),
    }
}

fn two_modes() -> RationalModel {
    RationalModel {
        gain: 0.9,
        delay_s: 4e-3,
        poles: vec![
            Factor::Pair {
                f_hz: 63.0,
                damping: 0.1,
            },
            Factor::Pair {
                f_hz: 190.0,
                damping: 0.1,
            },
        ],
        zeros: vec![Factor::Real { corner_hz: 400.0 }],
    }
}

fn find(data: &ResponseLines, orders: [usize; 2]) -> Vec<Mode> {
    let options = RationalOptions {
        orders,
        excess: [1, 3],
        ..RationalOptions::default()
    };
    let fit = fit_rational(data, &options).unwrap();
    resonances(data, &fit, &ModeOptions::default()).unwrap()
}

/// Share of 30 seeds in which each interval holds the truth and both estimators agree.
#[test]
fn both_estimators_cover_and_agree() {
    let truth = [(63.0, 0.1), (190.0, 0.1)];
    let seeds = 30;
    let (mut inside, mut agree) = ([[0; 4]; 2], 0);
    for seed in 0..seeds {
        let modes = find(&lines(|f| two_modes().at(f), 0.005, seed), [3, 5]);
        assert_eq!(modes.len(), 2, "seed {seed}");
        for ((m, (f, z)), inside) in modes.iter().zip(truth).zip(&mut inside) {
            let found = [
                (&m.frequency, f),
                (&m.damping, z),
                (&m.circle_frequency, f),
                (&m.circle_damping, z),
            ];
            for (k, (outcome, truth)) in found.into_iter().enumerate() {
                let e = outcome.estimate().unwrap();
                inside[k] += usize::from(e.interval[0] <= truth && truth <= e.interval[1]);
            }
            agree += usize::from(m.agree);
            let amplification = m.amplification.estimate().unwrap();
            let expected = two_modes().without_delay(f).norm() / 0.9;
            assert!((amplification.value / expected - 1.0).abs() < 0.02);
        }
    }
    println!("inside of {seeds}: {inside:?}, agree {agree} of {}", 2 * seeds);
    // 95 % of 30 is 28.5; fewer than 25 would be chance once in 60 runs of other seeds.
    assert!(inside.iter().flatten().all(|i| *i >= 25), "{inside:?}");
    assert!(agree >= 2 * seeds as usize - 4, "{agree}");
}

/// Two modes in one peak, and a fit that is allowed one: a check says that this is no mode.
#[test]
fn a_peak_that_is_no_mode_is_flagged() {
    let twin = |f: f64| {
        let r = |f0: f64| f / f0;
        let mode = |f0: f64, z: f64| Complex64::new(1.0 - r(f0) * r(f0), 2.0 * z * r(f0)).inv();
        0.5 * mode(90.0, 0.03) + 0.5 * mode(101.0, 0.03)
    };
    let modes = find(&lines(twin, 0.002, 1), [2, 2]);
    assert_eq!(modes.len(), 1);
    let failed = |m: &Mode| m.frequency.estimate().unwrap().checks.iter().any(|c| !c.passed);
    assert!(failed(&modes[0]));
}

/// Too few lines around a sharp mode for a circle: the poles stand, the circle is refused, and the check says so.
#[test]
fn no_circle_without_lines() {
    let sharp = RationalModel {
        poles: vec![Factor::Pair {
            f_hz: 90.0,
            damping: 0.005,
        }],
        zeros: Vec::new(),
        ..two_modes()
    };
    let modes = find(&lines(|f| sharp.at(f), 0.002, 1), [2, 2]);
    assert_eq!(
        modes[0].circle_frequency.refused().unwrap().code,
        "too_few_samples"
    );
    assert!(modes[0].frequency.estimate().is_some() && !modes[0].agree);
}
