#![allow(clippy::unwrap_used, reason = "a test ends with the first surprise")]

use super::*;
use crate::archive::{BenchWanted, bench_sheet, unit_sheet};
use crate::report::records_page::{bench_page, records_page, unit_page};
use records::ModelData;

fn entered(units: usize) -> (tempfile::TempDir, Store, Stamp, Entered) {
    let folder = tempfile::tempdir().unwrap();
    let stamp = Stamp {
        entered: "2026-01-05T08:00:00Z".to_owned(),
        by: "test".to_owned(),
        software: "test".to_owned(),
    };
    let address = folder.path().join("demo.db").display().to_string();
    let mut store = Store::open(&address.parse().unwrap(), true, &stamp).unwrap();
    let entered = enter_year(&mut store, units, 2, &stamp).unwrap();
    (folder, store, stamp, entered)
}

/// The part of a page under a heading.
fn part<'a>(page: &'a str, id: &str) -> &'a str {
    let after = page.split(&format!("id=\"{id}\"")).nth(1).unwrap();
    after.split("</section>").next().unwrap()
}

fn has_row(part: &str, words: [&str; 2]) -> bool {
    part.split("<tr")
        .any(|row| words.iter().all(|word| row.contains(word)))
}

/// From the factory through the database to the page: what was planted is named there.
#[test]
fn the_planted_causes_are_on_the_pages() {
    let (_folder, mut store, stamp, entered) = entered(300);
    assert_eq!(
        (entered.measurements, entered.checks, entered.study),
        (1200, 200, 90)
    );
    assert!(store.verify(&[]).unwrap().findings.is_empty());
    // 300 units, and the ten of the study once each; the check unit stands apart.
    let shown = demo_sheet(&mut store, &limits_files()[1]).unwrap();
    assert_eq!(shown.rows.len(), 310);
    assert!(shown.rows.iter().all(|row| row.unit != CHECK_UNIT));
    let pages: Vec<String> = limits_files()
        .iter()
        .map(|limits| records_page(&demo_sheet(&mut store, limits).unwrap()).unwrap())
        .collect();
    let causes = part(&pages[1], "causes");
    for words in [
        [">latency<", "<b>firmware</b> 1.5"],
        [">breakaway<", "<b>fixture</b> C"],
        [">resonance<", "<b>batch</b> L07"],
    ] {
        assert!(has_row(causes, words), "{words:?} in {causes}");
    }
    assert!(pages[1].contains("not good</span> B9-CHECK on fixture C"));
    // Direct drives know neither the firmware's nor the belt's fault.
    assert!(!part(&pages[3], "causes").contains("L07"));
    // The same year again would be another chain over the old one.
    let again = enter_year(&mut store, 300, 2, &stamp).unwrap_err().to_string();
    assert!(again.contains("needs records of its own"), "{again}");
}

/// The year on the pages of benches and units: the drifting fixture on the bench's check unit and product, months, operators, and
/// an odd unit with what makes it odd.
#[test]
fn the_planted_causes_are_on_the_pages_of_benches_and_units() {
    let (_folder, mut store, _, entered) = entered(300);
    let all = Filter::default();
    let bench = bench_sheet(&mut store, "bench 1", &all, &BenchWanted::default()).unwrap();
    assert!(bench.checks.iter().any(|check| check.name.contains(CHECK_UNIT)));
    if let Ok(file) = std::env::var("RECORDS_BENCH_PAGE") {
        std::fs::write(file, bench_page(&bench).unwrap()).unwrap();
    }
    let page = bench_page(&bench).unwrap();
    let causes = part(&page, "causes");
    assert!(
        has_row(causes, ["check unit B9-CHECK, breakaway", "<b>fixture</b> C"]),
        "{causes}"
    );
    assert!(
        has_row(causes, ["Base 9, latency", "<b>firmware</b> 1.5"]),
        "{causes}"
    );
    assert!(part(&page, "checks").contains("not good</span> check unit B9-CHECK"));
    let months = part(&page, "months");
    assert_eq!(
        months.matches("<tr><th scope=\"row\">2025-").count(),
        12,
        "{months}"
    );
    assert!(part(&page, "operators").contains("weekly check"));
    // Counts of the months are those of the bench, each unit once a month.
    let measured: usize = bench.runs.len();
    assert_eq!(
        measured,
        store
            .measurements(&Filter {
                bench: Some("bench 1".into()),
                ..all.clone()
            })
            .unwrap()
            .len()
    );

    let limits = limits_files();
    for serial in &entered.odd {
        let unit = store.unit(serial, None).unwrap();
        let limits = limits.iter().find(|limits| limits.model == unit.model).unwrap();
        let limits = Limits::from_toml(&limits.file, &limits.text).unwrap();
        let sheet = unit_sheet(&mut store, &unit, &all, Some(&limits), &[]).unwrap();
        let page = unit_page(&sheet).unwrap();
        if let Ok(file) = std::env::var("RECORDS_UNIT_PAGE") {
            std::fs::write(file, &page).unwrap();
        }
        assert_eq!(sheet.runs.len(), 1);
        assert!(
            sheet
                .measurands
                .iter()
                .all(|one| one.others.len() >= 299 && one.limits.is_some())
        );
        assert!(page.contains("<figure id=\"among-0\">"));
    }
    // By filter: nothing of it is from another bench.
    let elsewhere = Filter {
        bench: Some("bench 9".into()),
        ..all.clone()
    };
    let unit = store.unit(&entered.odd[0], None).unwrap();
    assert!(
        unit_sheet(&mut store, &unit, &elsewhere, None, &[])
            .unwrap()
            .runs
            .is_empty()
    );
    assert!(bench_sheet(&mut store, "bench 9", &all, &BenchWanted::default()).is_err());
    // Only so many of the newest.
    let newest = Filter {
        newest: Some(40),
        ..all
    };
    let data = store.model_data("Base 9", &newest, None).unwrap();
    let whole = store.model_data("Base 9", &Filter::default(), None).unwrap();
    assert_eq!(
        data.measurements[..],
        whole.measurements[whole.measurements.len() - 40..]
    );
    let values = |data: &ModelData, id: &str| {
        let series = data.series.iter().find(|series| series.id == id).unwrap();
        let points = series
            .points
            .iter()
            .map(|point| (data.measurements[point.of].recording, point.value));
        points.collect::<Vec<_>>()
    };
    let [some, every] = [&data, &whole].map(|data| values(data, "breakaway"));
    assert!(!some.is_empty() && every.ends_with(&some), "{some:?}");
}

