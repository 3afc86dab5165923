//! The page of a year of the invented factory.

use super::{CheckSeries, GaugeData, Measurand, Row, Sheet, records_page};
use quality::conformity::Limits;
use quality::factory::{MODELS, Planted, Year, year};

/// A model's sheet from a year.
fn sheet(made: &Year, model: usize) -> Sheet {
    let m = &MODELS[model];
    let rows = made.records.iter().filter(|r| r.model == model).map(|r| Row {
        unit: r.unit.clone(),
        day: r.day,
        date: format!("day {:.0}", r.day),
        bench: r.bench.clone(),
        fixture: r.fixture.clone(),
        firmware: r.firmware.clone(),
        batch: r.batch.clone(),
        operator: r.operator.clone(),
        values: r.values.map(Some).to_vec(),
    });
    let friction = &MODELS[1].measurands[2];
    let checks = ["A", "B", "C", "D"].map(|letter| {
        let fixture = format!("fixture {letter}");
        let of: Vec<_> = made.checks.iter().filter(|c| c.fixture == fixture).collect();
        CheckSeries {
            name: format!("check unit on {fixture}"),
            measurand: "breakaway friction, N·m".into(),
            days: of.iter().map(|c| c.day).collect(),
            values: of.iter().map(|c| c.value).collect(),
            known: Some([friction.mean, friction.bench_sd]),
        }
    });
    Sheet {
        model: m.name.into(),
        about: "an invented factory, one year".into(),
        measurands: m
            .measurands
            .iter()
            .map(|q| Measurand {
                name: q.name.into(),
                unit: q.unit.into(),
                limits: Limits::new(q.lower, q.upper).ok(),
                bench_sd: Some(q.bench_sd),
            })
            .collect(),
        rows: rows.collect(),
        checks: checks.into(),
        gauge: Some(GaugeData {
            measurand: "breakaway friction, N·m".into(),
            operators: (1..=3).map(|n| format!("bench {n}")).collect(),
            cells: made.gauge.clone(),
            tolerance: Some(0.8 * friction.mean),
        }),
    }
}

/// The row of a table that holds `first` and `second`.
fn row<'a>(page: &'a str, first: &str, second: &str) -> Option<&'a str> {
    page.split("<tr")
        .find(|row| row.contains(first) && row.contains(second))
}

#[test]
fn the_page_names_what_was_planted() {
    let made = year(300, Planted::ALL, 2).unwrap();
    let page = records_page(&sheet(&made, 1)).unwrap();
    if let Ok(file) = std::env::var("RECORDS_PAGE") {
        std::fs::write(file, &page).unwrap();
    }
    let causes = page
        .split("id=\"causes\"")
        .nth(1)
        .unwrap()
        .split("</section>")
        .next()
        .unwrap();
    assert!(
        row(causes, ">latency<", "<b>firmware</b> 1.5").is_some(),
        "{causes}"
    );
    assert!(
        row(causes, ">breakaway friction<", "<b>fixture</b> C").is_some(),
        "{causes}"
    );
    assert!(
        row(causes, ">first resonance<", "<b>batch</b> L07").is_some(),
        "{causes}"
    );
    assert!(page.contains("not good</span> check unit on fixture C"));
    assert!((0..4).all(|n| page.contains(&format!("<figure id=\"check-{n}\">"))));
    let page = records_page(&sheet(&made, 2)).unwrap();
    let odd = page
        .split("id=\"odd\"")
        .nth(1)
        .unwrap()
        .split("</section>")
        .next()
        .unwrap();
    for serial in &made.odd {
        assert!(odd.contains(serial.as_str()), "{serial}: {odd}");
    }
}

#[test]
fn the_page_needs_nothing_else_and_escapes_what_it_is_given() {
    let made = year(100, Planted::NONE, 2).unwrap();
    let mut sheet = sheet(&made, 0);
    sheet.model = "<b>&\"model\"".into();
    sheet.rows[0].unit = "<script>alert(1)</script>".into();
    sheet.rows[1].bench = "bench \"<i>\" | 9".into();
    let page = records_page(&sheet).unwrap();
    assert!(!page.contains("<script>alert") && !page.contains("<i>") && page.contains("&lt;b&gt;"));
    for outside in ["http://", "https://", "src=", "href="] {
        let found = page.matches(outside).count();
        // The name space of SVG is no address that is fetched.
        assert_eq!(
            found - page.matches("http://www.w3.org/2000/svg").count().min(found),
            0,
            "{outside}"
        );
    }
    let rows = page
        .split("id=\"rows\" hidden>")
        .nth(1)
        .unwrap()
        .split("</div>")
        .next()
        .unwrap();
    assert_eq!(rows.lines().count(), sheet.rows.len());
    assert!(rows.lines().all(|line| line.split('|').count() == 5));
}

#[test]
fn a_sheet_that_says_little_is_a_page_with_reasons() {
    let made = year(100, Planted::NONE, 2).unwrap();
    let mut sheet = sheet(&made, 0);
    sheet.rows.truncate(3);
    sheet.rows[0].values[1] = None;
    sheet.checks.clear();
    sheet.gauge = None;
    let page = records_page(&sheet).unwrap();
    assert!(page.contains("at least 20 are needed") && page.contains("at least 5 are needed"));
    assert!(!page.contains("id=\"gauge\""));
    sheet.rows.clear();
    assert!(records_page(&sheet).unwrap().contains("0 measurements"));
}
