//! Quantiles and distribution functions against published and computed values.

use crate::common;
use common::{cases, near};
use quality::distributions::*;

/// scipy 1.17.1: `stats.t.ppf(0.975, dof)`.
#[test]
fn student() {
    let expected = [12.70620474, 4.302652730, 2.570581836, 2.228138852, 2.042272456];
    for (dof, t) in [1.0, 2.0, 5.0, 10.0, 30.0].into_iter().zip(expected) {
        near(student_quantile(0.975, dof), t, 1e-8);
        near(student_quantile(0.025, dof), -t, 1e-8);
        near(student_two_sided(t, dof), 0.05, 1e-9);
    }
}

/// scipy 1.17.1: `stats.chi2.ppf`.
#[test]
fn chi_square() {
    for (p, dof, x) in [
        (0.025, 9.0, 2.70038950),
        (0.975, 9.0, 19.0227678),
        (0.05, 24.0, 13.8484250),
        (0.95, 24.0, 36.4150285),
    ] {
        near(chi_square_quantile(p, dof), x, 1e-7);
        near(chi_square_below(x, dof) + chi_square_above(x, dof), 1.0, 1e-12);
    }
}

/// scipy 1.17.1: `stats.f.ppf(0.95, a, b)`.
#[test]
fn fisher() {
    for (dof, f) in [
        ([2.0, 18.0], 3.554557146),
        ([9.0, 18.0], 2.456281149),
        ([18.0, 60.0], 1.778446085),
    ] {
        near(fisher_quantile(0.95, dof), f, 1e-8);
        near(fisher_above(f, dof), 0.05, 1e-9);
    }
}

/// scipy 1.17.1: `stats.norm.ppf`.
#[test]
fn normal() {
    for (p, x) in [
        (0.95, 1.644853627),
        (0.975, 1.959963985),
        (0.995, 2.575829304),
        (0.99865, 2.999976993),
    ] {
        near(normal_quantile(p), x, 1e-9);
        near(normal_quantile(1.0 - p), -x, 1e-9);
    }
    // Far tails keep their digits: scipy `stats.norm.sf(10)`.
    near(normal_above(10.0) / 7.619853024160495e-24, 1.0, 1e-10);
}

/// Without noncentrality the noncentral t is Student's; with one degree of freedom at t = 0 it is Φ(−δ).
#[test]
fn noncentral_t_in_its_limits() {
    for dof in [2.0, 9.0, 40.0] {
        for t in [-2.5, 0.3, 1.8] {
            near(noncentral_t_below(t, dof, 0.0), student_below(t, dof), 1e-11);
        }
        near(noncentral_t_below(0.0, dof, 1.3), normal_below(-1.3), 1e-11);
    }
}

/// scipy 1.17.1: `stats.nct.ppf`.
#[test]
fn noncentral_t_beside_scipy() {
    for case in cases("nct") {
        let [dof, delta, p] = ["in.dof", "in.delta", "in.p"].map(|name| case.number(name));
        common::near_share(noncentral_t_quantile(p, dof, delta), case.number("t"), 1e-8);
    }
}

/// Quantiles as numpy has them by default (Hyndman and Fan, type 7); the standard deviation by Python's statistics.stdev.
#[test]
fn quantiles_and_spread_beside_numpy() {
    let values = [3.1, 2.7, 4.4, 2.9, 3.3, 8.2, 3.0, 2.8, 3.6, 3.2, 2.95, 5.1];
    for (q, due) in [(0.5, 3.15), (0.9, 5.03), (0.95, 6.495), (0.99, 7.859)] {
        let is = quality::quantile(&values, q).unwrap();
        assert!((is - due).abs() < 1e-7, "{q}: {is}, not {due}");
    }
    assert!((quality::median_absolute_deviation(&values).unwrap() - 0.3).abs() < 1e-7);
    let summary = quality::Summary::of("values", &values).unwrap();
    assert!((summary.sd - 1.564_442_7).abs() < 1e-7, "{}", summary.sd);
}
