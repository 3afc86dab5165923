//! Latency against rises that an independent simulation made (tests/reference/analysis/rise.py).
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

mod common;

use common::{Columns, Random, interpolate};
use ndarray::ArrayView1;
use truerim_analysis::latency::{LatencyFit, LatencyOptions, SensorForm, fit_latency};
use truerim_analysis::step::StepRecord;

const SAMPLE_S: f64 = 250e-6;
const GRID_S: f64 = 50e-6;
const DEAD_S: f64 = 3.5e-3;
const PERIOD_S: f64 = 1e-3;
const NOISE_NM: f64 = 2e-3;

/// Delay of the second-order Butterworth amplifier at 1000 Hz.
const SENSOR_DELAY_S: f64 = std::f64::consts::SQRT_2 / (std::f64::consts::TAU * 1000.0);

struct Repeats {
    t: Vec<Vec<f64>>,
    y: Vec<Vec<f64>>,
    waits: Vec<f64>,
    amplitude: f64,
}

impl Repeats {
    fn new(shape: &[f64], amplitude: f64, n: usize, seed: u64) -> Self {
        let mut random = Random::new(seed);
        let (mut t, mut y, mut waits) = (vec![], vec![], vec![]);
        for _ in 0..n {
            let phase = random.uniform() * SAMPLE_S;
            let wait = random.uniform() * PERIOD_S;
            let base = 0.05 * random.normal();
            let times: Vec<f64> = (-40..240).map(|i| f64::from(i) * SAMPLE_S + phase).collect();
            let rise = |t: f64| interpolate(GRID_S, shape, t - DEAD_S - wait);
            y.push(
                times
                    .iter()
                    .map(|t| base + rise(*t) + NOISE_NM * random.normal())
                    .collect(),
            );
            t.push(times);
            waits.push(wait);
        }
        Self {
            t,
            y,
            waits,
            amplitude,
        }
    }

    fn fit(&self, options: &LatencyOptions) -> LatencyFit {
        let records: Vec<StepRecord<'_>> = self
            .t
            .iter()
            .zip(&self.y)
            .map(|(t, y)| StepRecord {
                t_s: ArrayView1::from(t),
                torque_nm: ArrayView1::from(y),
                from_nm: 0.0,
                to_nm: self.amplitude,
            })
            .collect();
        fit_latency(&records, options)
    }
}

fn options() -> LatencyOptions {
    LatencyOptions {
        sensor_delay_s: SENSOR_DELAY_S,
        sensor_delay_u_s: 5e-6,
        update_period_s: Some(PERIOD_S),
        ..LatencyOptions::default()
    }
}

fn truth(repeats: &Repeats) -> f64 {
    DEAD_S + repeats.waits.iter().sum::<f64>() / repeats.waits.len() as f64
}

