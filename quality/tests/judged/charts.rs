//! Control charts against published constants and examples.

#![allow(clippy::approx_constant)] // 1.1283792 is a table's

use crate::common;
use common::{cases, near};
use quality::charts::*;

/// d2 and d3 by scipy quadrature of their definitions, c4 by the gamma ratio; agree with the printed tables of the
/// NIST/SEMATECH e-Handbook 6.3.2.1 within their three decimals. n, d2, d3, c4, A2, A3, D3, D4, B3, B4, E2.
const TABLE: &str = "\
2,1.1283792,0.8525025,0.7978846,1.879971,2.658681,0,3.266532,0,3.266532,2.658681
3,1.6925688,0.8883680,0.8862269,1.023327,1.954410,0,2.574591,0,2.568170,1.772454
4,2.0587507,0.8798082,0.9213177,0.728597,1.628103,0,2.282052,0,2.266047,1.457194
5,2.3259289,0.8640819,0.9399856,0.576819,1.427299,0,2.114499,0,2.088998,1.289807
6,2.5344127,0.8480397,0.9515329,0.483246,1.287128,0,2.003830,0.030363,1.969637,1.183706
7,2.7043568,0.8332053,0.9593688,0.419284,1.181916,0.075708,1.924292,0.117685,1.882315,1.109321
8,2.8472006,0.8198315,0.9650305,0.372527,1.099095,0.136171,1.863829,0.185090,1.814910,1.053667
9,2.9700263,0.8078343,0.9693107,0.336697,1.031661,0.184013,1.815987,0.239133,1.760867,1.010092
10,3.0775055,0.7970507,0.9726593,0.308264,0.975350,0.223023,1.776977,0.283706,1.716294,0.974815";

#[test]
fn constants_of_the_tables() {
    for line in TABLE.lines() {
        let row: Vec<f64> = line.split(',').map(|v| v.parse().unwrap()).collect();
        let c = constants(row[0] as usize).unwrap();
        let found = [
            c.d2,
            c.d3,
            c.c4,
            c.a2(),
            c.a3(),
            c.lower_range(),
            c.upper_range(),
            c.lower_spread(),
            c.upper_spread(),
            c.e2(),
        ];
        for (found, expected) in found.iter().zip(&row[1..]) {
            near(*found, *expected, 1e-6);
        }
    }
    // Printed for 25 (ASTM E2587, from memory): d2 3.931, d3 0.708, c4 0.9896.
    let c = constants(25).unwrap();
    near(c.d2, 3.931, 5e-4);
    near(c.d3, 0.708, 5e-4);
    near(c.c4, 0.9896, 5e-5);
    assert_eq!(constants(1).unwrap_err().code(), "out_of_range");
    assert_eq!(constants(51).unwrap_err().code(), "out_of_range");
}

/// Duncan, table D3, for one group.
#[test]
fn constants_for_few_ranges() {
    for (n, expected) in (2..=10).zip([1.41, 1.91, 2.24, 2.48, 2.67, 2.83, 2.96, 3.08, 3.18]) {
        near(range_of_means(n, 1).unwrap(), expected, 5e-3);
    }
}

/// e-Handbook 6.3.2.2 (data from memory; limits with the exact d2).
#[test]
fn individuals_of_the_handbook() {
    let values = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
    let pair = individuals(&values, Baseline::All, &NELSON).unwrap();
    near(pair.location.centre, 50.81, 1e-10);
    near(pair.spread.centre, 1.877778, 1e-6);
    near(pair.location.points[3].lower, 45.81759, 1e-4);
    near(pair.location.points[3].upper, 55.80241, 1e-4);
    // With the printed d2 of 1.128 the handbook has 45.8159 and 55.8041.
    let printed = 50.81 + 3.0 * pair.spread.centre / 1.128;
    near(printed, 55.8041, 1e-4);
    assert!(pair.location.in_control() && pair.spread.in_control());
    assert_eq!(pair.spread.points.len(), values.len() - 1);
}

#[test]
fn a_baseline_judges_what_comes_after() {
    let mut values = vec![0.0, 1.0, 0.0, 1.0, 0.0, 1.0, 0.5, 0.2, 0.9, 0.4];
    values.push(9.0);
    let ahead = individuals(&values, Baseline::First(10), &NELSON).unwrap();
    assert_eq!(ahead.location.signals[0].last, 10);
    assert_eq!(ahead.location.signals[0].rule, RunRule::OneBeyondThreeSigma);
    assert_eq!(ahead.spread.signals[0].last, 9);
    let known = Baseline::Known {
        centre: 9.0,
        sigma: 0.1,
    };
    let known = individuals(&values, known, &[RunRule::OneBeyondThreeSigma]).unwrap();
    assert_eq!(known.location.signals.len(), 10);
}

const EWMA_VALUES: [f64; 20] = [
    52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6,
    52.4, 53.6, 52.1,
];

