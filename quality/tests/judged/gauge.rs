//! Gauge studies against published examples, statsmodels and coverage over simulated studies.

#![allow(clippy::unwrap_used, clippy::approx_constant)] // helpers may fail the test; 3.14 is a reading

use crate::common;
use common::{cases, near};
use quality::Summary;
use quality::charts::Baseline;
use quality::gauge::*;

/// Parts × operators × trials of a published worked example (AIAG MSA-4, analysis of variance).
const STUDY: [[[f64; 3]; 3]; 5] = [
    [[3.29, 3.41, 3.64], [3.08, 3.25, 3.07], [3.04, 2.89, 2.85]],
    [[2.44, 2.32, 2.42], [2.53, 1.78, 2.32], [1.62, 1.87, 2.04]],
    [[4.34, 4.17, 4.27], [4.19, 3.94, 4.34], [3.88, 4.09, 3.67]],
    [[3.47, 3.50, 3.64], [3.01, 4.03, 3.20], [3.14, 3.20, 3.11]],
    [[2.20, 2.08, 2.16], [2.44, 1.80, 1.72], [1.54, 1.93, 1.55]],
];

fn cells() -> Vec<Vec<Vec<f64>>> {
    STUDY
        .iter()
        .map(|part| part.iter().map(|cell| cell.to_vec()).collect())
        .collect()
}

/// From a list, part by part and within it operator by operator.
fn crossed(values: &[f64], [parts, operators, repeats]: [usize; 3]) -> Crossed {
    let cells: Vec<Vec<Vec<f64>>> = values
        .chunks(operators * repeats)
        .map(|part| part.chunks(repeats).map(<[f64]>::to_vec).collect())
        .collect();
    assert_eq!(cells.len(), parts);
    Crossed::new(&cells).unwrap()
}

#[test]
fn worked_example_by_analysis_of_variance() {
    let found = study(&Crossed::new(&cells()).unwrap(), &Settings::default()).unwrap();
    near(found.interaction.p.unwrap(), 0.9964, 5e-5);
    assert!(found.pooled);
    let v = &found.variation;
    near(v.repeatability.variance, 0.0468, 5e-4);
    near(v.operator.variance, 0.0512, 5e-4);
    near(v.interaction.variance, 0.0, 0.0);
    near(v.part.variance, 0.7978, 5e-4);
    near(v.total.variance, 0.8958, 5e-4);
    near(v.percent_contribution(&v.gauge), 10.94, 0.01);
    near(v.percent_study(&v.gauge), 33.07, 0.01);
    near(v.percent_study(&v.repeatability), 22.85, 0.01);
    near(v.percent_study(&v.reproducibility), 23.91, 0.01);
    near(v.percent_study(&v.part), 94.37, 0.01);
    assert_eq!(v.distinct_categories(), 4);
    assert_eq!(Fitness::of(v.percent_study(&v.gauge)), Fitness::Unfit);
    // Six of 0.3130 in limits 10 wide.
    near(v.percent_tolerance(&v.gauge, 10.0).unwrap(), 18.78, 0.01);
    // Intervals surround the values; repeatability by chi-square: 0.0468·38/χ² with 38 degrees of freedom (scipy).
    let within = v.repeatability.interval.unwrap();
    near(within.low / v.repeatability.variance, 38.0 / 56.8955, 1e-4);
    near(within.high / v.repeatability.variance, 38.0 / 22.8785, 1e-4);
    assert!(found.percent_study.holds(33.07) && found.category_ratio.holds(4.03));
}

/// Average and range method of the same source: 10 parts, 3 operators, 3 trials.
#[test]
fn worked_example_by_ranges() {
    let found = study_of_ranges(&RangeSummary {
        mean_range: 0.342,
        operator_range: 0.445,
        part_range: 3.511,
        parts: 10,
        operators: 3,
        repeats: 3,
    })
    .unwrap();
    near(found.repeatability.sd(), 0.202, 1e-3);
    near(found.operator.sd(), 0.230, 1e-3);
    near(found.gauge.sd(), 0.306, 1e-3);
    near(found.part.sd(), 1.104, 1e-3);
    near(found.total.sd(), 1.146, 1e-3);
    near(found.percent_study(&found.gauge), 26.68, 0.05);
}

#[test]
fn both_methods_agree_where_there_is_no_interaction() {
    let values = Crossed::new(&cells()).unwrap();
    let ranges = study_by_ranges(&values).unwrap();
    let anova = study(&values, &Settings::default()).unwrap().variation;
    for (a, b) in [
        (ranges.repeatability, anova.repeatability),
        (ranges.operator, anova.operator),
        (ranges.part, anova.part),
    ] {
        common::near_share(a.sd(), b.sd(), 0.15);
    }
}

