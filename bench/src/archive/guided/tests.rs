#![allow(clippy::unwrap_used, reason = "a test ends with the first surprise")]

use super::*;
use quality::gauge::plan;
use records::{Point, Series};

/// The worked example of AIAG MSA-4, 5 parts x 3 operators x 3 trials (as in `quality/tests/judged/gauge.rs`), N·m.
#[allow(
    clippy::approx_constant,
    reason = "a value of the example that happens to look like pi"
)]
const CELLS: [[[f64; 3]; 3]; 5] = [
    [[3.29, 3.41, 3.64], [3.08, 3.25, 3.07], [3.04, 2.89, 2.85]],
    [[2.44, 2.32, 2.42], [2.53, 1.78, 2.32], [1.62, 1.87, 2.04]],
    [[4.34, 4.17, 4.27], [4.19, 3.94, 4.34], [3.88, 4.09, 3.67]],
    [[3.47, 3.50, 3.64], [3.01, 4.03, 3.20], [3.14, 3.20, 3.11]],
    [[2.20, 2.08, 2.16], [2.44, 1.80, 1.72], [1.54, 1.93, 1.55]],
];

fn studied() -> Studied {
    Studied {
        units: (1..=5).map(|n| format!("U-{n}")).collect(),
        by: ["Ash", "Bo", "Cy"].map(String::from).into(),
        crossed: StudyBy::Operator,
        measurand: "breakaway".into(),
    }
}

/// The first so many steps of the plan as records, each with its value of the example.
fn measured(plan: &Plan, steps: usize) -> ModelData {
    let studied = studied();
    let one = |(at, step): (usize, &quality::gauge::Step)| Measurement {
        recording: 2 * at as i64 + 1,
        fit: Some(2 * at as i64 + 2),
        model: "Base 9".into(),
        serial: studied.units[step.part].clone(),
        firmware: String::new(),
        bench: "north".into(),
        rig: String::new(),
        fixture: String::new(),
        operator: studied.by[step.operator].clone(),
        batch: String::new(),
        procedure: String::new(),
        calibration: String::new(),
        created: String::new(),
        at: at as i64,
        completion: "complete".into(),
        overdue: false,
        sound: true,
        verdict: None,
        warning: false,
    };
    let some = &plan.steps[..steps];
    ModelData {
        measurements: some.iter().enumerate().map(one).collect(),
        series: vec![Series {
            id: "breakaway".into(),
            unit: "N.m".into(),
            points: some
                .iter()
                .enumerate()
                .map(|(of, step)| Point {
                    of,
                    value: Some(CELLS[step.part][step.operator][step.repeat]),
                    u: Some(0.01),
                })
                .collect(),
        }],
    }
}

/// Step by step: which unit, by whom, which repeat comes next; then both methods' numbers of the published example.
#[test]
fn a_study_is_guided_to_its_end_and_computed() {
    let (plan, studied) = (plan(5, 3, 3, 0.95, 4).unwrap(), studied());
    for steps in 0..=plan.steps.len() {
        let found = progress(&plan, &studied, &measured(&plan, steps));
        assert_eq!(
            found.steps.iter().filter(|step| step.measured.is_some()).count(),
            steps
        );
        match plan.steps.get(steps) {
            Some(next) => {
                assert_eq!(found.next, Some(steps));
                let step = &found.steps[steps];
                let due = (
                    &studied.units[next.part],
                    &studied.by[next.operator],
                    next.repeat + 1,
                );
                assert_eq!((&step.unit, &step.by, step.repeat), due);
                // Between two rounds of all cells it could be computed; within one it is not whole.
                let round = steps >= 30 && steps % 15 == 0;
                assert_eq!(computed(&found, &studied, None).is_ok(), round, "{steps}");
            }
            None => assert_eq!(found.next, None),
        }
    }
    let whole = progress(&plan, &studied, &measured(&plan, plan.steps.len()));
    let limits = conformity::Limits::between(1.0, 7.0).unwrap();
    let found = computed(&whole, &studied, Some(&limits)).unwrap();
    // AIAG MSA-4 as in GR-1: variances 5e-4, per cent 0.01.
    let v = &found.anova.variation;
    for (is, due) in [
        (v.repeatability.variance, 0.0468),
        (v.operator.variance, 0.0512),
        (v.part.variance, 0.7978),
        (v.total.variance, 0.8958),
    ] {
        assert!((is - due).abs() < 5e-4, "{is} {due}");
    }
    assert!((v.percent_study(&v.gauge) - 33.07).abs() < 0.01 && v.distinct_categories() == 4);
    // Six standard deviations of sqrt(0.0468 + 0.0512) over the width of 6: 31.3 %.
    assert!(
        (found.share - 31.3).abs() < 0.1 && found.fitness == Fitness::Unfit,
        "{}",
        found.share
    );
    // By ranges, by hand: the fifteen ranges have a mean of 5.51/15, d2(3) = 1.6925688.
    assert!(
        (found.ranges.repeatability.sd() - 5.51 / 15.0 / 1.692_568_8).abs() < 1e-6,
        "{:?}",
        found.ranges
    );
}

/// A measurement out of turn counts as the first repeat of its cell; one too many is told.
#[test]
fn what_was_measured_out_of_turn_or_too_often_is_told() {
    let (plan, studied) = (plan(5, 3, 2, 0.95, 4).unwrap(), studied());
    let mut data = measured(&plan, plan.steps.len());
    let first = plan.steps[0];
    let mut again = data.measurements[0].clone();
    again.recording = 999;
    data.measurements.push(again);
    data.series[0].points.push(Point {
        of: data.measurements.len() - 1,
        value: Some(1.0),
        u: None,
    });
    let found = progress(&plan, &studied, &data);
    assert_eq!((found.next, found.surplus), (None, vec![999]));
    data.series[0].points.retain(|point| point.of != 0);
    let found = progress(&plan, &studied, &data);
    // What is left of the cell are its second measurement and the surplus one: they are its two repeats now.
    assert_eq!((found.next, found.surplus.len()), (None, 0));
    assert!(found.steps[0].measured.is_some() && found.steps[0].unit == studied.units[first.part]);
}
