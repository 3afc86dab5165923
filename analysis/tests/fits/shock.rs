//! Half-sine pulses against closed forms: a first-order lag, and an oscillator without damping.
#![allow(clippy::unwrap_used)] // a test

use crate::common::Random;
use std::f64::consts::{PI, TAU};
use truerim_analysis::estimate::Outcome;
use truerim_analysis::shock::{PulseRecord, PulseTerms, TrainRecord, shock, trains};

const FS_HZ: f64 = 10_000.0;
const LATE_S: f64 = 4.2e-3;

fn terms(amplitude_nm: f64, width_s: f64) -> PulseTerms {
    PulseTerms {
        fs_hz: FS_HZ,
        amplitude_nm,
        width_s,
        held_s: 0.0,
        sensor_delay_s: [0.2e-3, 0.01e-3],
        gain_rel_u: 1e-3,
    }
}

/// Repeats of what arrives over a preload, a function of time, with noise.
fn records(seconds: f64, noise_nm: f64, arrived: impl Fn(f64) -> f64) -> Vec<PulseRecord> {
    let mut random = Random::new(11);
    (0..6)
        .map(|k| {
            // Samples fall anywhere between setpoints.
            let first_s = -0.02 + f64::from(k) * 7e-6;
            let at = |i: usize| first_s + i as f64 / FS_HZ;
            PulseRecord {
                first_s,
                torque_nm: (0..((seconds + 0.02) * FS_HZ) as usize)
                    .map(|i| 1.3 + arrived(at(i)) + noise_nm * random.normal())
                    .collect(),
            }
        })
        .collect()
}

/// A lag of time constant `tau` to a half-sine of width `w`: `(sin Ωt − a cos Ωt + a e^(−t/τ))/(1 + a²)` with `a = Ωτ`, then it
/// dies away.
fn lag(t: f64, w: f64, tau: f64) -> f64 {
    let (omega, a) = (PI / w, PI / w * tau);
    let during = |t: f64| ((omega * t).sin() - a * (omega * t).cos() + a * (-t / tau).exp()) / (1.0 + a * a);
    match t {
        t if t <= 0.0 => 0.0,
        t if t <= w => during(t),
        t => during(w) * (-(t - w) / tau).exp(),
    }
}

/// An oscillator of `f` Hz without damping to a half-sine of width `w`: `(sin Ωt − β sin ωt)/(1 − β²)`, `β = Ω/ω`; behind it the
/// sum of two such answers half a period of the sine apart (Clough and Penzien, Dynamics of Structures, ch. 5).
fn oscillator(t: f64, w: f64, f: f64) -> f64 {
    let (omega, natural) = (PI / w, TAU * f);
    let beta = omega / natural;
    let sine = |t: f64| {
        if t > 0.0 {
            ((omega * t).sin() - beta * (natural * t).sin()) / (1.0 - beta * beta)
        } else {
            0.0
        }
    };
    sine(t) + sine(t - w)
}

fn value(outcome: &Outcome) -> f64 {
    outcome.estimate().unwrap().value
}

