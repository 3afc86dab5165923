//! Change points, trends, groups and causes against scipy, statsmodels, exhaustive search and planted causes.

use crate::common;
use common::{cases, near};
use quality::shifts::*;

/// Least cost over every segmentation with up to three changes, tried one by one.
#[test]
fn segments_beside_exhaustive_search() {
    for case in cases("segments") {
        let found = change_points(
            case.list("in.x"),
            case.number("in.sigma"),
            case.number("in.penalty"),
        )
        .unwrap();
        let cuts: Vec<f64> = found.changes().iter().map(|c| *c as f64).collect();
        assert_eq!(cuts, case.list("cuts"));
        near(found.cost, case.number("cost"), 1e-9);
        near(
            found.segments[1].mean,
            case.list("in.x")[cuts[0] as usize..cuts[1] as usize]
                .iter()
                .sum::<f64>()
                / (cuts[1] - cuts[0]),
            1e-12,
        );
    }
}

/// Series without a change that show one, with the spread taken from their moving ranges, and how well a shift of two sigma
/// is placed.
#[test]
fn changes_are_found_and_not_invented() {
    for n in [25, 100, 400] {
        let runs = 250;
        let z = common::normals(n * runs, n as u64);
        let count = |shift: f64| {
            let mut found = (0, 0);
            for z in z.chunks(n) {
                let values: Vec<f64> = (0..n)
                    .map(|i| z[i] + if i >= n / 2 { shift } else { 0.0 })
                    .collect();
                let sigma = quality::charts::moving_range_spread(&values).unwrap().sigma;
                let changes = change_points(&values, sigma, usual_penalty(n)).unwrap().changes();
                found.0 += usize::from(!changes.is_empty());
                found.1 += usize::from(changes.iter().any(|c| c.abs_diff(n / 2) <= 3));
            }
            found
        };
        let (false_alarms, (_, placed)) = (count(0.0).0, count(2.0));
        println!(
            "{n} values: {false_alarms} of {runs} false alarms; a shift of two sigma placed within three in {placed}"
        );
        assert!(false_alarms as f64 <= 0.03 * runs as f64);
        assert!(placed as f64 >= 0.8 * runs as f64);
    }
}

/// Beside `scipy.stats.kendalltau` (normal approximation) and `theilslopes`.
#[test]
fn trend_beside_scipy() {
    for case in cases("trend") {
        let y = case.list("in.x");
        let x: Vec<f64> = (0..y.len()).map(|i| i as f64).collect();
        let found = trend(&x, y, 0.95).unwrap();
        near(found.tau, case.number("tau"), 1e-12);
        near(found.p, case.number("p"), 1e-10);
        near(found.slope, case.number("slope"), 1e-12);
        near(found.interval.low, case.number("low"), 1e-12);
        near(found.interval.high, case.number("high"), 1e-12);
    }
}

/// Beside `scipy.stats.f_oneway` and `kruskal`, with ties.
#[test]
fn groups_beside_scipy() {
    for case in cases("groups") {
        let mut rest = case.list("in.x");
        let groups: Vec<Vec<f64>> = case
            .list("in.sizes")
            .iter()
            .map(|size| {
                let (group, after) = rest.split_at(*size as usize);
                rest = after;
                group.to_vec()
            })
            .collect();
        let f = analysis_of_variance(&groups).unwrap();
        near(f.statistic, case.number("f"), 1e-9);
        near(f.p, case.number("f_p"), 1e-10);
        let h = kruskal_wallis(&groups).unwrap();
        near(h.statistic, case.number("h"), 1e-9);
        near(h.p, case.number("h_p"), 1e-10);
    }
}

fn factor(name: &str, levels: impl Iterator<Item = String>) -> Factor {
    Factor {
        name: name.into(),
        levels: levels.collect(),
    }
}

/// One planted level at a time is a regression on its indicator; statsmodels' `ols` with that column has these numbers.
#[test]
fn an_effect_beside_statsmodels() {
    for case in cases("effect") {
        let levels = case.list("in.a").iter().map(|a| format!("{a}"));
        let factors = [factor("bench", levels)];
        let y = case.list("in.y");
        let time = vec![0.0; y.len()];
        let found = causes(y, &time, &factors, 0.05).unwrap();
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!(found[0].level, "2");
        near(found[0].effect, case.number("effect"), 1e-9);
        near(
            found[0].interval.high - found[0].effect,
            case.number("reach"),
            1e-8,
        );
        near(found[0].p, case.number("p"), 1e-10);
    }
}

/// A year of records of three benches, four fixtures that wander between them, firmware and batches that follow time.
fn records(n: usize) -> (Vec<f64>, Vec<Factor>) {
    let time: Vec<f64> = (0..n).map(|i| i as f64 / n as f64).collect();
    let at = |i: usize, n: usize| i * 7919 % 101 % n;
    let factors = vec![
        factor("bench", (0..n).map(|i| format!("B{}", at(i, 3)))),
        factor("fixture", (0..n).map(|i| format!("F{}", at(i + 31, 4)))),
        factor(
            "firmware",
            time.iter()
                .map(|t| if *t < 0.55 { "1.4" } else { "1.5" }.to_owned()),
        ),
        factor(
            "batch",
            time.iter().map(|t| format!("L{:02}", (t * 12.0) as usize)),
        ),
    ];
    (time, factors)
}

