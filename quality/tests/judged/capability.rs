//! Capability against printed examples, scipy and coverage over simulated samples.

#![allow(clippy::approx_constant)] // 0.7071068 is a table's

use crate::common;
use common::{cases, near};
use quality::capability::*;
use quality::conformity::Limits;

/// e-Handbook 6.1.6: limits 8 to 20, mean 16, sigma 2; Cpm from its formula there with a target of 14.
#[test]
fn of_the_handbook() {
    let limits = Limits::between(8.0, 20.0).unwrap();
    let spread = Spread {
        sigma: 2.0,
        dof: 49.0,
    };
    let found = from_moments(16.0, 50, spread, &limits, 0.95).unwrap();
    near(found.potential.unwrap().value, 1.0, 1e-12);
    near(found.actual.value, 0.666667, 5e-5);
    near(found.upper.unwrap().value, 0.666667, 5e-5);
    near(found.lower.unwrap().value, 1.333333, 5e-5);
    near(targeted_index(16.0, 2.0, 14.0, &limits).unwrap(), 0.7071068, 5e-5);
    // scipy: norm.sf(2) + norm.cdf(-4).
    near(found.outside, 0.02278180, 1e-7);
}

/// Cp·√(χ²(p; n − 1)/(n − 1)), formula from memory, numbers by scipy.
#[test]
fn interval_of_cp() {
    let found = cp_interval(1.667, 49.0, 0.95);
    near(found.low, 1.337738, 1e-5);
    near(found.high, 1.995609, 1e-5);
}

#[test]
fn beside_scipy() {
    for case in cases("capability") {
        let limits = Limits::between(case.number("in.lower"), case.number("in.upper")).unwrap();
        let found = capability(case.list("in.x"), None, &limits, 0.95)
            .unwrap()
            .performance;
        let potential = found.potential.unwrap();
        near(potential.value, case.number("pp"), 1e-10);
        near(potential.interval.low, case.number("pp_low"), 1e-9);
        near(potential.interval.high, case.number("pp_high"), 1e-9);
        let upper = found.upper.unwrap();
        near(upper.value, case.number("ppu"), 1e-10);
        near(upper.interval.low, case.number("ppu_low"), 1e-8);
        near(upper.interval.high, case.number("ppu_high"), 1e-8);
    }
}

/// ISO 22514-2: on exact normal quantiles the percentile method gives Cp and Cpk.
#[test]
fn percentiles_of_a_normal() {
    let limits = Limits::between(8.0, 20.0).unwrap();
    let at = |z: f64| 16.0 + 2.0 * z;
    let p = Percentiles {
        low: at(-2.999976993),
        middle: 16.0,
        high: at(2.999976993),
    };
    let (potential, actual) = percentile_indices(&p, &limits).unwrap();
    common::near_share(potential.unwrap(), 1.0, 1e-5);
    common::near_share(actual, 2.0 / 3.0, 1e-5);
    assert_eq!(percentiles_of(&[1.0; 740]).unwrap_err().code(), "too_few");
    // A skewed distribution in closed form: exponential, whose quantiles are −ln(1 − q).
    let values: Vec<f64> = (0..100_000)
        .map(|i| -(1.0 - (f64::from(i) + 0.5) / 1e5).ln())
        .collect();
    let found = percentiles_of(&values).unwrap();
    near(found.middle, 2f64.ln(), 1e-4);
    near(found.high, -(0.00135f64).ln(), 0.01);
}

/// Intervals hold the true index as often as they say: 1,000 samples of 30, both limits near.
#[test]
fn coverage() {
    let z = common::normals(30_000, 21);
    let (cp, cpk) = (6.9 / 6.0, 3.3 / 3.0);
    let (mut potential, mut actual) = (0, 0);
    for sample in z.chunks(30) {
        let summary = quality::Summary::of("sample", sample).unwrap();
        potential += usize::from(cp_interval(6.9 / (6.0 * summary.sd), 29.0, 0.95).holds(cp));
        let found = (3.3 - summary.mean).min(summary.mean + 3.6) / (3.0 * summary.sd);
        actual += usize::from(cpk_interval(found, 30, 29.0, 0.95).holds(cpk));
    }
    println!("of 1000 intervals {potential} hold Cp, {actual} hold Cpk");
    // Three standard errors of a share of 0.95 in 1,000 are 0.021; Bissell's is an approximation.
    assert!((929..=971).contains(&potential) && (920..=975).contains(&actual));
}

/// One that spreads, one that is stable within and wanders between.
#[test]
fn within_and_whole() {
    let values: Vec<f64> = common::normals(60, 3)
        .iter()
        .enumerate()
        .map(|(i, z)| 0.1 * z + (i / 20) as f64)
        .collect();
    let groups: Vec<Vec<f64>> = values.chunks(5).map(<[f64]>::to_vec).collect();
    let within = quality::charts::pooled_spread(&groups).unwrap();
    let limits = Limits::between(-1.0, 3.0).unwrap();
    let found = capability(&values, Some(within), &limits, 0.95).unwrap();
    let short = found.capability.unwrap();
    assert!(short.actual.value > 4.0 * found.performance.actual.value);
    assert_eq!(found.seen_outside, 0);
}

#[test]
fn the_product_without_the_bench() {
    near(product_spread(5.0, 3.0).unwrap(), 4.0, 1e-12);
    assert_eq!(product_spread(3.0, 3.0).unwrap_err().code(), "bench_dominates");
}

#[test]
fn refusals() {
    let limits = Limits::at_least(0.0).unwrap();
    let code = |values: &[f64]| capability(values, None, &limits, 0.95).unwrap_err().code();
    assert_eq!(code(&[1.0, 2.0, 3.0, 4.0]), "too_few");
    assert_eq!(code(&[1.0; 9]), "no_variance");
    assert_eq!(code(&[1.0, 2.0, 3.0, 4.0, f64::INFINITY]), "non_finite");
    assert_eq!(
        targeted_index(0.0, 1.0, 0.0, &limits).unwrap_err().code(),
        "no_limit"
    );
    // One limit has no potential index, and its actual one is that limit's.
    let one = capability(&[1.0, 2.0, 3.0, 2.0, 1.5], None, &limits, 0.95).unwrap();
    assert!(one.performance.potential.is_none() && one.performance.upper.is_none());
}