#[test]
fn a_lag_keeps_of_a_pulse_what_it_must() {
    // A lag of 60 Hz keeps 61, 80 and 93 % of the crest at 5, 10 and 20 ms (worked out for the design beforehand).
    let tau = 1.0 / (TAU * 60.0);
    for (w, kept) in [(5e-3, 0.61), (10e-3, 0.80), (20e-3, 0.93)] {
        for amplitude in [1.05, -1.05] {
            let found = records(w + 0.1, 1e-4, |t| amplitude * lag(t - LATE_S, w, tau));
            let shock = shock(&found, &terms(amplitude, w)).unwrap();
            assert!((value(&shock.retention) - kept).abs() < 0.006, "{w}: {shock:?}");
            // Of instants at half of the crest, by bisection on the closed form.
            let top = (0..4000)
                .map(|i| lag(f64::from(i) * 1e-5, w, tau))
                .fold(0.0, f64::max);
            let crosses = |mut low: f64, mut high: f64| {
                let rising = lag(low, w, tau) < 0.5 * top;
                for _ in 0..60 {
                    let middle = 0.5 * (low + high);
                    if (lag(middle, w, tau) < 0.5 * top) == rising {
                        low = middle;
                    } else {
                        high = middle;
                    }
                }
                low
            };
            let (up, down) = (crosses(0.0, 0.5 * w), crosses(0.75 * w, 2.0 * w));
            let late = LATE_S - 0.2e-3 + 0.5 * (up + down - w);
            assert!(
                (value(&shock.delay) - late).abs() < 0.02e-3,
                "{w}: {shock:?} {late}"
            );
            let wide = (down - up) / (2.0 / 3.0 * w);
            assert!(
                (value(&shock.width) - wide).abs() < 0.005,
                "{w}: {shock:?} {wide}"
            );
            // What a lag leaves at the delayed end only falls.
            // Seen from the sample behind that end on: up to 0.1 ms later.
            let rest = lag(w + 0.5 * (up + down - w), w, tau);
            assert!(
                (value(&shock.after) - rest).abs() < 0.013,
                "{w}: {shock:?} {rest}"
            );
        }
    }
}

#[test]
fn an_oscillator_answers_as_its_shock_spectrum_says() {
    // Greatest answer over all widths 1.77 times the crest, at a width of 0.81 periods (shock spectrum of a half-sine, Harris and
    // Piersol, ch. 8; from memory); what rings behind: 2 β cos(π/2β)/(1 − β²), β = 1/(2 f w).
    let f = 93.0;
    let answer = |w: f64| {
        let found = records(w + 0.1, 1e-4, |t| 2.0 * oscillator(t - LATE_S, w, f));
        shock(&found, &terms(2.0, w)).unwrap()
    };
    let widest = (0..10)
        .map(|i| value(&answer((0.6 + 0.05 * f64::from(i)) / f).retention))
        .fold(0.0, f64::max);
    assert!((widest - 1.768).abs() < 0.005, "{widest}");
    for periods in [0.4, 0.81, 1.2, 2.2] {
        let w = periods / f;
        let beta = 1.0 / (2.0 * f * w);
        let rings = (2.0 * beta * (PI / (2.0 * beta)).cos() / (1.0 - beta * beta)).abs();
        let shock = answer(w);
        assert!(
            (value(&shock.after) - rings).abs() < 0.01,
            "{periods}: {shock:?} {rings}"
        );
    }
}

#[test]
fn trains_keep_what_a_lag_leaves_of_their_swing() {
    // Pulses of 10 ms every 20 ms: of a lag that has settled to them, by summing the answers to all pulses before.
    let (w, s, tau) = (10e-3, 20e-3, 1.0 / (TAU * 20.0));
    let answer = |t: f64| (0..9).map(|k| lag(t - f64::from(k) * s, w, tau)).sum::<f64>();
    let period: Vec<f64> = (0..2000).map(|i| answer(6.0 * s + f64::from(i) * 1e-5)).collect();
    let high = period.iter().copied().fold(0.0, f64::max);
    let low = period.iter().copied().fold(high, f64::min);
    for amplitude in [0.8, -0.8] {
        let record = TrainRecord {
            count: 9,
            spacing_s: s,
            trains: records(9.0 * s + 0.1, 1e-4, |t| amplitude * answer(t - LATE_S)),
        };
        let train = trains(&record, &terms(amplitude, w)).unwrap();
        // The second pair has come as far as exp(−2 s/τ) = 0.7 %.
        assert!((value(&train.swing) - (high - low)).abs() < 0.006, "{train:?}");
        assert!(
            (value(&train.left) - low / high).abs() < 0.006,
            "{train:?} {}",
            low / high
        );
        let at = (((5.0 * s + 0.5 * w + LATE_S) * FS_HZ) as usize).min(train.mean_nm.len() - 1);
        assert!((train.mean_nm[at] - amplitude * answer(5.0 * s + 0.5 * w)).abs() < 0.01);
    }
}

