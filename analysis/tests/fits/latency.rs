//! Latency against rises that an independent simulation made (tests/reference/analysis/rise.py).
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

use crate::common::rises::*;
use crate::common::{Columns, Random, interpolate};
use truerim_analysis::latency::{LatencyFit, LatencyOptions, SensorForm};

/// The fit must give back the mean of the delays that were put in, whatever the amplitude, without friction, with it,
/// and whatever friction has to turn round first: neither slew limit nor current loop, resonance or sensor may count.
#[test]
fn lag_of_slew_current_and_spring_is_not_counted() {
    let rises = Columns::read("rise/rise.csv");
    assert_eq!(rises.names.len(), 13);
    for name in [
        "linear_3.5",
        "friction_0.7",
        "friction_1.75",
        "turned_1.75",
        "preload_3.5",
    ] {
        let repeats = Repeats::new(rises.column(name), amplitude(name), 60, 1);
        let fit = repeats.fit(&options());
        let latency = fit
            .latency
            .estimate()
            .unwrap_or_else(|| panic!("{name}: {:?}", fit.latency));
        let bias = latency.value - truth(&repeats);
        println!(
            "{name}: bias {:+.4} ms, u {:.4} ms",
            bias * 1e3,
            latency.std_uncertainty * 1e3
        );
        assert!(bias.abs() < 0.05e-3, "{name}: {bias}");
        assert!((latency.value - 4.0e-3).abs() < 0.15e-3);
        assert!(latency.all_checks_passed(), "{:?}", latency.checks);
        for (found, wait) in fit.per_repeat_s.iter().zip(&repeats.waits) {
            assert!((found.unwrap() - DEAD_S - wait - bias).abs() < 0.05e-3, "{name}");
        }
        // A wait for a poll is uniform over the period.
        let jitter = fit.jitter.estimate().unwrap();
        assert!(
            jitter.interval[0] < PERIOD_S / 12.0_f64.sqrt()
                && PERIOD_S / 12.0_f64.sqrt() < jitter.interval[1]
        );
        let dead = fit.dead_time.unwrap();
        assert!((dead.estimate().unwrap().value - latency.value + 0.5e-3).abs() < 1e-12);
    }
}

/// One fit for all sizes, closer than a fit for each; every group gets its own mean from it.
#[test]
fn groups_share_one_shape() {
    let mixed = Mixed::new(16, 3);
    let fit = mixed.fit(&options());
    let latency = fit.pooled.latency.estimate().unwrap();
    let bias = latency.value - mixed.truth();
    println!(
        "bias {:+.4} ms, u {:.4} ms",
        bias * 1e3,
        latency.std_uncertainty * 1e3
    );
    assert!(bias.abs() < 0.04e-3, "{bias}");
    assert_eq!((latency.n, fit.pooled.per_repeat_s.len()), (96, 96));
    assert!(latency.std_uncertainty < 0.055e-3);
    assert!(latency.all_checks_passed(), "{:?}", latency.checks);
    assert!(latency.checks.iter().any(|c| c.name == "groups agree"));
    assert_eq!(fit.groups.len(), 6);
    for (group, (repeats, _)) in fit.groups.iter().zip(&mixed.0) {
        let e = group.latency.estimate().unwrap();
        assert_eq!(e.n, 16);
        assert!((e.value - truth(repeats) - bias).abs() < 0.03e-3);
    }
}

/// Groups whose delays really differ are told, and widen the interval of the mean of all.
#[test]
fn groups_that_differ_are_told() {
    let mut mixed = Mixed::new(8, 5);
    for group in [0, 5] {
        mixed.0[group].0.t.iter_mut().flatten().for_each(|t| *t += 1.5e-3);
    }
    let latency = mixed.fit(&options()).pooled.latency;
    let latency = latency.estimate().unwrap();
    let check = latency.checks.iter().find(|c| c.name == "groups agree").unwrap();
    assert!(!check.passed, "{check:?}");
    assert!(latency.std_uncertainty > 0.2e-3, "{}", latency.std_uncertainty);
}

/// A poll that falls into a jump that the rig spreads takes over a part, the next the rest. Without friction the rise of
/// half a jump at once and half a period later is the sum of the two halves' rises, as long as the ramp of the first is
/// over by then: 1.75 N·m take 0.875 ms of the 1 ms.
#[test]
fn a_jump_taken_over_in_two_parts_keeps_its_onset() {
    let rises = Columns::read("rise/rise.csv");
    let half = rises.column("linear_1.75");
    let of = |name: &str, seed| (Repeats::new(rises.column(name), amplitude(name), 15, seed), 1.0);
    let mut mixed = Mixed(vec![
        of("linear_0.7", 6),
        of("linear_1.75", 7),
        of("linear_3.5", 8),
    ]);
    let mut random = Random::new(77);
    let whole = &mut mixed.0[2].0;
    for i in [4, 11] {
        for (y, t) in whole.y[i].iter_mut().zip(&whole.t[i]) {
            let t = t - DEAD_S - whole.waits[i];
            *y = interpolate(GRID_S, half, t)
                + interpolate(GRID_S, half, t - PERIOD_S)
                + NOISE_NM * random.normal();
        }
    }
    let fit = mixed.fit(&options());
    let latency = fit.pooled.latency.estimate().unwrap();
    let bias = latency.value - mixed.truth();
    println!("bias {:+.4} ms", bias * 1e3);
    assert!(
        bias.abs() < 0.08e-3 && latency.n == 45,
        "{bias} {:?}",
        fit.pooled.left_out
    );
    for i in [4, 11] {
        let found = fit.groups[2].per_repeat_s[i].unwrap();
        assert!(
            (found - DEAD_S - mixed.0[2].0.waits[i] - bias).abs() < 0.05e-3,
            "{found}"
        );
    }
}