/// The fit must give back the mean of the delays that were put in, whatever the amplitude, with and without friction:
/// neither slew limit nor current loop, resonance or sensor may count.
#[test]
fn lag_of_slew_current_and_spring_is_not_counted() {
    let rises = Columns::read("rise/rise.csv");
    assert_eq!(rises.names.len(), 7);
    for name in &rises.names[1..] {
        let amplitude: f64 = name.split('_').nth(1).unwrap().parse().unwrap();
        let repeats = Repeats::new(rises.column(name), amplitude, 100, 1);
        let fit = repeats.fit(&options());
        let latency = fit.latency.estimate().unwrap();
        let bias = latency.value - truth(&repeats);
        println!(
            "{name}: bias {:+.4} ms, u {:.4} ms",
            bias * 1e3,
            latency.std_uncertainty * 1e3
        );
        assert!(bias.abs() < 0.03e-3, "{name}: {bias}");
        assert!((latency.value - 4.0e-3).abs() < 0.1e-3);
        assert!(latency.all_checks_passed(), "{:?}", latency.checks);
        for (found, wait) in fit.per_repeat_s.iter().zip(&repeats.waits) {
            assert!((found.unwrap() - DEAD_S - wait).abs() < 0.05e-3, "{name}");
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

/// Units unlike the belt drive, which the model's first guess was not made for (tests/reference/analysis/rise_other.py):
/// one inertia alone, and a direct drive with its mode at 162 Hz.
#[test]
fn other_drives_come_back() {
    let rises = Columns::read("rise/other.csv");
    for (name, amplitude) in [("single_1.75", 1.75), ("direct_4", 4.0)] {
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
        assert!(bias.abs() < 0.06e-3, "{name}: {bias}");
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

fn coverage(seeds: u64, name: &str) -> (f64, f64, f64) {
    let rises = Columns::read("rise/rise.csv");
    let amplitude: f64 = name.split('_').nth(1).unwrap().parse().unwrap();
    let (mut inside, mut sum, mut square) = (0, 0.0, 0.0);
    for seed in 0..seeds {
        let fit = Repeats::new(rises.column(name), amplitude, 100, 100 + seed).fit(&options());
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
    (inside as f64 / n, sum / n, (square / n).sqrt())
}

#[test]
fn interval_holds_the_truth() {
    for name in ["linear_3.5", "friction_1.75"] {
        let (share, bias, rms) = coverage(20, name);
        println!(
            "{name}: coverage {share}, bias {:.4} ms, rms {:.4} ms",
            bias * 1e3,
            rms * 1e3
        );
        // With 20 seeds a true coverage of 95 % falls below 16 once in 380 runs of other seeds.
        assert!(share >= 0.8 && bias.abs() < 0.03e-3 && rms < 0.05e-3);
    }
}

#[test]
#[ignore = "a long survey: cargo test --release -- --ignored --nocapture"]
fn interval_holds_the_truth_survey() {
    for name in [
        "linear_0.7",
        "linear_3.5",
        "friction_0.7",
        "friction_1.75",
        "friction_3.5",
    ] {
        let (share, bias, rms) = coverage(60, name);
        println!(
            "{name}: coverage {share}, bias {:.4} ms, rms {:.4} ms",
            bias * 1e3,
            rms * 1e3
        );
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

mod refusals {
    use super::*;

    fn good(n: usize) -> Repeats {
        let rises = Columns::read("rise/rise.csv");
        Repeats::new(rises.column("linear_1.75"), 1.75, n, 9)
    }

    fn code(fit: &LatencyFit) -> &str {
        &fit.latency.refused().unwrap().code
    }

    #[test]
    fn too_few_repeats() {
        assert_eq!(code(&good(3).fit(&options())), "too_few_repeats");
        assert_eq!(code(&fit_latency(&[], &options())), "too_few_repeats");
    }

    #[test]
    fn wrong_sign() {
        let mut repeats = good(6);
        repeats.y.iter_mut().flatten().for_each(|v| *v = -*v);
        assert_eq!(code(&repeats.fit(&options())), "wrong_sign");
    }

    #[test]
    fn saturated() {
        assert_eq!(
            code(&good(6).fit(&LatencyOptions {
                saturation_nm: Some(2.0),
                ..options()
            })),
            "saturated"
        );
    }

    #[test]
    fn delay_longer_than_the_window() {
        let mut repeats = good(6);
        for y in &mut repeats.y {
            // Torque arrives just before the record ends.
            let n = y.len();
            let late: Vec<f64> = (0..n)
                .map(|i| {
                    if i + 20 < n {
                        y[i % 40]
                    } else {
                        y[40 + i + 20 - n + 12]
                    }
                })
                .collect();
            *y = late;
        }
        assert_eq!(code(&repeats.fit(&options())), "delay_beyond_window");
    }

    #[test]
    fn one_damaged_repeat_is_left_out_with_its_reason() {
        let mut repeats = good(30);
        repeats.y[4][100] = f64::NAN;
        for (i, v) in repeats.y[7].iter_mut().enumerate() {
            *v += 0.2 * (0.9 * i as f64).sin();
        }
        let fit = repeats.fit(&options());
        assert!(fit.latency.estimate().is_some());
        assert!(fit.per_repeat_s[4].is_none() && fit.per_repeat_s[7].is_none());
        assert_eq!(fit.left_out.iter().map(|l| l.0).collect::<Vec<_>>(), [4, 7]);
        let mut all = good(6);
        all.y.iter_mut().for_each(|y| y[50] = f64::INFINITY);
        assert_eq!(code(&all.fit(&options())), "non_finite");
    }

    #[test]
    fn amplitudes_must_not_be_mixed() {
        let repeats = good(8);
        let records: Vec<StepRecord<'_>> = (0..8)
            .map(|i| StepRecord {
                t_s: ArrayView1::from(&repeats.t[i]),
                torque_nm: ArrayView1::from(&repeats.y[i]),
                from_nm: 0.0,
                to_nm: if i == 3 { 3.5 } else { 1.75 },
            })
            .collect();
        assert_eq!(code(&fit_latency(&records, &options())), "records_differ");
    }

    #[test]
    fn negative_steps_are_the_same_delay() {
        let mut repeats = good(20);
        let up = repeats.fit(&options()).latency;
        repeats.y.iter_mut().flatten().for_each(|v| *v = -*v);
        repeats.amplitude = -1.75;
        let down = repeats.fit(&options()).latency;
        assert!((up.estimate().unwrap().value - down.estimate().unwrap().value).abs() < 1e-12);
    }
}