#[test]
fn intervals_hold_what_a_lag_keeps() {
    // Over 200 groups of 8 pulses whose delay is spread over a millisecond, as polling spreads it.
    let (w, tau) = (8e-3, 1.0 / (TAU * 60.0));
    let a: f64 = PI / w * tau;
    let kept = (0..2000)
        .map(|i| lag(f64::from(i) * 1e-5, w, tau))
        .fold(0.0, f64::max);
    assert!(kept < 1.0 / a.hypot(1.0) + 0.1);
    let mut random = Random::new(5);
    let mut inside = [0, 0];
    for _ in 0..200 {
        let pulses: Vec<PulseRecord> = (0..8)
            .map(|_| {
                let late = LATE_S + 1e-3 * (random.uniform() - 0.5);
                let first_s = -0.02;
                PulseRecord {
                    first_s,
                    torque_nm: (0..600)
                        .map(|i| lag(first_s + f64::from(i) / 4000.0 - late, w, tau) + 2e-3 * random.normal())
                        .collect(),
                }
            })
            .collect();
        let found = shock(
            &pulses,
            &PulseTerms {
                fs_hz: 4000.0,
                ..terms(1.0, w)
            },
        )
        .unwrap();
        let holds = |outcome: &Outcome, truth: f64| {
            let [low, high] = outcome.estimate().unwrap().interval;
            usize::from((low..=high).contains(&truth))
        };
        inside[0] += holds(&found.retention, kept);
        // The middle of a lagged pulse: as above, a little above the time constant.
        inside[1] += holds(&found.delay, LATE_S - 0.2e-3 + middle_late(w, tau));
    }
    println!("inside of 200: {inside:?}");
    assert!(inside.iter().all(|n| *n >= 178), "{inside:?}");
}

fn middle_late(w: f64, tau: f64) -> f64 {
    let grid: Vec<(f64, f64)> = (0..30_000)
        .map(|i| f64::from(i) * 1e-6)
        .map(|t| (t, lag(t, w, tau)))
        .collect();
    let top = grid.iter().map(|p| p.1).fold(0.0, f64::max);
    let above: Vec<f64> = grid.iter().filter(|p| p.1 >= 0.5 * top).map(|p| p.0).collect();
    0.5 * (above[0] + above[above.len() - 1] - w)
}

#[test]
fn what_cannot_be_read_is_refused() {
    let w = 10e-3;
    let pulse = |t: f64| lag(t - LATE_S, w, 1e-3);
    let code = |pulses: &[PulseRecord], terms: PulseTerms| shock(pulses, &terms).unwrap_err().code();
    let good = records(0.12, 1e-4, pulse);
    assert!(shock(&good, &terms(1.0, w)).is_ok());
    assert_eq!(code(&good[..1], terms(1.0, w)), "too_few_repeats");
    assert_eq!(code(&good, terms(-1.0, w)), "too_small", "the other way");
    assert_eq!(code(&records(0.12, 0.3, pulse), terms(1.0, w)), "too_small");
    assert_eq!(code(&records(0.012, 1e-4, pulse), terms(1.0, w)), "too_short");
    assert_eq!(code(&good, terms(1.0, 0.0)), "out_of_range");
    let late = |p: &PulseRecord| PulseRecord {
        first_s: -1e-3,
        ..p.clone()
    };
    assert_eq!(
        code(&good.iter().map(late).collect::<Vec<_>>(), terms(1.0, w)),
        "too_short"
    );
    let mut holed = good.clone();
    holed[1].torque_nm[30] = f64::NAN;
    assert_eq!(code(&holed, terms(1.0, w)), "non_finite");
    let train = |count, spacing_s| TrainRecord {
        count,
        spacing_s,
        trains: good.clone(),
    };
    let code = |record: TrainRecord| trains(&record, &terms(1.0, w)).unwrap_err().code();
    assert_eq!(code(train(2, 0.02)), "out_of_range");
    assert_eq!(code(train(5, 0.005)), "out_of_range");
    assert_eq!(code(train(5, 0.2)), "too_short");
}