/// A cell of the study that lacks a measurement is named.
#[test]
fn a_study_that_is_not_whole_is_refused() {
    let (_folder, mut store, ..) = entered(100);
    let mut data = store.model_data("Base 9", &Filter::default(), None).unwrap();
    let gone = data
        .measurements
        .iter()
        .position(|m| m.serial == "B9-STUDY-04")
        .unwrap();
    for series in &mut data.series {
        series.points.retain(|point| point.of != gone);
    }
    let wanted = Wanted {
        study: Some(Study {
            units: (0..10).map(study_unit).collect(),
            by: StudyBy::Bench,
            measurand: "breakaway".to_owned(),
        }),
        ..Wanted::default()
    };
    let problem = sheet(&data, "Base 9", "", &wanted).unwrap_err().to_string();
    assert!(
        problem.contains("B9-STUDY-04") && problem.contains("has 2 values"),
        "{problem}"
    );
    let wanted = Wanted {
        measurands: vec!["latncy".to_owned()],
        ..Wanted::default()
    };
    let problem = sheet(&data, "Base 9", "", &wanted).unwrap_err().to_string();
    assert!(problem.contains("\"latncy\"; there is"), "{problem}");
}

/// Dates by the calendar: a leap day, the end of a year, the first shift itself.
#[test]
fn days_are_dates() {
    let at = |day: u64| instant(day * 86_400);
    assert_eq!(at(0), "2025-01-06T06:00:00Z");
    assert_eq!(at(53), "2025-02-28T06:00:00Z");
    assert_eq!(at(54), "2025-03-01T06:00:00Z");
    assert_eq!(at(360), "2026-01-01T06:00:00Z");
    assert_eq!(at(783), "2027-02-28T06:00:00Z");
    assert_eq!(at(1149), "2028-02-29T06:00:00Z");
    assert_eq!(instant(18 * 3600 - 1), "2025-01-06T23:59:59Z");
}

/// Limits of a group hold what they say of units that were not in it: of 900 others 99 % are 891; fewer than 880 would be one
/// chance in a thousand if they held exactly that (binomial distribution), and they are to hold more in 95 of 100 groups.
#[test]
fn limits_derived_from_a_group_hold_for_others() {
    use super::super::derived::{Holding, Limited, derived_limits};
    let (_folder, mut store, ..) = entered(1000);
    let data = store.model_data("Base 18", &Filter::default(), None).unwrap();
    let mut group = data.clone();
    for series in &mut group.series {
        // Every tenth, over the whole year.
        series.points.retain(|point| point.of % 10 == 0);
    }
    let wanted = ["bandwidth:below", "largest_torque", "latency:above"]
        .map(|words| Limited::from_words(words).unwrap());
    let holding = Holding {
        share: 0.99,
        level: 0.95,
    };
    let text = derived_limits(&group, "Base 18", &wanted, holding).unwrap();
    let limits = Limits::from_toml("derived.toml", &text)
        .map_err(|e| e.to_string())
        .unwrap();
    assert_eq!(limits.measurands.len(), 3);
    for one in &limits.measurands {
        let series = data.series.iter().find(|s| s.id == one.id).unwrap();
        let below = one.reject_below.map_or(f64::NEG_INFINITY, |l| l.value);
        let above = one.reject_above.map_or(f64::INFINITY, |l| l.value);
        let others = series.points.iter().filter(|p| p.of % 10 != 0);
        let values: Vec<f64> = others.filter_map(|p| p.value).collect();
        let within = values.iter().filter(|v| (below..=above).contains(*v)).count();
        assert!(
            values.len() == 900 && (880..900).contains(&within),
            "{}: {within}",
            one.id
        );
    }
    let few = derived_limits(
        &group,
        "Base 18",
        &[Limited::from_words("latncy").unwrap()],
        holding,
    );
    assert!(few.unwrap_err().to_string().contains("\"latncy\"; there is"));
    assert!(Limited::from_words("latency:up").unwrap_err().contains("no side"));
}