/// Shift of the firmware, drift of a fixture, one bad batch: all three found, and nothing else, over twenty seeds.
#[test]
fn planted_causes_are_found() {
    let (time, factors) = records(600);
    let mut extra = 0;
    for seed in 0..20 {
        let z = common::normals(600, seed);
        let values: Vec<f64> = (0..600)
            .map(|i| {
                let mut value = 5.0 + 0.1 * z[i];
                if factors[2].levels[i] == "1.5" {
                    value += 0.12;
                }
                if factors[1].levels[i] == "F2" {
                    value -= 0.25 * time[i];
                }
                if factors[3].levels[i] == "L04" {
                    value += 0.15;
                }
                value
            })
            .collect();
        let found = causes(&values, &time, &factors, 0.01).unwrap();
        let of = |kind: Kind, factor: &str, level: &str| {
            found
                .iter()
                .find(|c| c.kind == kind && c.factor == factor && c.level == level)
        };
        let firmware = of(Kind::Shift, "firmware", "1.5").unwrap_or_else(|| panic!("{found:#?}"));
        let fixture = of(Kind::Drift, "fixture", "F2").unwrap_or_else(|| panic!("{found:#?}"));
        let batch = of(Kind::Shift, "batch", "L04").unwrap_or_else(|| panic!("{found:#?}"));
        assert!(firmware.interval.holds(0.12) && fixture.interval.holds(-0.25) && batch.interval.holds(0.15));
        assert!(fixture.instead.is_empty());
        // The fixture's lower mean is part of the planted drift.
        let planned = |c: &&Cause| c.factor == "fixture" && c.level == "F2";
        extra += found.len() - 2 - found.iter().filter(planned).count();
    }
    println!("{extra} further causes in twenty series");
    assert!(extra <= 2, "{extra}");
}

/// Records without any cause: how many of 300 series name one at 0.05.
#[test]
fn causes_are_not_invented() {
    let (time, factors) = records(200);
    let runs = 300;
    let alarms = (0..runs)
        .filter(|seed| {
            let values = common::normals(200, 1000 + seed);
            !causes(&values, &time, &factors, 0.05).unwrap().is_empty()
        })
        .count();
    println!("{alarms} of {runs} series without a cause name one");
    assert!(alarms <= 27, "{alarms}");
}

/// A firmware that came together with a batch: both are named.
#[test]
fn causes_that_came_together_are_named_together() {
    let (time, mut factors) = records(400);
    factors[3] = factor(
        "batch",
        time.iter()
            .map(|t| if *t < 0.55 { "old" } else { "new" }.to_owned()),
    );
    let z = common::normals(400, 2);
    let values: Vec<f64> = (0..400)
        .map(|i| z[i] + if time[i] < 0.55 { 0.0 } else { 2.0 })
        .collect();
    let found = causes(&values, &time, &factors, 0.01).unwrap();
    let both = format!("{} {} {:?}", found[0].factor, found[0].level, found[0].instead);
    assert!(both.contains("firmware") && both.contains("batch"), "{both}");
}

#[test]
fn refusals() {
    assert_eq!(change_points(&[1.0], 1.0, 5.0).unwrap_err().code(), "too_few");
    assert_eq!(
        change_points(&[1.0, 2.0], 0.0, 5.0).unwrap_err().code(),
        "out_of_range"
    );
    assert_eq!(
        trend(&[1.0; 9], &[1.0; 8], 0.95).unwrap_err().code(),
        "length_mismatch"
    );
    let x: Vec<f64> = (0..9).map(f64::from).collect();
    assert_eq!(trend(&x, &[1.0; 9], 0.95).unwrap_err().code(), "no_variance");
    assert_eq!(trend(&[1.0; 9], &x, 0.95).unwrap_err().code(), "no_variance");
    let flat = [vec![1.0, 1.0], vec![1.0, 1.0]];
    assert_eq!(analysis_of_variance(&flat).unwrap_err().code(), "no_variance");
    assert_eq!(kruskal_wallis(&flat).unwrap_err().code(), "no_variance");
    assert_eq!(kruskal_wallis(&[vec![1.0, 2.0]]).unwrap_err().code(), "too_few");
    let (time, factors) = records(19);
    assert_eq!(
        causes(&common::normals(19, 1), &time, &factors, 0.05)
            .unwrap_err()
            .code(),
        "too_few"
    );
    let (time, factors) = records(30);
    assert_eq!(
        causes(&common::normals(31, 1), &time, &factors, 0.05)
            .unwrap_err()
            .code(),
        "length_mismatch"
    );
}
