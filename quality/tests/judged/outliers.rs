//! Outliers against a published example, statsmodels and planted ones.

use crate::common;
use common::{cases, near};
use quality::outliers::*;

/// Rosner 1983, as in the e-Handbook 1.3.5.17.3 (from memory): 54 values, three outliers by the third statistic.
#[test]
fn rosners_example() {
    let values = [
        -0.25, 0.68, 0.94, 1.15, 1.20, 1.26, 1.26, 1.34, 1.38, 1.43, 1.49, 1.49, 1.55, 1.56, 1.58, 1.65,
        1.69, 1.70, 1.76, 1.77, 1.81, 1.91, 1.94, 1.96, 1.99, 2.06, 2.09, 2.10, 2.14, 2.15, 2.23, 2.24, 2.26,
        2.35, 2.37, 2.40, 2.47, 2.54, 2.62, 2.64, 2.90, 2.92, 2.92, 2.93, 3.21, 3.26, 3.30, 3.59, 3.68, 4.30,
        4.64, 5.34, 5.42, 6.01,
    ];
    let found = studentised_deviates(&values, 10, 0.05).unwrap();
    let printed = [
        (3.118, 3.158),
        (2.942, 3.151),
        (3.179, 3.143),
        (2.810, 3.136),
        (2.815, 3.128),
        (2.848, 3.120),
        (2.279, 3.111),
        (2.310, 3.103),
        (2.101, 3.094),
        (2.067, 3.085),
    ];
    for (deviate, (statistic, critical)) in found.iter().zip(printed) {
        near(deviate.statistic, statistic, 1e-3);
        near(deviate.critical, critical, 1.1e-3);
    }
    let outliers: Vec<f64> = found
        .iter()
        .filter(|d| d.outlier)
        .map(|d| values[d.index])
        .collect();
    assert_eq!(outliers, [6.01, 5.42, 5.34]);
}

/// Location and covariance beside `statsmodels.robust.covariance.cov_ogk`.
#[test]
fn robust_estimates_beside_statsmodels() {
    for case in cases("outliers") {
        let units: Vec<Vec<f64>> = case.list("in.x").chunks(3).map(<[f64]>::to_vec).collect();
        let found = robust_estimates(&units).unwrap();
        for (found, expected) in found.mean.iter().zip(case.list("mean")) {
            near(*found, *expected, 1e-10);
        }
        for (found, expected) in found.covariance.iter().flatten().zip(case.list("cov")) {
            near(*found, *expected, 1e-10);
        }
        // Planted: unit 7 breaks the correlation of the first two, unit 33 is off in the third.
        let odd = odd_units(&units, 0.05).unwrap();
        let mut named: Vec<(usize, usize)> = odd.iter().map(|o| (o.unit, o.because[0].measurand)).collect();
        named.sort_unstable();
        assert_eq!(named.len(), 2, "{odd:?}");
        assert!(
            named[0].0 == 7 && named[0].1 < 2 && named[1] == (33, 2),
            "{odd:?}"
        );
    }
}

fn population(n: usize, p: usize, seed: u64) -> Vec<Vec<f64>> {
    // Neighbouring measurands share a cause.
    common::normals(n * (p + 1), seed)
        .chunks(p + 1)
        .map(|z| (0..p).map(|j| 10.0 + 0.6 * z[j] + 0.8 * z[j + 1]).collect())
        .collect()
}

/// Populations without odd units: how many name any, at 0.05.
#[test]
fn false_alarms() {
    for (n, p, runs) in [(60, 4, 200), (300, 8, 60)] {
        let alarms = (0..runs)
            .filter(|seed| !odd_units(&population(n, p, *seed), 0.05).unwrap().is_empty())
            .count();
        println!("{n} units, {p} measurands: {alarms} of {runs} populations name a unit");
        assert!(alarms as f64 / runs as f64 <= 0.15, "{alarms}");
    }
}

/// Planted units are found with the measurand that makes them odd, one in which each value alone is ordinary among them.
#[test]
fn planted_units_are_named_with_their_measurands() {
    for seed in 0..20 {
        let mut units = population(200, 6, seed);
        units[17][3] += 7.0;
        units[42] = vec![10.0, 12.2, 7.8, 12.2, 7.8, 10.0];
        units[99][0] -= 6.0;
        units[99][5] += 6.0;
        let found = odd_units(&units, 0.01).unwrap();
        let of = |unit: usize| found.iter().find(|o| o.unit == unit).unwrap();
        assert_eq!(of(17).because[0].measurand, 3);
        assert_eq!(of(17).because.len(), 1);
        let both = of(42);
        assert!((1..5).contains(&both.because[0].measurand));
        assert!(both.because.iter().all(|o| o.alone.abs() < 3.0));
        let mut two: Vec<usize> = of(99).because.iter().map(|o| o.measurand).collect();
        two.sort_unstable();
        assert_eq!(two, [0, 5]);
    }
}

#[test]
fn refusals() {
    assert_eq!(
        studentised_deviates(&[1.0, 2.0, 3.0], 1, 0.05)
            .unwrap_err()
            .code(),
        "too_few"
    );
    assert_eq!(
        studentised_deviates(&[1.0; 9], 1, 0.05).unwrap_err().code(),
        "no_variance"
    );
    assert_eq!(
        odd_units(&population(13, 6, 1), 0.05).unwrap_err().code(),
        "too_few"
    );
    let mut units = population(30, 3, 1);
    units[4].pop();
    assert_eq!(odd_units(&units, 0.05).unwrap_err().code(), "length_mismatch");
    let mut units = population(30, 3, 1);
    units.iter_mut().for_each(|u| u[1] = 5.0);
    let refusal = odd_units(&units, 0.05).unwrap_err();
    assert!(refusal.to_string().contains("measurand 2"), "{refusal}");
    let mut units = population(30, 3, 1);
    units.iter_mut().for_each(|u| u[1] = u[0] + u[2]);
    assert_eq!(odd_units(&units, 0.05).unwrap_err().code(), "confounded");
}
