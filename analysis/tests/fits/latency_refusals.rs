//! Steps that give no latency, and why.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

use crate::common::Columns;
use crate::common::rises::*;
use ndarray::ArrayView1;
use truerim_analysis::latency::{LatencyFit, LatencyOptions, fit_latency};
use truerim_analysis::step::StepRecord;

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
