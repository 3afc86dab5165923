//! Drives that are not one spring: gaps (independent rises, `tests/reference/analysis/rise_geared.py`), and structures nobody
//! declared.
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)]

use crate::common::rises::*;
use crate::common::{Columns, Random};
use ndarray::ArrayView1;
use truerim_analysis::latency::{LatencyOptions, fit_latency_groups};
use truerim_analysis::step::StepRecord;

/// Records of a group that begins at `from_nm`.
fn records(repeats: &Repeats, from_nm: f64) -> Vec<StepRecord<'_>> {
    let rows = repeats.t.iter().zip(&repeats.y);
    rows.map(|(t, y)| StepRecord {
        t_s: ArrayView1::from(t),
        torque_nm: ArrayView1::from(y),
        from_nm,
        to_nm: from_nm + repeats.amplitude,
    })
    .collect()
}

/// Where the rotor rests in its gap when a step begins is chance: it may lean on the far flank, or on the near one.
#[test]
fn steps_across_a_gap_are_not_taken_for_late_ones() {
    let rises = Columns::read("rise/geared.csv");
    let group = |name: &str, seed| Repeats::new(rises.column(name), amplitude(name), 12, seed);
    let loaded = [
        group("preload_0.6", 1),
        group("preload_1.2", 2),
        group("preload_2.0", 3),
    ];
    let mut unloaded = [group("zero_0.6", 4), group("zero_1.2", 5), group("zero_2.0", 6)];
    let mut random = Random::new(7);
    for repeats in &mut unloaded {
        // Up to half as long again for a flank that is farther away: the rise is drawn out from its onset on.
        for (t, wait) in repeats.t.iter_mut().zip(&repeats.waits) {
            let (onset, by) = (DEAD_S + wait, 1.0 + 0.5 * random.uniform());
            t.iter_mut()
                .filter(|t| **t > onset)
                .for_each(|t| *t = onset + (*t - onset) * by);
        }
        // The fit wants samples evenly spaced.
        for (t, y) in repeats.t.iter_mut().zip(&mut repeats.y) {
            let even: Vec<f64> = (0..t.len()).map(|i| t[0] + i as f64 * SAMPLE_S).collect();
            let at = |x: &f64| {
                let i = t.partition_point(|t| t < x).clamp(1, t.len() - 1);
                y[i - 1] + (y[i] - y[i - 1]) * (x - t[i - 1]) / (t[i] - t[i - 1])
            };
            *y = even.iter().map(at).collect();
            *t = even;
        }
    }
    let all: Vec<Vec<StepRecord<'_>>> = loaded
        .iter()
        .map(|r| records(r, 0.9))
        .chain(unloaded.iter().map(|r| records(r, 0.0)))
        .collect();
    let groups: Vec<&[StepRecord<'_>]> = all.iter().map(Vec::as_slice).collect();
    let fit = fit_latency_groups(&groups, &options()).pooled;
    let latency = fit.latency.estimate().unwrap();
    let truth = loaded.iter().map(truth).sum::<f64>() / 3.0;
    println!(
        "{:.4} ms for {:.4} ms, u {:.4} ms, n {}",
        1e3 * latency.value,
        1e3 * truth,
        1e3 * latency.std_uncertainty,
        latency.n
    );
    assert_eq!(fit.left_out.len(), 36);
    assert!(
        fit.left_out
            .iter()
            .all(|(i, why)| *i >= 36 && why.contains("gap")),
        "{:?}",
        fit.left_out
    );
    assert!((latency.value - truth).abs() < 3.0 * latency.std_uncertainty);
}

/// Without a declaration the drive may begin to turn otherwise than one spring does, which the budget says.
#[test]
fn an_undeclared_drive_is_known_less_well() {
    let mixed = Mixed::new(8, 11);
    let fit = |drive_stages| {
        let options = LatencyOptions {
            drive_stages,
            ..options()
        };
        mixed.fit(&options).pooled.latency.estimate().unwrap().clone()
    };
    let (one, unknown, two) = (fit(Some(1)), fit(None), fit(Some(2)));
    let named = |e: &truerim_analysis::estimate::Estimate| {
        e.budget
            .iter()
            .any(|c| c.source.contains("structure of the drive"))
    };
    assert!(!named(&one) && named(&unknown) && named(&two));
    assert!((one.value - unknown.value).abs() < 1e-12);
    assert!(unknown.std_uncertainty > 1.2 * one.std_uncertainty);
    // A second stage that is not there shifts the onset by no more than it is said to.
    assert!((two.value - mixed.truth()).abs() < 2.0 * two.std_uncertainty);
}
