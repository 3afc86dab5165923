//! Combination of uncertainties and quantiles against JCGM 100 and tables (checks GU-3, DI-1, QU-1).
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use crate::common;
use truerim_analysis::estimate::*;
use truerim_analysis::statistics::*;

/// GU-3, JCGM 100 G.4.1: 0.25 %, 0.57 %, 0.82 % from 10, 5 and 15 observations.
#[test]
fn effective_degrees_of_freedom() {
    let budget = vec![
        Contribution::type_a("a", 0.25, 9.0),
        Contribution::type_a("b", 0.57, 4.0),
        Contribution::type_a("c", 0.82, 14.0),
    ];
    let e = Estimate::from_budget(0.0, "1", 15, "test", budget).unwrap();
    assert!((e.std_uncertainty - 1.0295).abs() < 1e-3 && (e.dof - 18.999).abs() < 1e-3);
    assert!((e.interval[1] - 2.09 * 1.03).abs() < 5e-3, "{}", e.interval[1]);
    assert!((e.interval[0] + e.interval[1]).abs() < 1e-15);
}

/// JCGM 100, 5.1.2: independent contributions add in squares; 3 and 4 make 5.
#[test]
fn one_more_contribution_adds_in_squares_and_keeps_the_checks() {
    let made = Estimate::from_budget(1.0, "s", 7, "test", vec![Contribution::type_b("a", 3.0)]).unwrap();
    let made = made.with_checks([Check::new("hand", false, "said")]);
    let more = made.with_contribution(Contribution::type_b("b", 4.0)).unwrap();
    assert!((more.std_uncertainty - 5.0).abs() < 1e-12 && more.budget.len() == 2);
    assert!((more.value - 1.0).abs() < 1e-15 && more.n == 7 && !more.all_checks_passed());
}

/// DI-1 and DI-4 (scipy 1.17.1).
#[test]
fn coverage_factors() {
    for (dof, t) in [
        (1.0, 12.706_204_74),
        (2.0, 4.302_652_730),
        (5.0, 2.570_581_836),
        (10.0, 2.228_138_852),
        (30.0, 2.042_272_456),
        (f64::INFINITY, 1.959_963_985),
    ] {
        let found = coverage_factor(0.95, dof).unwrap();
        assert!((found - t).abs() < 1e-8, "{dof}: {found}");
    }
    assert_eq!(coverage_factor(1.0, 5.0).unwrap_err().code(), "out_of_range");
    assert_eq!(coverage_factor(0.95, 0.0).unwrap_err().code(), "out_of_range");
}

#[test]
fn documents_hold_infinite_dof_as_null_and_come_back() {
    let e = Estimate::from_budget(1.5, "s", 3, "test", vec![Contribution::rectangular("b", 0.3)]).unwrap();
    let outcome = Outcome::from(e);
    let text = serde_json::to_string(&outcome).unwrap();
    assert!(
        text.starts_with(r#"{"status":"estimate""#) && text.contains(r#""dof":null"#),
        "{text}"
    );
    assert_eq!(serde_json::from_str::<Outcome>(&text).unwrap(), outcome);
    let refused = Outcome::from(Refusal::TooFewRepeats {
        what: "latency".into(),
        got: 1,
        needed: 5,
    });
    let text = serde_json::to_string(&refused).unwrap();
    assert!(
        text.starts_with(r#"{"status":"refused","code":"too_few_repeats","message":"latency: 1 usable"#),
        "{text}"
    );
    assert_eq!(serde_json::from_str::<Outcome>(&text).unwrap(), refused);
}

#[test]
fn what_is_not_a_number_is_no_estimate() {
    let bad = |v, u| {
        Estimate::from_budget(v, "s", 1, "test", vec![Contribution::type_b("b", u)])
            .unwrap_err()
            .code()
    };
    assert_eq!(bad(f64::NAN, 1.0), "non_finite");
    assert_eq!(bad(1.0, f64::INFINITY), "non_finite");
    assert_eq!(bad(1.0, -1.0), "non_finite");
    let lone = vec![Contribution::type_a("one repeat", 0.1, 0.0)];
    assert_eq!(
        Estimate::from_budget(1.0, "s", 1, "test", lone)
            .unwrap_err()
            .code(),
        "too_few_repeats"
    );
}

/// QU-1 (numpy 2.4.6: default quantile, std with ddof=1 is 1.5644427) and NIST's NumAcc1 and NumAcc3, whose data have a rule.
#[test]
fn quantiles_and_means() {
    let x = [3.1, 2.7, 4.4, 2.9, 3.3, 8.2, 3.0, 2.8, 3.6, 3.2, 2.95, 5.1];
    for (q, v) in [(0.5, 3.15), (0.9, 5.03), (0.95, 6.495), (0.99, 7.859)] {
        assert!((quantile(&x, q).unwrap() - v).abs() < 1e-7);
    }
    assert!((median_absolute_deviation(&x).unwrap() - 0.3).abs() < 1e-7);
    assert!((mean_sd(&x).unwrap().sd - 1.564_442_7).abs() < 1e-7);
    let acc1 = [10_000_001.0, 10_000_003.0, 10_000_002.0];
    let m = mean_sd(&acc1).unwrap();
    assert!((m.mean - 10_000_002.0).abs() < 1e-15 && (m.sd - 1.0).abs() < 1e-15);
    assert!((lag1_autocorrelation(&acc1).unwrap() + 0.5).abs() < 1e-12);
    let mut acc3 = vec![1_000_000.2];
    acc3.extend((0..500).flat_map(|_| [1_000_000.1, 1_000_000.3]));
    let m = mean_sd(&acc3).unwrap();
    assert!((m.mean / 1_000_000.2 - 1.0).abs() < 1e-12 && (m.sd / 0.1 - 1.0).abs() < 1e-9);
    assert!((lag1_autocorrelation(&acc3).unwrap() + 0.999).abs() < 1e-8);
}

/// Medians of exponential repeats: the bootstrap's interval holds the true median (ln 2) about as often as it says, and the
/// same seed gives the same numbers.
#[test]
fn bootstrap_covers_and_is_seeded() {
    let of =
        |repeats: &[f64], seed| bootstrap(repeats, median, "s", "median", 5, 400, seed, Vec::new()).unwrap();
    let mut random = common::Random::new(8);
    let (mut inside, runs) = (0, 300);
    for seed in 0..runs {
        let repeats: Vec<f64> = (0..25).map(|_| -random.uniform().ln()).collect();
        let e = of(&repeats, seed);
        assert_eq!(e, of(&repeats, seed));
        inside += usize::from(e.interval[0] <= 2.0_f64.ln() && 2.0_f64.ln() <= e.interval[1]);
    }
    let share = inside as f64 / runs as f64;
    println!("inside {share}");
    // Percentile intervals of a median at n = 25 are known to cover near 95 %; 300 draws scatter by 1.3 %.
    assert!((0.91..=0.99).contains(&share), "{share}");
    let few = bootstrap(&[1.0; 4], median, "s", "median", 2, 400, 1, Vec::new());
    assert_eq!(few.unwrap_err().code(), "too_few_repeats");
    let short = bootstrap(&[1.0; 9], median, "s", "median", 2, 50, 1, Vec::new());
    assert_eq!(short.unwrap_err().code(), "out_of_range");
}