/// Units unlike the belt drive, which the model's first guess was not made for (tests/reference/analysis/rise_other.py):
/// one inertia alone, and a direct drive with its mode at 162 Hz. From steps of one size, an inertia alone is now told for
/// one with a hub and now not, which moves the delay by 0.04 to 0.07 ms to either side (seeds 4 to 7); so its bound is the
/// 0.1 ms asked of a latency, and the interval must allow for it.
#[test]
fn other_drives_come_back() {
    let rises = Columns::read("rise/other.csv");
    for (name, amplitude, most) in [("single_1.75", 1.75, 0.1e-3), ("direct_4", 4.0, 0.06e-3)] {
        let repeats = Repeats::new(rises.column(name), amplitude, 60, 4);
        let fit = repeats.fit(&options());
        let latency = fit
            .latency
            .estimate()
            .unwrap_or_else(|| panic!("{name}: {:?}", fit.latency));
        let bias = latency.value - truth(&repeats);
        println!(
            "{name}: bias {:+.4} ms, u {:.4} ms",
            bias * 1e3,
            latency.std_uncertainty * 1e3
        );
        assert!(
            bias.abs() < most && bias.abs() < 2.0 * latency.std_uncertainty,
            "{name}: {bias}"
        );
    }
}

/// A wrong form of the sensor's filter costs less than 0.1 ms, and the budget says so when the form is not known.
#[test]
fn unknown_form_of_the_sensor_is_in_the_budget() {
    let rises = Columns::read("rise/rise.csv");
    let repeats = Repeats::new(rises.column("friction_1.75"), 1.75, 60, 2);
    for sensor_form in [SensorForm::FirstOrder, SensorForm::Pure] {
        let fit = repeats.fit(&LatencyOptions {
            sensor_form,
            sensor_form_known: false,
            ..options()
        });
        let latency = fit.latency.estimate().unwrap();
        let bias = latency.value - truth(&repeats);
        println!("{sensor_form:?}: bias {:+.4} ms", bias * 1e3);
        assert!(bias.abs() < 0.1e-3);
        let part = latency
            .budget
            .iter()
            .find(|c| c.source.contains("form of the sensor"))
            .unwrap();
        assert!(part.std_uncertainty > 0.3 * bias.abs(), "{part:?} for {bias}");
    }
}

/// Share of seeds whose interval holds the truth, bias and root mean square error, s.
fn coverage(seeds: u64, fit: impl Fn(u64) -> LatencyFit) -> (f64, f64, f64) {
    let (mut inside, mut sum, mut square) = (0, 0.0, 0.0);
    for seed in 0..seeds {
        let fit = fit(seed);
        let latency = fit
            .latency
            .estimate()
            .unwrap_or_else(|| panic!("seed {seed}: {:?}", fit.latency));
        let error = latency.value - 4.0e-3;
        inside += usize::from(latency.interval[0] <= 4.0e-3 && 4.0e-3 <= latency.interval[1]);
        sum += error;
        square += error * error;
    }
    let n = seeds as f64;
    let found = (inside as f64 / n, sum / n, (square / n).sqrt());
    println!(
        "coverage {}, bias {:.4} ms, rms {:.4} ms",
        found.0,
        found.1 * 1e3,
        found.2 * 1e3
    );
    found
}

#[test]
fn interval_holds_the_truth() {
    let (share, bias, rms) = coverage(10, |seed| Mixed::new(8, 100 + seed).fit(&options()).pooled);
    // With 10 seeds a true coverage of 95 % falls below 8 once in 87 runs of other seeds.
    assert!(share >= 0.8 && bias.abs() < 0.05e-3 && rms < 0.08e-3);
}

#[test]
#[ignore = "a long survey: cargo test --release -- --ignored --nocapture"]
fn interval_holds_the_truth_survey() {
    let (share, bias, rms) = coverage(60, |seed| Mixed::new(16, 200 + seed).fit(&options()).pooled);
    assert!(share >= 0.90 && bias.abs() < 0.03e-3 && rms < 0.06e-3);
    let rises = Columns::read("rise/rise.csv");
    for name in &rises.names[1..] {
        print!("{name}: ");
        let of = |seed| Repeats::new(rises.column(name), amplitude(name), 100, 100 + seed).fit(&options());
        let (share, _, _) = coverage(60, of);
        assert!(share >= 0.90, "{name}: {share}");
    }
}

/// LA-3: a poll of 1 ms and a dead time of 3.2 ms give a mean of 3.7 ms with a spread of 1/sqrt(12) ms.
#[test]
fn polled_delays_have_the_mean_and_spread_of_a_rectangle() {
    let mut random = Random::new(5);
    let delays: Vec<f64> = (0..5000)
        .map(|i| 3.2 + (f64::from(i) + random.uniform()) / 5000.0)
        .collect();
    let stats = truerim_analysis::statistics::mean_sd(&delays).unwrap();
    assert!((stats.mean - 3.7).abs() < 0.01 && (stats.sd - 0.288_675).abs() < 0.01);
    assert!((stats.mean - 0.5 - 3.2).abs() < 0.01);
}
