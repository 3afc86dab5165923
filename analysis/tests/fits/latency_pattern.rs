//! Arrivals on the firmware's comb, marks of the onset, steps through a gap.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

use crate::common::rises::*;
use crate::common::{Columns, Random};
use truerim_analysis::estimate::{Check, Contribution, Estimate, Outcome};
use truerim_analysis::latency::*;

/// A fit as it would be of repeats whose delays are known, each with some noise.
fn fit_of(delays: &[f64], shape_u_s: f64) -> LatencyFit {
    let n = delays.len() as f64;
    let mean = delays.iter().sum::<f64>() / n;
    let sd = (delays.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    let budget = vec![
        Contribution::type_a("scatter of repeats", sd / n.sqrt(), n - 1.0),
        Contribution::type_b("shape of the rise", shape_u_s),
    ];
    let latency: Outcome = Estimate::from_budget(mean, "s", delays.len(), "known", budget)
        .unwrap()
        .into();
    LatencyFit {
        jitter: latency.clone(),
        latency,
        dead_time: None,
        per_repeat_s: delays.iter().map(|d| Some(*d)).collect(),
        left_out: Vec::new(),
        model: None,
        residual_rms_nm: None,
        noise_rms_nm: None,
        curve_t_s: Vec::new(),
        curve_model_nm: Vec::new(),
        curve_measured_nm: Vec::new(),
        checks: Vec::<Check>::new(),
    }
}

/// Setpoints at any time against a comb of 1 ms with a clock 37 ppm off, dead time 3.2 ms (LA-3), noise of each delay 10 µs.
fn polled(n: usize, period_s: f64, noise_s: f64, seed: u64) -> (Vec<f64>, Vec<f64>) {
    let mut random = Random::new(seed);
    let phase = random.uniform() * period_s;
    let mut t = 0.0;
    (0..n)
        .map(|_| {
            t += 0.2 + 0.1 * random.uniform();
            let k = ((t - phase) / period_s).ceil();
            (t, phase + k * period_s - t + 3.2e-3 + noise_s * random.normal())
        })
        .unzip()
}

/// Over 100 seeds: period, dead time and latency inside their intervals, and the dead time far closer than the mean of
/// the delays gives it.
#[test]
fn the_comb_is_found() {
    let period = 1e-3 * (1.0 + 37e-6);
    let seeds = 100;
    let (mut inside, mut square, mut plain) = ([0; 3], 0.0, 0.0);
    for seed in 0..seeds {
        let (t, d) = polled(48, period, 10e-6, seed);
        let found = arrivals(&t, &fit_of(&d, 0.0), &ArrivalOptions::default()).unwrap();
        let truth = [
            (&found.period, period),
            (&found.dead_time, 3.2e-3),
            (&found.latency, 3.2e-3 + 0.5 * period),
        ];
        for (k, (outcome, truth)) in truth.into_iter().enumerate() {
            let e = outcome.estimate().unwrap();
            inside[k] += usize::from(e.interval[0] <= truth && truth <= e.interval[1]);
        }
        square += (found.latency.estimate().unwrap().value - 3.2e-3 - 0.5 * period).powi(2);
        plain += (d.iter().sum::<f64>() / 48.0 - 3.2e-3 - 0.5 * period).powi(2);
        assert!((found.other_jitter_s / 10e-6 - 1.0).abs() < 0.5);
        for (w, d) in found.wait_s.iter().zip(&d) {
            assert!((w.unwrap() + 3.2e-3 - d).abs() < 0.08e-3);
        }
    }
    let (rms, mean) = ((square / seeds as f64).sqrt(), (plain / seeds as f64).sqrt());
    println!(
        "inside of {seeds}: {inside:?}; latency off by {:.4} ms, by the mean {:.4} ms",
        1e3 * rms,
        1e3 * mean
    );
    // 95 % of 100 is 95, three standard deviations 7. A rectangle's interval is wide in its tails.
    assert!(inside.iter().all(|i| *i >= 88), "{inside:?}");
    assert!(rms < 0.4 * mean, "the comb takes the waits out");
}

/// Two thousand steps over eight minutes: the comb is followed to the end without a slip, which a period off by a part in
/// a million would make.
#[test]
fn a_long_comb_is_followed() {
    let period = 1e-3 * (1.0 + 37e-6);
    for seed in 0..4 {
        let (at_s, delays) = polled(2000, period, 20e-6, seed);
        let options = ArrivalOptions {
            period_s: Some(1e-3),
            ..ArrivalOptions::default()
        };
        let found = arrivals(&at_s, &fit_of(&delays, 1e-6), &options).unwrap();
        let estimate = found.period.estimate().unwrap();
        assert!((estimate.value - period).abs() < 3e-11, "{}", estimate.value);
        let dead = found.dead_time.estimate().unwrap();
        assert!(
            (dead.value - 3.2e-3).abs() < 3.0 * dead.std_uncertainty,
            "{}",
            dead.value
        );
    }
}

/// Delays without a comb are refused, whatever their spread; so are too few, and lists that do not belong together.
#[test]
fn no_comb_is_refused() {
    let code = |t: &[f64], d: &[f64], o: &ArrivalOptions| arrivals(t, &fit_of(d, 0.0), o).unwrap_err().code();
    let usual = ArrivalOptions::default();
    for seed in 0..20 {
        let mut random = Random::new(400 + seed);
        let (t, _) = polled(48, 1e-3, 0.0, seed);
        let normal: Vec<f64> = t.iter().map(|_| 4e-3 + 0.2e-3 * random.normal()).collect();
        let uniform: Vec<f64> = t.iter().map(|_| 3.2e-3 + 1e-3 * random.uniform()).collect();
        assert_eq!(code(&t, &normal, &usual), "no_pattern");
        assert_eq!(code(&t, &uniform, &usual), "no_pattern");
    }
    let (t, d) = polled(48, 1e-3, 0.3e-3, 1);
    assert_eq!(code(&t, &d, &usual), "no_pattern");
    let (t, d) = polled(8, 1e-3, 1e-6, 1);
    assert_eq!(code(&t, &d, &usual), "too_few_repeats");
    assert_eq!(code(&t[..7], &d, &usual), "length_mismatch");
    // Arrivals on a grid of 0.25 s: 1/250 and 1/251 of it fit alike.
    let mut random = Random::new(6);
    let t: Vec<f64> = (0..60)
        .map(|i| f64::from(i) * 0.25 + 0.5e-3 * random.uniform())
        .collect();
    let d: Vec<f64> = t.iter().map(|t| 4e-3 - t.rem_euclid(1e-3)).collect();
    let declared = ArrivalOptions {
        period_s: Some(1e-3),
        ..usual.clone()
    };
    assert_eq!(code(&t, &d, &usual), "ambiguous");
    // With a period declared the dead time is told all the same, 3 ms here, to what starts over half a period leave; the
    // period is not.
    let found = arrivals(&t, &fit_of(&d, 0.0), &declared).unwrap();
    assert_eq!(found.period.refused().unwrap().code, "ambiguous");
    let dead = found.dead_time.estimate().unwrap();
    assert!(
        (dead.value - 3e-3).abs() < 2.0 * dead.std_uncertainty && dead.std_uncertainty < 0.16e-3,
        "{dead:?}"
    );
    assert!(
        dead.budget
            .iter()
            .any(|c| c.source == "other periods fit as well")
    );
    // Declared a period that is not the firmware's.
    let (t, d) = polled(48, 1e-3, 10e-6, 1);
    let wrong = ArrivalOptions {
        period_s: Some(1.37e-3),
        ..usual
    };
    assert_eq!(code(&t, &d, &wrong), "no_pattern");
}

/// Starts locked to the firmware: the comb is there, and a check says that they did not come at all phases.
#[test]
fn starts_that_are_not_dithered_are_seen() {
    let mut random = Random::new(6);
    let mut tooth = 0.0;
    let t: Vec<f64> = (0..60)
        .map(|_| {
            tooth += (200.0 + 100.0 * random.uniform()).round() * 1e-3;
            tooth + 0.1e-3 * random.uniform()
        })
        .collect();
    let d: Vec<f64> = t
        .iter()
        .map(|t| 4e-3 - t.rem_euclid(1e-3) + 5e-6 * random.normal())
        .collect();
    let options = ArrivalOptions {
        period_s: Some(1e-3),
        ..ArrivalOptions::default()
    };
    let found = arrivals(&t, &fit_of(&d, 0.0), &options).unwrap();
    let e = found.latency.estimate().unwrap();
    assert!(
        e.checks
            .iter()
            .any(|c| c.name.contains("all phases") && !c.passed),
        "{:?}",
        e.checks
    );
    // The gap that they left is in the uncertainty.
    assert!(e.std_uncertainty > 0.2e-3);
}

/// From torque alone: the joint fit of simulated rises gives delays from which the comb comes back, and the marks agree.
#[test]
fn from_rises_to_comb_and_marks() {
    let rises = Columns::read("rise/rise.csv");
    let mut repeats = Repeats::new(rises.column("friction_1.75"), 1.75, 40, 12);
    // Instants that give the waits which the repeats were made with.
    let mut random = Random::new(5);
    let mut tooth = 0.0;
    let at: Vec<f64> = repeats
        .waits
        .iter()
        .map(|w| {
            tooth += (200.0 + 100.0 * random.uniform()).round() * PERIOD_S;
            tooth - w
        })
        .collect();
    let fit = repeats.fit(&options());
    let found = arrivals(&at, &fit, &ArrivalOptions::default()).unwrap();
    let (period, dead) = (
        found.period.estimate().unwrap(),
        found.dead_time.estimate().unwrap(),
    );
    println!(
        "period {:.5} ± {:.5} ms, dead time {:.4} ± {:.4} ms",
        1e3 * period.value,
        1e3 * period.std_uncertainty,
        1e3 * dead.value,
        1e3 * dead.std_uncertainty
    );
    assert!((period.value / PERIOD_S - 1.0).abs() < 1e-4);
    assert!(dead.interval[0] < DEAD_S && DEAD_S < dead.interval[1]);
    let marks = onset_marks(&repeats.records(1.0), &options(), 7);
    let (threshold, extrapolated) = (
        marks.threshold.estimate().unwrap(),
        marks.extrapolated.estimate().unwrap(),
    );
    let latency = fit.latency.estimate().unwrap();
    // Both are late by lag, and not by more than the 2.5 ms that this rise takes to half its way.
    assert!(threshold.value > latency.value && extrapolated.value > latency.value);
    assert!(
        threshold.value < latency.value + 1.5e-3,
        "{} {}",
        threshold.value,
        latency.value
    );
    assert!(marks_agree(&fit, &marks, 2.5e-3).unwrap().passed);
    assert_eq!(marks, onset_marks(&repeats.records(1.0), &options(), 7), "seeded");
    // A latency that lies after visible torque is wrong, and is told.
    repeats.y.iter_mut().for_each(|y| y.rotate_left(8));
    let early = onset_marks(&repeats.records(1.0), &options(), 7);
    assert!(!marks_agree(&fit, &early, 2.5e-3).unwrap().passed);
}

/// A geared unit (tests/reference/analysis/rise_geared.py): torque from zero arrives when the flanks meet.
mod gap {
    use super::*;

    fn steps(name: &str, sign: f64, seed: u64) -> (LatencyFit, OnsetMarks) {
        let rises = Columns::read("rise/geared.csv");
        let mut repeats = Repeats::new(rises.column(name), amplitude(name), 24, seed);
        repeats.y.iter_mut().flatten().for_each(|v| *v *= sign);
        let records = repeats.records(sign);
        (
            fit_latency(&records, &options()),
            onset_marks(&records, &options(), seed),
        )
    }

    /// Latency from the preload is right, in both directions; crossing times shrink with size and are those of the simulation:
    /// first visible torque (5 times the noise of 2 mN·m) at 6.45, 5.00 and 4.45 ms from zero, 1.25 ms from a preload.
    #[test]
    fn crossing_is_told_from_delay() {
        for sign in [1.0, -1.0] {
            let pre = steps("preload_1.2", sign, 5);
            let zero: Vec<(f64, OnsetMarks)> = [0.6, 1.2, 2.0]
                .into_iter()
                .zip(6..)
                .map(|(change, seed)| (change, steps(&format!("zero_{change:.1}"), sign, seed).1))
                .collect();
            let zero: Vec<(f64, &OnsetMarks)> = zero.iter().map(|(c, m)| (*c, m)).collect();
            let found = gap_crossing((&pre.0, &pre.1), &zero).unwrap();
            let latency = found.latency.estimate().unwrap();
            assert!(
                (latency.value - 4e-3).abs() < 3.0 * latency.std_uncertainty,
                "{latency:?}"
            );
            assert!(latency.std_uncertainty < 0.1e-3);
            assert!(!found.check.passed, "{:?}", found.check);
            for ((_, outcome), expected) in found.crossing.iter().zip([5.20e-3, 3.75e-3, 3.20e-3]) {
                let e = outcome.estimate().unwrap();
                println!(
                    "{:.3} ± {:.3} ms, expected {:.2}",
                    1e3 * e.value,
                    1e3 * e.std_uncertainty,
                    1e3 * expected
                );
                assert!(e.interval[0] < expected && expected < e.interval[1]);
                assert!(e.std_uncertainty < 0.4e-3);
            }
            // Without a preload: refused with the reason.
            assert_eq!(gap_between_sizes(&zero).unwrap_err().code(), "gap_in_the_way");
            assert_eq!(
                gap_between_sizes(&zero[..1]).unwrap_err().code(),
                "too_few_repeats"
            );
        }
    }

    /// The joint fit of steps from zero gives no latency that is the crossing: it is refused.
    #[test]
    fn steps_through_a_gap_give_no_latency() {
        for name in ["zero_0.6", "zero_1.2", "zero_2.0"] {
            let (fit, _) = steps(name, 1.0, 9);
            assert!(fit.latency.refused().is_some(), "{name}: {:?}", fit.latency);
        }
    }

    /// A belt drive has no gap: no alarm, from preload or sizes, though friction and slew limit differ between steps.
    #[test]
    fn no_gap_no_alarm() {
        let rises = Columns::read("rise/rise.csv");
        let of = |name: &str, seed: u64| {
            let repeats = Repeats::new(rises.column(name), amplitude(name), 40, seed);
            let records = repeats.records(1.0);
            (
                fit_latency(&records, &options()),
                onset_marks(&records, &options(), seed),
            )
        };
        for seed in 0..2 {
            let pre = of("preload_1.75", seed);
            for kind in ["friction", "turned"] {
                let zero: Vec<(f64, OnsetMarks)> = [0.7, 1.75, 3.5]
                    .into_iter()
                    .zip(10 * seed + 3..)
                    .map(|(change, seed)| (change, of(&format!("{kind}_{change}"), seed).1))
                    .collect();
                let zero: Vec<(f64, &OnsetMarks)> = zero.iter().map(|(c, m)| (*c, m)).collect();
                let found = gap_crossing((&pre.0, &pre.1), &zero).unwrap();
                assert!(found.check.passed, "{kind}: {:?}", found.check);
                assert!(gap_between_sizes(&zero).is_ok());
            }
        }
    }
}