/// Sums of squares and the test of the interaction beside `statsmodels.stats.anova.anova_lm`.
#[test]
fn beside_statsmodels() {
    for case in cases("gauge") {
        let [parts, operators, repeats] = [0, 1, 2].map(|i| case.list("in.shape")[i] as usize);
        let values = crossed(case.list("in.y"), [parts, operators, repeats]);
        let never = Settings {
            pooling_alpha: 1.0,
            ..Settings::default()
        };
        let found = study(&values, &never).unwrap();
        let squares = [
            found.parts,
            found.operators,
            found.interaction,
            found.repeatability,
        ]
        .map(|s| s.squares);
        for (found, expected) in squares.iter().zip(case.list("ss")) {
            common::near_share(*found, *expected, 1e-9);
        }
        near(found.interaction.f.unwrap(), case.number("f_interaction"), 1e-8);
        near(found.interaction.p.unwrap(), case.number("p_interaction"), 1e-8);
        let small = Settings {
            pooling_alpha: 0.05,
            ..Settings::default()
        };
        assert_eq!(
            study(&values, &small).unwrap().pooled,
            case.number("p_interaction") > 0.05
        );
    }
}

/// Simulated studies of known variances: intervals hold the truth about as often as they say, and point estimates are
/// right in the mean.
#[test]
fn coverage() {
    let [p, o, r] = [10, 3, 3];
    let [part_sd, operator_sd, both_sd, within_sd] = [2.0, 0.6, 0.5, 0.8];
    let runs = 120;
    let each = p + o + p * o + p * o * r;
    let z = common::normals(runs * each, 77);
    let truth = [
        within_sd * within_sd,
        operator_sd * operator_sd + both_sd * both_sd + within_sd * within_sd,
        part_sd * part_sd,
    ];
    let mut held = [0; 3];
    let mut sum = 0.0;
    for z in z.chunks(each) {
        let values: Vec<f64> = (0..p * o * r)
            .map(|i| {
                let (part, operator) = (i / (o * r), i / r % o);
                part_sd * z[part]
                    + operator_sd * z[p + operator]
                    + both_sd * z[p + o + part * o + operator]
                    + within_sd * z[p + o + p * o + i]
            })
            .collect();
        let settings = Settings {
            draws: 800,
            ..Settings::default()
        };
        let found = study(&crossed(&values, [p, o, r]), &settings).unwrap().variation;
        let components = [found.repeatability, found.gauge, found.part];
        for ((held, component), truth) in held.iter_mut().zip(components).zip(truth) {
            *held += usize::from(component.interval.unwrap().holds(truth));
        }
        sum += found.gauge.variance;
    }
    println!("of {runs} intervals of repeatability, gauge and part {held:?} hold the truth");
    for held in held {
        // 0.95 less four standard errors; none wider than always.
        assert!(held as f64 / runs as f64 > 0.87, "{held} of {runs}");
    }
    common::near_share(sum / runs as f64, truth[1], 0.2);
}

#[test]
fn a_plan_is_balanced_random_and_repeatable() {
    let made = plan(10, 3, 3, 0.95, 7).unwrap();
    assert_eq!(made.steps.len(), 90);
    assert_eq!(made, plan(10, 3, 3, 0.95, 7).unwrap());
    assert_ne!(made.steps, plan(10, 3, 3, 0.95, 8).unwrap().steps);
    assert!(made.weaknesses.is_empty());
    let mut sorted: Vec<(usize, usize, usize)> = made
        .steps
        .iter()
        .map(|s| (s.part, s.operator, s.repeat))
        .collect();
    sorted.sort_unstable();
    sorted.dedup();
    assert_eq!(sorted.len(), 90);
    // A round holds every pair once, each operator in an order of his own.
    for round in made.steps.chunks(30) {
        assert!(round.iter().all(|s| s.repeat == round[0].repeat));
        let orders: Vec<Vec<usize>> = round
            .chunks(10)
            .map(|c| c.iter().map(|s| s.part).collect())
            .collect();
        assert!(orders[0] != orders[1] && orders[1] != orders[2]);
        assert!(orders[0] != (0..10).collect::<Vec<_>>());
    }
    // scipy: sqrt(60/chi2.ppf([0.975, 0.025], 60)).
    near(made.repeatability_interval.low, 0.848710, 1e-6);
    near(made.repeatability_interval.high, 1.217436, 1e-6);
    assert_eq!(
        plan(4, 2, 2, 0.95, 1).unwrap().weaknesses,
        [
            Weakness::FewParts,
            Weakness::FewOperators,
            Weakness::FewMeasurements
        ]
    );
    assert_eq!(plan(1, 2, 2, 0.95, 1).unwrap_err().code(), "too_few");
}

/// AIAG MSA-4, bias: reference 36, 15 repeats with mean 36.00667 and standard deviation 0.21202.
#[test]
fn worked_example_of_bias() {
    let summary = Summary {
        n: 15,
        mean: 36.00667,
        sd: 0.21202,
    };
    let found = bias_of(&summary, 36.0, 0.0, 0.95).unwrap();
    near(found.value, 0.00667, 1e-9);
    near(found.interval.low + 36.0, 35.88925, 1e-4);
    near(found.interval.high + 36.0, 36.12408, 1e-4);
    assert!(!found.significant);
    // A reference that is uncertain itself widens the interval.
    let wide = bias_of(&summary, 36.0, 0.1, 0.95).unwrap();
    assert!(wide.interval.high > found.interval.high && wide.std_error > 0.1);
    assert!(bias_of(&summary, 35.8, 0.0, 0.95).unwrap().significant);
}