/// e-Handbook 6.3.2.4.
#[test]
fn ewma_of_the_handbook() {
    let mut settings = EwmaSettings {
        target: 50.0,
        sigma: 2.0539,
        weight: 0.3,
        width: 3.0,
        limits: EwmaLimits::Steady,
    };
    let chart = ewma(&EWMA_VALUES, &settings).unwrap();
    let printed = [
        50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05,
        49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
    ];
    for (point, expected) in chart.points.iter().zip(printed) {
        near(point.value, expected, 5.001e-3);
        near(point.lower, 47.4115, 2e-4);
        near(point.upper, 52.5884, 2e-4);
    }
    assert!(chart.in_control());
    // Exact limits begin at λσL and end at the steady ones.
    settings.limits = EwmaLimits::Exact;
    let exact = ewma(&EWMA_VALUES, &settings).unwrap();
    near(exact.points[0].upper, 50.0 + 3.0 * 0.3 * 2.0539, 1e-12);
    near(exact.points[19].upper, 52.5884, 2e-4);
    // A shift of one sigma is found within twenty values.
    let shifted: Vec<f64> = EWMA_VALUES.iter().map(|v| v + 2.0539).collect();
    assert!(!ewma(&shifted, &settings).unwrap().in_control());
}

/// e-Handbook 6.3.2.3 (data, h and k from memory; the sums are arithmetic): target 325, k 0.3175, h 4.1959.
#[test]
fn cusum_of_the_handbook() {
    let values = [
        324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600, 324.625,
        325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350,
    ];
    let settings = CusumSettings {
        target: 325.0,
        allowance: 0.3175,
        height: 4.1959,
    };
    let found = cusum(&values, &settings).unwrap();
    let high = [
        0.0, 0.0, 0.0, 0.0, 0.03, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44,
        16.00, 19.04,
    ];
    let low = [
        0.0, 0.01, 0.0, 0.33, 0.0, 0.0, 0.56, 0.72, 0.17, 0.25, 0.31, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
        0.0,
    ];
    for ((point, high), low) in found.points.iter().zip(high).zip(low) {
        near(point.high, high, 6e-3);
        near(point.low, low, 6e-3);
    }
    assert_eq!(found.signal, Some(13));
    assert_eq!(found.begun, Some(12));
}

/// Western Electric 1956 and Nelson 1984: eight points on one side are rule 4 there, nine rule 2 here.
#[test]
fn eight_or_nine_on_one_side() {
    let mut z = vec![0.5; 8];
    let rules =
        |z: &[f64], set: &[RunRule]| -> Vec<RunRule> { signals(z, set).iter().map(|s| s.rule).collect() };
    assert_eq!(rules(&z, &WESTERN_ELECTRIC), [RunRule::EightOnOneSide]);
    assert_eq!(rules(&z, &NELSON), []);
    z.push(0.5);
    assert_eq!(rules(&z, &NELSON), [RunRule::NineOnOneSide]);
    z[4] = -0.1;
    assert_eq!(rules(&z, &NELSON), []);
}

/// Each rule by the shortest pattern that shows it, and by that pattern with one point amiss.
#[test]
fn each_rule_at_its_edge() {
    let up_down: Vec<f64> = (0..14).map(|i| if i % 2 == 0 { 0.3 } else { -0.4 }).collect();
    let patterns: [(RunRule, Vec<f64>, usize, f64); 9] = [
        (RunRule::OneBeyondThreeSigma, vec![-3.01], 0, -2.99),
        (RunRule::TwoOfThreeBeyondTwoSigma, vec![2.1, 0.0, 2.1], 0, 1.9),
        (
            RunRule::FourOfFiveBeyondOneSigma,
            vec![-1.1, -1.1, 0.5, -1.1, -1.1],
            1,
            -0.9,
        ),
        (RunRule::EightOnOneSide, vec![-0.2; 8], 3, 0.1),
        (RunRule::NineOnOneSide, vec![0.2; 9], 0, -0.1),
        (
            RunRule::SixRisingOrFalling,
            vec![-1.0, -0.5, 0.0, 0.1, 0.2, 0.9],
            3,
            0.2,
        ),
        (RunRule::FourteenUpAndDown, up_down, 6, -0.5),
        (RunRule::FifteenWithinOneSigma, vec![-0.9; 15], 14, 1.1),
        (
            RunRule::EightBeyondOneSigma,
            vec![1.1, -1.1, 1.1, -1.1, 1.1, 1.1, -1.1, 1.1],
            5,
            0.9,
        ),
    ];
    for (rule, mut z, at, amiss) in patterns {
        let found = signals(&z, &[rule]);
        assert_eq!(found.len(), 1, "{}", rule.words());
        assert_eq!((found[0].first, found[0].last), (0, rule.span() - 1));
        z[at] = amiss;
        assert!(signals(&z, &[rule]).is_empty(), "{}", rule.words());
    }
    let falling = [0.9, 0.2, 0.1, 0.0, -0.5, -1.0];
    assert_eq!(signals(&falling, &[RunRule::SixRisingOrFalling]).len(), 1);
    // When a pattern is over it does not signal again.
    assert_eq!(
        signals(&[2.1, 2.1, 0.0], &[RunRule::TwoOfThreeBeyondTwoSigma]).len(),
        0
    );
}

