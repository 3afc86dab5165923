//! Tolerance intervals against published factors, scipy and closed forms.

use crate::common;
use common::{cases, near};
use quality::tolerance::*;

/// e-Handbook 7.2.6.3 (from memory): 43 values, 90 % with 99 %: one-sided 1.8752 by its approximation and 1.8740 by the
/// noncentral t; two-sided 2.217 by Howe's approximation, which is good to a few parts in a thousand.
#[test]
fn factors_of_the_handbook() {
    near(one_sided_factor(43, 0.90, 0.99).unwrap(), 1.8740, 1e-4);
    near(two_sided_factor(43, 0.90, 0.99).unwrap(), 2.217, 1e-2);
}

/// Beside scipy: noncentral t, and the two-sided factor from its definition by `quad` and `brentq`.
#[test]
fn factors_beside_scipy() {
    for case in cases("tolerance") {
        let [n, share, level] = ["in.n", "in.share", "in.level"].map(|name| case.number(name));
        common::near_share(
            one_sided_factor(n as usize, share, level).unwrap(),
            case.number("one"),
            1e-7,
        );
        common::near_share(
            two_sided_factor(n as usize, share, level).unwrap(),
            case.number("two"),
            1e-6,
        );
    }
}

/// Wilks 1941: 59 values for 95/95 on one side (0.95⁵⁹ < 0.05), 93 on both; 473 for 99/95.
#[test]
fn fewest_values() {
    assert_eq!(least_count(0.95, 0.95, Sides::Upper).unwrap(), 59);
    assert_eq!(least_count(0.95, 0.95, Sides::Both).unwrap(), 93);
    assert_eq!(least_count(0.99, 0.95, Sides::Both).unwrap(), 473);
}

/// Extremes of 93 hold 95 % with 1 − n·pⁿ⁻¹ + (n − 1)·pⁿ; more values allow inner ones.
#[test]
fn order_statistics() {
    let values: Vec<f64> = (1..=93).map(f64::from).collect();
    let found = free_interval(&values, 0.95, 0.95, Sides::Both).unwrap();
    assert_eq!(
        (found.rank, found.limits.lower(), found.limits.upper()),
        (1, Some(1.0), Some(93.0))
    );
    near(
        found.level,
        1.0 - 93.0 * 0.95f64.powi(92) + 92.0 * 0.95f64.powi(93),
        1e-12,
    );
    // scipy: binom.sf(1, 93, 0.05) for the upper side leaves out one value more.
    let upper = free_interval(&values, 0.95, 0.95, Sides::Upper).unwrap();
    assert_eq!(
        (upper.rank, upper.limits.upper(), upper.limits.lower()),
        (2, Some(92.0), None)
    );
    near(upper.level, found.level, 1e-12);
    let refusal = free_interval(&values[..92], 0.95, 0.95, Sides::Both).unwrap_err();
    assert_eq!(refusal.code(), "too_few");
    assert!(refusal.to_string().contains("93"), "{refusal}");
}

/// Limits from simulated reference groups hold 95 % of all units in about 90 of 100 groups, as asked for.
#[test]
fn coverage() {
    let z = common::normals(40 * 400, 31);
    let share_in = |limits: &quality::conformity::Limits| {
        quality::conformity::Normal::new(0.0, 1.0).unwrap().within(limits)
    };
    let first = quality::Summary::of("group", &z[..40]).unwrap();
    for (sides, k) in [
        (Sides::Both, two_sided_factor(40, 0.95, 0.90).unwrap()),
        (Sides::Lower, one_sided_factor(40, 0.95, 0.90).unwrap()),
    ] {
        let found = tolerance_interval(&z[..40], 0.95, 0.90, sides).unwrap();
        near(found.lower().unwrap(), first.mean - k * first.sd, 1e-12);
        assert_eq!(found.upper().is_some(), matches!(sides, Sides::Both));
        let held = z.chunks(40).filter(|group| {
            let s = quality::Summary::of("group", group).unwrap();
            let (lower, upper) = (s.mean - k * s.sd, s.mean + k * s.sd);
            let upper = matches!(sides, Sides::Both).then_some(upper);
            share_in(&quality::conformity::Limits::new(Some(lower), upper).unwrap()) >= 0.95
        });
        let held = held.count();
        println!("{sides:?}: {held} of 400 groups");
        near(held as f64 / 400.0, 0.90, 0.06);
    }
}

#[test]
fn refusals() {
    assert_eq!(one_sided_factor(1, 0.9, 0.9).unwrap_err().code(), "too_few");
    assert_eq!(two_sided_factor(5, 1.0, 0.9).unwrap_err().code(), "out_of_range");
    assert_eq!(
        tolerance_interval(&[1.0; 5], 0.9, 0.9, Sides::Both)
            .unwrap_err()
            .code(),
        "no_variance"
    );
    assert_eq!(
        free_interval(&[1.0; 100], 0.9, 0.9, Sides::Both)
            .unwrap_err()
            .code(),
        "no_variance"
    );
}
