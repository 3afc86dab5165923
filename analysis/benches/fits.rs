//! Time of a latency fit (100 repeats) and of a frequency response (3 sweeps of 21.6 s) with its readings.
#![allow(missing_docs, clippy::unwrap_used)]

#[path = "../tests/fits/common/mod.rs"]
mod common;

use common::sweep::{Chain, SENSOR_DELAY_S, records};
use common::{Columns, Random, interpolate};
use criterion::{Criterion, criterion_group, criterion_main};
use ndarray::ArrayView1;
use std::hint::black_box;
use truerim_analysis::frequency::{DelayOptions, FrequencyOptions, frequency_response, phase_delay};
use truerim_analysis::latency::{LatencyOptions, fit_latency};
use truerim_analysis::step::StepRecord;

fn latency(c: &mut Criterion) {
    let rises = Columns::read("rise/rise.csv");
    let shape = rises.column("friction_1.75");
    let mut random = Random::new(1);
    let repeats: Vec<(Vec<f64>, Vec<f64>)> = (0..100)
        .map(|_| {
            let (phase, delay) = (250e-6 * random.uniform(), 3.5e-3 + 1e-3 * random.uniform());
            let t: Vec<f64> = (-40..240).map(|i| f64::from(i) * 250e-6 + phase).collect();
            let y = t
                .iter()
                .map(|t| interpolate(50e-6, shape, t - delay) + 2e-3 * random.normal())
                .collect();
            (t, y)
        })
        .collect();
    let records: Vec<StepRecord<'_>> = repeats
        .iter()
        .map(|(t, y)| StepRecord {
            t_s: ArrayView1::from(t),
            torque_nm: ArrayView1::from(y),
            from_nm: 0.0,
            to_nm: 1.75,
        })
        .collect();
    let options = LatencyOptions {
        sensor_delay_s: SENSOR_DELAY_S,
        ..LatencyOptions::default()
    };
    c.bench_function("latency of 100 repeats", |b| {
        b.iter(|| fit_latency(black_box(&records), &options))
    });
}

fn frequency(c: &mut Criterion) {
    let chain = Chain {
        f1_hz: 93.0,
        zeta1: 0.08,
        lead_s: 0.2e-3,
        second: true,
        slew_nm_per_s: f64::INFINITY,
    };
    let sweeps: Vec<_> = (0..3).map(|seed| chain.sweep(0.7, 2e-3, seed)).collect();
    let records = records(&sweeps);
    let options = FrequencyOptions::default();
    c.bench_function("response of 3 sweeps", |b| {
        b.iter(|| frequency_response(black_box(&records), &options).unwrap());
    });
    let response = frequency_response(&records, &options).unwrap();
    c.bench_function("delay from the response", |b| {
        b.iter(|| phase_delay(black_box(&response), &DelayOptions::default()));
    });
}

criterion_group! { name = fits; config = Criterion::default().sample_size(10); targets = latency, frequency }
criterion_main!(fits);