/// Points of 200,000 normal values that signal: 0.0027 by three sigma; about 0.023 by all of Nelson's rules and 0.016 by
/// Western Electric's together, by simulation elsewhere (rates as quoted there, rel. 0.35).
#[test]
fn false_alarms() {
    let z = common::normals(200_000, 5);
    let rate = |rules: &[RunRule]| {
        let mut last: Vec<usize> = signals(&z, rules).iter().map(|s| s.last).collect();
        last.dedup();
        last.len() as f64 / z.len() as f64
    };
    for (rules, expected) in [
        (&[RunRule::OneBeyondThreeSigma][..], 0.0027),
        (&NELSON, 0.023),
        (&WESTERN_ELECTRIC, 0.016),
    ] {
        let found = rate(rules);
        println!("{} rules: {found:.5}", rules.len());
        common::near_share(found, expected, 0.35);
    }
}

/// Beside numpy with printed constants.
#[test]
fn subgroups_beside_numpy() {
    for case in cases("subgroups") {
        let groups: Vec<Vec<f64>> = case.list("in.x").chunks(5).map(<[f64]>::to_vec).collect();
        for (within, name) in [(Within::Range, "r"), (Within::StandardDeviation, "s")] {
            let pair = subgroups(&groups, within, Baseline::All, &WESTERN_ELECTRIC).unwrap();
            let of = |what: &str| case.number(&format!("{name}_{what}"));
            near(pair.location.centre, case.number("centre"), 1e-10);
            near(pair.location.points[0].lower, of("mean_low"), 2e-6);
            near(pair.location.points[5].upper, of("mean_high"), 2e-6);
            near(pair.spread.centre, of("centre"), 1e-10);
            near(pair.spread.points[1].lower, of("low"), 2e-6);
            near(pair.spread.points[1].upper, of("high"), 2e-6);
        }
        near(
            pooled_spread(&groups).unwrap().sigma,
            case.number("pooled"),
            1e-10,
        );
    }
    // Sizes may differ; larger groups have narrower limits, and sigma lies between those of the groups.
    let groups = [vec![1.0, 2.0], vec![1.0, 1.5, 2.5, 0.5, 1.2], vec![0.7, 1.9]];
    let pair = subgroups(&groups, Within::StandardDeviation, Baseline::All, &[]).unwrap();
    let width = |i: usize| pair.location.points[i].upper - pair.location.points[i].lower;
    near(width(0) / width(1), 2.5_f64.sqrt(), 1e-12);
}

/// Over many runs the mean of the estimates is the true sigma, and their scatter what the degrees of freedom say.
#[test]
fn moving_ranges_estimate_sigma_without_bias() {
    let z = common::normals(40_000, 8);
    let found: Vec<_> = z.chunks(20).map(|c| moving_range_spread(c).unwrap()).collect();
    let mean = found.iter().map(|s| s.sigma).sum::<f64>() / found.len() as f64;
    let squares: f64 = found.iter().map(|s| (s.sigma - mean).powi(2)).sum();
    let scatter = squares / found.len() as f64;
    near(mean, 1.0, 0.015);
    common::near_share(scatter, 0.5 / found[0].dof, 0.15);
}

#[test]
fn refusals() {
    assert_eq!(
        individuals(&[1.0], Baseline::All, &[]).unwrap_err().code(),
        "too_few"
    );
    assert_eq!(
        individuals(&[1.0, 1.0, 1.0], Baseline::All, &[])
            .unwrap_err()
            .code(),
        "no_variance"
    );
    assert_eq!(
        individuals(&[1.0, f64::NAN], Baseline::All, &[])
            .unwrap_err()
            .code(),
        "non_finite"
    );
    assert_eq!(
        individuals(&[1.0, 2.0], Baseline::First(3), &[])
            .unwrap_err()
            .code(),
        "too_few"
    );
    assert_eq!(
        individuals(&[1.0, 2.0], Baseline::First(0), &[])
            .unwrap_err()
            .code(),
        "too_few"
    );
    let known = Baseline::Known {
        centre: 0.0,
        sigma: 0.0,
    };
    assert_eq!(
        individuals(&[1.0, 2.0], known, &[]).unwrap_err().code(),
        "out_of_range"
    );
    let one = [vec![1.0], vec![2.0]];
    assert_eq!(
        subgroups(&one, Within::Range, Baseline::All, &[])
            .unwrap_err()
            .code(),
        "out_of_range"
    );
    let flat = [vec![1.0, 1.0], vec![2.0, 2.0]];
    assert_eq!(
        subgroups(&flat, Within::Range, Baseline::All, &[])
            .unwrap_err()
            .code(),
        "no_variance"
    );
    assert_eq!(
        subgroups(&flat, Within::Range, Baseline::First(3), &[])
            .unwrap_err()
            .code(),
        "too_few"
    );
    assert_eq!(pooled_spread(&one).unwrap_err().code(), "too_few");
}
