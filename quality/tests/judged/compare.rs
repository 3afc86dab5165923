//! Differences, equivalence and many tests at once.

use crate::common::{cases, near};
use quality::compare::*;
use quality::{Refusal, Summary};

/// NIST/SEMATECH e-Handbook 1.3.5.3, mileage of two fleets, unequal variances: t and degrees of freedom as printed there
/// for these means and standard deviations (values from memory).
#[test]
fn two_fleets() {
    let first = Summary {
        n: 249,
        mean: 20.14458,
        sd: 6.414700,
    };
    let second = Summary {
        n: 79,
        mean: 30.48101,
        sd: 6.107710,
    };
    let found = difference(&first.into(), &second.into(), 0.95).unwrap();
    near(found.t, -12.94627, 1e-5);
    near(found.dof, 136.8750, 1e-3);
    assert!(found.p < 1e-20 && found.interval.high < 0.0);
}

/// JCGM 100 (GUM), G.4.1 (inputs from memory): 0.25, 0.57 and 0.82 with 9, 4 and 14 degrees of freedom have 19.0. The
/// rule is the same for a sum in steps, so the first two may go before.
#[test]
fn degrees_of_freedom_of_estimates() {
    let mean = |u: f64, dof: f64| Mean {
        value: 1.0,
        std_error: u,
        dof,
    };
    let two = difference(&mean(0.25, 9.0), &mean(0.57, 4.0), 0.95).unwrap();
    let three = difference(&mean(two.std_error, two.dof), &mean(0.82, 14.0), 0.95).unwrap();
    near(three.dof, 18.999, 1e-3);
    near(three.std_error, 1.0295, 1e-4);
    // One side known exactly leaves the other's degrees, scaled.
    let exact = difference(&mean(0.25, f64::INFINITY), &mean(0.25, f64::INFINITY), 0.95).unwrap();
    assert!(exact.dof.is_infinite());
    near(exact.interval.high, 1.959963985 * 0.25 * 2f64.sqrt(), 1e-8);
}

/// Holm 1979: m·p(1), (m−1)·p(2) … never falling, never above 1; statsmodels `multipletests(method="holm")` gives these.
#[test]
fn holm_by_hand() {
    let adjusted = holm(&[0.01, 0.04, 0.03, 0.005]).unwrap();
    for (found, expected) in adjusted.iter().zip([0.03, 0.06, 0.06, 0.02]) {
        near(*found, expected, 1e-15);
    }
    assert_eq!(holm(&[0.9, 0.8]).unwrap(), [1.0, 1.0]);
    assert_eq!(
        holm_rejects(&[0.01, 0.04, 0.03, 0.005], 0.05).unwrap(),
        [true, false, false, true]
    );
    assert!(holm(&[]).unwrap().is_empty());
    assert_eq!(holm(&[0.5, f64::NAN]).unwrap_err().code(), "out_of_range");
}

/// Alike exactly if the interval of level 1 − 2α lies within the margin, for margins around its edge.
#[test]
fn equivalence_is_an_interval_within_a_margin() {
    let a = [5.1, 4.9, 5.0, 5.2, 4.8, 5.05];
    let b = [5.0, 5.1, 4.95, 4.9, 5.15, 5.0, 5.02];
    let found = welch(&a, &b, 0.95).unwrap();
    let tested = equivalence(&found, &Margin::both_sides(1.0).unwrap(), 0.05).unwrap();
    let edge = tested.interval.high.max(-tested.interval.low);
    for (size, alike) in [(edge * 1.001, true), (edge * 0.999, false)] {
        let margin = Margin::both_sides(size).unwrap();
        assert_eq!(equivalence(&found, &margin, 0.05).unwrap().alike, alike);
        let finding = if alike { Finding::Alike } else { Finding::Undecided };
        assert_eq!(judge(&found, &margin, 0.05).unwrap(), finding);
    }
}

#[test]
fn four_findings() {
    let margin = Margin::both_sides(1.0).unwrap();
    let at = |value: f64, u: f64| {
        let mean = |value: f64| Mean {
            value,
            std_error: u,
            dof: f64::INFINITY,
        };
        judge(
            &difference(&mean(value), &mean(0.0), 0.95).unwrap(),
            &margin,
            0.05,
        )
        .unwrap()
    };
    assert_eq!(at(0.0, 0.1), Finding::Alike);
    assert_eq!(at(2.0, 0.1), Finding::Differs);
    assert_eq!(at(-2.0, 0.1), Finding::Differs);
    assert_eq!(at(1.0, 0.1), Finding::DiffersPerhapsLittle);
    assert_eq!(at(0.5, 1.0), Finding::Undecided);
    // A difference that is real but too small to matter.
    assert_eq!(at(0.5, 0.1), Finding::Alike);
}

#[test]
fn refusals() {
    let code = |result: Result<Difference, Refusal>| result.unwrap_err().code();
    assert_eq!(code(welch(&[1.0], &[1.0, 2.0], 0.95)), "too_few");
    assert_eq!(code(welch(&[1.0, f64::NAN], &[1.0, 2.0], 0.95)), "non_finite");
    assert_eq!(code(welch(&[1.0, 1.0], &[2.0, 2.0], 0.95)), "no_variance");
    assert_eq!(code(welch(&[1.0, 3.0], &[2.0, 2.5], 1.0)), "out_of_range");
    assert_eq!(code(paired(&[1.0, 3.0], &[2.0], 0.95)), "length_mismatch");
    assert_eq!(code(paired(&[1.0, 3.0], &[0.0, 2.0], 0.95)), "no_variance");
    // One group without spread is no obstacle.
    assert!(welch(&[1.0, 1.0], &[2.0, 2.5], 0.95).is_ok());
    assert_eq!(Margin::new(1.0, -1.0).unwrap_err().code(), "limits_reversed");
    assert_eq!(Margin::new(0.5, 1.0).unwrap_err().code(), "out_of_range");
    assert_eq!(Margin::both_sides(-1.0).unwrap_err().code(), "out_of_range");
}

/// Beside scipy's `ttest_ind` and `ttest_rel` with their intervals, and one-sided tests against shifted groups.
#[test]
fn beside_scipy() {
    for case in cases("welch") {
        let found = welch(case.list("in.a"), case.list("in.b"), 0.95).unwrap();
        near(found.t, case.number("t"), 1e-10);
        near(found.dof, case.number("dof"), 1e-9);
        near(found.p, case.number("p"), 1e-10);
        near(found.interval.low, case.number("low"), 1e-9);
        near(found.interval.high, case.number("high"), 1e-9);
        let tested = equivalence(&found, &Margin::both_sides(1.5).unwrap(), 0.05).unwrap();
        near(tested.p_low, case.number("tost_p_low"), 1e-10);
        near(tested.p_high, case.number("tost_p_high"), 1e-10);
        near(tested.p, tested.p_low.max(tested.p_high), 0.0);
    }
    for case in cases("paired") {
        let found = paired(case.list("in.a"), case.list("in.b"), 0.95).unwrap();
        near(found.t, case.number("t"), 1e-10);
        near(found.p, case.number("p"), 1e-10);
        near(found.interval.low, case.number("low"), 1e-10);
    }
    for case in cases("holm") {
        let found = holm(case.list("in.p")).unwrap();
        for (found, expected) in found.iter().zip(case.list("adjusted")) {
            near(*found, *expected, 1e-12);
        }
    }
}
