//! Time of averaged spectra against the length of the record, of a best linear approximation, and of a rational fit. The
//! same arrays in scipy: `tests/reference/analysis/timing.py`.
#![allow(missing_docs, clippy::unwrap_used)]

#[path = "../tests/fits/common/mod.rs"]
mod common;

use common::Random;
use criterion::{BenchmarkId, Criterion, Throughput, criterion_group, criterion_main};
use ndarray::ArrayView1;
use realfft::num_complex::Complex64;
use std::hint::black_box;
use truerim_analysis::multisine::*;
use truerim_analysis::rational::*;
use truerim_analysis::spectra::{WelchOptions, spectra};

const FS_HZ: f64 = 4000.0;

/// A lag of a few samples with noise: cheap to make, and both records are full.
fn records(n: usize) -> (Vec<f64>, Vec<f64>) {
    let mut random = Random::new(1);
    let x: Vec<f64> = (0..n).map(|_| random.uniform() - 0.5).collect();
    let mut state = 0.0;
    let y = x
        .iter()
        .map(|x| {
            state += 0.3 * (x - state);
            state
        })
        .collect();
    (x, y)
}

/// 10 s to 1 h in segments of 8,192 samples, half overlapping.
fn welch(c: &mut Criterion) {
    let mut group = c.benchmark_group("cross-spectra");
    let (x, y) = records(3600 * FS_HZ as usize);
    for seconds in [10, 60, 600, 3600] {
        let n = seconds * FS_HZ as usize;
        group.throughput(Throughput::Elements(n as u64));
        group.bench_with_input(BenchmarkId::from_parameter(format!("{seconds} s")), &n, |b, n| {
            let options = WelchOptions::half_overlap(FS_HZ, 8192);
            b.iter(|| spectra(black_box(&x[..*n]), &y[..*n], &options).unwrap());
        });
    }
    group.finish();
}

/// Seven realisations of four periods of 4 s.
fn bla(c: &mut Criterion) {
    let n = 4 * FS_HZ as usize;
    let mut random = Random::new(2);
    let lines = odd_random_lines(1, 1200, 4, || random.uniform() - 1e-12);
    let pairs: Vec<_> = (0..7)
        .map(|seed| {
            let mut random = Random::new(seed);
            let phases: Vec<f64> = lines
                .excited
                .iter()
                .map(|_| std::f64::consts::TAU * random.uniform())
                .collect();
            let u = multisine(&lines.excited, &vec![0.1; phases.len()], &phases, n);
            let y: Vec<f64> = (0..4 * n).map(|i| u[i % n] + 0.01 * random.normal()).collect();
            (u, y)
        })
        .collect();
    let records: Vec<MultisineRecord<'_>> = pairs
        .iter()
        .map(|(u, y)| MultisineRecord {
            fs_hz: FS_HZ,
            input_nm: ArrayView1::from(u),
            output_nm: ArrayView1::from(y),
            input_age_s: 0.0,
        })
        .collect();
    let options = MultisineOptions::new(lines);
    c.bench_function("best linear approximation of 7 x 4 periods of 4 s", |b| {
        b.iter(|| best_linear_approximation(black_box(&records), &options).unwrap());
    });
}

/// 400 lines of two modes, a lag and a zero behind a delay, four repeats.
fn rational(c: &mut Criterion) {
    let truth = RationalModel {
        gain: 0.9,
        delay_s: 3.9e-3,
        poles: vec![
            Factor::Pair {
                f_hz: 93.0,
                damping: 0.12,
            },
            Factor::Pair {
                f_hz: 327.0,
                damping: 0.08,
            },
            Factor::Real { corner_hz: 500.0 },
        ],
        zeros: vec![Factor::Real { corner_hz: 199.0 }],
    };
    let mut random = Random::new(3);
    let f_hz: Vec<f64> = (0..400).map(|i| 420.0_f64.powf(f64::from(i) / 399.0)).collect();
    let repeats: Vec<Vec<Complex64>> = (0..4)
        .map(|_| {
            let noisy =
                |f: &f64| truth.at(*f) * (1.0 + 0.005 * Complex64::new(random.normal(), random.normal()));
            f_hz.iter().map(noisy).collect()
        })
        .collect();
    let data = ResponseLines {
        h: (0..400)
            .map(|i| repeats.iter().map(|r| r[i]).sum::<Complex64>() / 4.0)
            .collect(),
        u: f_hz.iter().map(|f| 0.0025 * truth.at(*f).norm()).collect(),
        repeats,
        f_hz,
        delay_budget: Vec::new(),
    };
    let known = RationalOptions {
        orders: [5, 5],
        excess: [4, 4],
        ..RationalOptions::default()
    };
    c.bench_function(
        "rational fit, 5 poles and 1 zero, from no start, with cross-validation",
        |b| {
            b.iter(|| fit_rational(black_box(&data), &known).unwrap());
        },
    );
    c.bench_function("rational fit, 1 to 8 poles, chosen by cross-validation", |b| {
        b.iter(|| fit_rational(black_box(&data), &RationalOptions::default()).unwrap());
    });
}

criterion_group! { name = both; config = Criterion::default().sample_size(10); targets = welch, bla, rational }
criterion_main!(both);