/// AIAG MSA-4, linearity, from the mean biases of equally many readings.
#[test]
fn worked_example_of_linearity() {
    let found = linearity(&[7.0, 9.0, 11.0, 13.0, 15.0], &[0.49, 0.16, 0.02, -0.28, -0.61]).unwrap();
    near(found.slope, -0.132, 5e-4);
    near(found.intercept, 1.408, 5e-4);
    assert!(found.slope_p < 0.01 && found.curved_p.is_none());
}

#[test]
fn linearity_beside_statsmodels() {
    for case in cases("linearity") {
        let found = linearity(case.list("in.r"), case.list("in.b")).unwrap();
        for (found, name) in [
            (found.slope, "slope"),
            (found.slope_u, "slope_u"),
            (found.slope_p, "slope_p"),
            (found.intercept, "intercept"),
            (found.intercept_u, "intercept_u"),
            (found.intercept_p, "intercept_p"),
            (found.r2, "r2"),
        ] {
            near(found, case.number(name), 1e-10);
        }
        near(found.curved_p.unwrap(), case.number("curved_p"), 1e-10);
        // A parabola on top is noticed.
        let bent: Vec<f64> = case
            .list("in.b")
            .iter()
            .zip(case.list("in.r"))
            .map(|(b, r)| b + 0.06 * (r - 6.0).powi(2))
            .collect();
        assert!(linearity(case.list("in.r"), &bent).unwrap().curved_p.unwrap() < 1e-3);
        let interval = found.bias_at(6.0, 0.95);
        near(
            0.5 * (interval.low + interval.high),
            found.intercept + 6.0 * found.slope,
            1e-12,
        );
    }
}

#[test]
fn a_check_unit_that_creeps() {
    let z = common::normals(60, 4);
    let good: Vec<f64> = z.iter().map(|z| 5.0 + 0.02 * z).collect();
    let known = Baseline::Known {
        centre: 5.0,
        sigma: 0.02,
    };
    let found = check_unit(&good[..30], known).unwrap();
    assert!(found.is_good(), "{found:?}");
    // From the fortieth check on it creeps by a tenth of its spread each time.
    let creeps: Vec<f64> = good
        .iter()
        .enumerate()
        .map(|(i, v)| v + 0.004 * i.saturating_sub(39) as f64)
        .collect();
    let found = check_unit(&creeps, known).unwrap();
    assert!(!found.is_good());
    assert!(
        (30..57).contains(&found.last_good.unwrap()),
        "{:?}",
        found.last_good
    );
}

/// How often a check of a unit that does not change signals at all, in 300 runs of 60 checks.
#[test]
fn false_alarms_of_a_check_unit() {
    let z = common::normals(18_000, 6);
    let known = Baseline::Known {
        centre: 0.0,
        sigma: 1.0,
    };
    let mut bad = 0;
    for run in z.chunks(60) {
        let found = check_unit(run, known).unwrap();
        let mut at: Vec<usize> = found
            .pair
            .location
            .signals
            .iter()
            .chain(&found.average.signals)
            .map(|s| s.last)
            .collect();
        at.extend(found.pair.spread.signals.iter().map(|s| s.last + 1));
        at.sort_unstable();
        at.dedup();
        bad += at.len();
    }
    let share = bad as f64 / z.len() as f64;
    println!("false alarms: {share:.4} of checks");
    near(share, 0.02, 0.007);
}

#[test]
fn refusals() {
    let code = |cells: &[Vec<Vec<f64>>]| Crossed::new(cells).unwrap_err();
    let mut missing = cells();
    missing[3][1].pop();
    let refusal = code(&missing);
    assert_eq!(refusal.code(), "unbalanced");
    assert!(refusal.to_string().contains("part 4, operator 2"), "{refusal}");
    missing[3].pop();
    assert_eq!(code(&missing).code(), "unbalanced");
    assert_eq!(code(&cells()[..1]).code(), "too_few");
    assert_eq!(
        code(&[vec![vec![1.0, 2.0]], vec![vec![1.0, 2.0]]]).code(),
        "too_few"
    );
    assert_eq!(code(&[vec![vec![1.0]; 2], vec![vec![2.0]; 2]]).code(), "too_few");
    assert_eq!(
        code(&[vec![vec![1.0; 2]; 2], vec![vec![2.0; 2]; 2]]).code(),
        "no_variance"
    );
    let mut gap = cells();
    gap[0][0][0] = f64::NAN;
    assert_eq!(code(&gap).code(), "non_finite");
    assert_eq!(
        linearity(&[1.0, 2.0], &[1.0]).unwrap_err().code(),
        "length_mismatch"
    );
    assert_eq!(
        linearity(&[1.0; 4], &[1.0, 2.0, 3.0, 4.0]).unwrap_err().code(),
        "no_variance"
    );
    assert_eq!(bias(&[1.0], 1.0, 0.0, 0.95).unwrap_err().code(), "too_few");
    assert_eq!(
        bias(&[1.0, 1.0], 1.0, 0.0, 0.95).unwrap_err().code(),
        "no_variance"
    );
}
