//! The page of a bench: its check units, what shifts on it go with, its months, its operators, its gauge study.

use super::judge::{ALPHA, Judged, judged};
use super::parts::{Choice, document, filters, header, short, table, warned};
use super::{CheckSeries, GaugeData, Measurand, chart, checks, gauge, months, page};
use crate::report::html::page::section;
use crate::report::{PlotError, escape};
use quality::shifts::Factor;
use std::collections::{BTreeMap, BTreeSet};

/// Most rows of the list of measurements; a page has to stay a page.
const MOST: usize = 400;

/// One measurement on the bench.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct BenchRun {
    /// The recording's entry.
    pub entry: i64,
    /// Date, `YYYY-MM-DD`.
    pub date: String,
    /// Model of the unit.
    pub model: String,
    /// Its serial number.
    pub serial: String,
    /// In which fixture.
    pub fixture: String,
    /// The unit's firmware.
    pub firmware: String,
    /// Under which calibration.
    pub calibration: String,
    /// By whom.
    pub operator: String,
    /// Whether the calibration had run out.
    pub overdue: bool,
    /// Whether the run and its checks were as they should be.
    pub sound: bool,
    /// What the last judgement says: pass, fail, undecided; empty without one.
    pub verdict: String,
}

/// A measurand of one model, or of a check unit, on the bench.
#[derive(Debug, Clone, PartialEq)]
pub struct BenchSeries {
    /// Of what, and which measurand, in words.
    pub name: String,
    /// Its unit.
    pub unit: String,
    /// Places of its measurements among the runs, by time.
    pub runs: Vec<usize>,
    /// Days since the bench's first measurement.
    pub days: Vec<f64>,
    /// Values.
    pub values: Vec<f64>,
}

/// Everything on the page of a bench.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct BenchSheet {
    /// The bench.
    pub bench: String,
    /// Where the records come from, in words.
    pub about: String,
    /// Its measurements, by time.
    pub runs: Vec<BenchRun>,
    /// What is looked through for shifts: products and check units.
    pub series: Vec<BenchSeries>,
    /// Check units, each with its chart.
    pub checks: Vec<CheckSeries>,
    /// The newest gauge study.
    pub gauge: Option<GaugeData>,
}

/// The records of a bench as one HTML file that needs nothing else.
///
/// # Errors
/// [`PlotError`] if a drawing fails.
pub fn bench_page(sheet: &BenchSheet) -> Result<String, PlotError> {
    let measurands: Vec<Measurand> = sheet.series.iter().map(measurand).collect();
    let found: Vec<Judged<'_>> = measurands
        .iter()
        .zip(&sheet.series)
        .map(|(measurand, series)| {
            let data = (series.runs.clone(), series.days.clone(), series.values.clone());
            let alpha = ALPHA / sheet.series.len() as f64;
            judged(measurand, data, &factors(sheet, series), alpha)
        })
        .collect();
    let checked = checks::judge(&sheet.checks);
    let choices = [
        Choice::of("model", &sheet.runs, |run| run.model.clone()),
        Choice::of("fixture", &sheet.runs, |run| run.fixture.clone()),
        Choice::of("firmware", &sheet.runs, |run| run.firmware.clone()),
        Choice::of("calibration", &sheet.runs, |run| run.calibration.clone()),
        Choice::of("operator", &sheet.runs, |run| run.operator.clone()),
        Choice::of("month", &sheet.runs, |run| months::month(&run.date).to_owned()),
    ];
    let count = format!("{} measurements", sheet.runs.len());
    let mut body = header("Records of a bench", &sheet.bench, &[sheet.about.clone(), count]);
    body += &filters(&choices);
    body += "<main>\n";
    body += &section("short", "In short", "", &in_short(sheet, &found, &checked));
    let of_checks = match checked.is_empty() {
        true => "<p>No unit was measured here again and again.</p>\n".to_owned(),
        false => checks::section(&checked)?,
    };
    body += &section(
        "checks",
        "Check units",
        "Measured again and again on this bench. While a check is not good, nothing is accepted on it.",
        &of_checks,
    );
    body += &section(
        "causes",
        "What shifts and drifts on this bench go with",
        &format!(
            "Fixture, firmware, calibration and operator, each with all others accounted for, over each model and each check unit. On a \
             page without any cause one is named with a probability of at most {ALPHA}."
        ),
        &page::causes(&found),
    );
    let mut drawn = String::new();
    for (place, one) in found.iter().enumerate().filter(|(_, one)| moved(one)) {
        drawn += &chart::over_time(one, place)?;
    }
    if drawn.is_empty() {
        drawn = "<p>No level changed here, and nothing goes with a cause.</p>\n".to_owned();
    }
    body += &section("moved", "What moved, over time", "", &drawn);
    body += &section("months", "Month by month", "", &months::section(&sheet.runs)?);
    body += &section("operators", "Operators", "", &operators(sheet));
    if let Some(data) = &sheet.gauge {
        let drawn = gauge::section(data)?;
        body += &section("gauge", "What the measurement itself adds", "", &drawn);
    }
    body += &section("runs", "Measurements", "", &runs(sheet));
    body += "</main>\n";
    Ok(document(&sheet.bench, &body))
}

fn measurand(series: &BenchSeries) -> Measurand {
    Measurand {
        name: series.name.clone(),
        unit: series.unit.clone(),
        limits: None,
        bench_sd: None,
    }
}

fn factors(sheet: &BenchSheet, series: &BenchSeries) -> Vec<Factor> {
    let of = |name: &str, level: fn(&BenchRun) -> &String| Factor {
        name: name.into(),
        levels: series
            .runs
            .iter()
            .map(|at| sheet.runs.get(*at).map(level).cloned().unwrap_or_default())
            .collect(),
    };
    vec![
        of("fixture", |run| &run.fixture),
        of("firmware", |run| &run.firmware),
        of("calibration", |run| &run.calibration),
        of("operator", |run| &run.operator),
    ]
}

/// Whether there is something to look at: a cause, or a level that changed.
fn moved(one: &Judged<'_>) -> bool {
    let caused = one.causes.as_ref().is_ok_and(|found| !found.is_empty());
    caused || one.segments.as_ref().is_ok_and(|found| found.segments.len() > 1)
}

fn in_short(sheet: &BenchSheet, found: &[Judged<'_>], checked: &[checks::Checked<'_>]) -> String {
    let units: BTreeSet<(&str, &str)> = sheet
        .runs
        .iter()
        .map(|run| (run.model.as_str(), run.serial.as_str()))
        .collect();
    let named: usize = found
        .iter()
        .filter_map(|j| j.causes.as_ref().ok())
        .map(Vec::len)
        .sum();
    let bad = checked
        .iter()
        .filter(|c| !c.found.as_ref().is_ok_and(|f| f.is_good()))
        .count();
    let overdue = sheet.runs.iter().filter(|run| run.overdue).count();
    let mut lines = vec![format!(
        "<b>{}</b> units measured, <b>{named}</b> shifts or drifts go with a fixture, a firmware, a calibration or an operator.",
        units.len()
    )];
    if !checked.is_empty() {
        lines.push(format!("<b>{bad}</b> of {} checks are not good.", checked.len()));
    }
    if overdue > 0 {
        lines.push(format!(
            "<span class=\"bad\">{overdue} measurements were made after the calibration had run out.</span>"
        ));
    }
    short(&lines)
}

/// Counts of some measurements.
#[derive(Debug, Default)]
pub(super) struct Tally<'a> {
    pub(super) units: BTreeSet<(&'a str, &'a str)>,
    pub(super) measurements: usize,
    pub(super) judged: [usize; 3],
    pub(super) overdue: usize,
    first: &'a str,
    last: &'a str,
}

impl<'a> Tally<'a> {
    /// Measurements counted by what they share.
    pub(super) fn by(runs: &'a [BenchRun], key: impl Fn(&'a BenchRun) -> &'a str) -> BTreeMap<&'a str, Self> {
        let mut by: BTreeMap<&str, Self> = BTreeMap::new();
        for run in runs {
            by.entry(key(run)).or_default().add(run);
        }
        by
    }

    fn add(&mut self, run: &'a BenchRun) {
        self.units.insert((&run.model, &run.serial));
        self.measurements += 1;
        for (count, word) in self.judged.iter_mut().zip(["pass", "fail", "undecided"]) {
            *count += usize::from(run.verdict == word);
        }
        self.overdue += usize::from(run.overdue);
        if self.first.is_empty() {
            self.first = &run.date;
        }
        self.last = &run.date;
    }

    /// Units, measurements, the three verdicts, and those under a calibration that had run out.
    pub(super) fn cells(&self) -> Vec<String> {
        let mut cells = vec![self.units.len().to_string(), self.measurements.to_string()];
        cells.extend(self.judged.map(|count| count.to_string()));
        cells.push(self.overdue.to_string());
        cells
    }
}

fn operators(sheet: &BenchSheet) -> String {
    let by = Tally::by(&sheet.runs, |run| &run.operator);
    let rows: Vec<(usize, Vec<String>)> = by
        .iter()
        .map(|(name, tally)| {
            let name = if name.is_empty() { "not said" } else { name };
            let mut cells = vec![escape(name)];
            cells.extend(tally.cells());
            cells.extend([escape(tally.first), escape(tally.last)]);
            (usize::MAX, cells)
        })
        .collect();
    table(
        &[
            "operator",
            "units",
            "measurements",
            "pass",
            "fail",
            "undecided",
            "calibration run out",
            "first",
            "last",
        ],
        &rows,
    )
}

fn runs(sheet: &BenchSheet) -> String {
    let rows: Vec<(usize, Vec<String>)> = sheet
        .runs
        .iter()
        .enumerate()
        .rev()
        .take(MOST)
        .map(|(at, run)| {
            let cells = vec![
                escape(&run.date),
                run.entry.to_string(),
                escape(&run.model),
                escape(&run.serial),
                escape(&run.fixture),
                escape(&run.firmware),
                warned(escape(&run.calibration), run.overdue, "had run out"),
                escape(&run.operator),
                warned(escape(&run.verdict), !run.sound, "not sound"),
            ];
            (at, cells)
        })
        .collect();
    let cut = match sheet.runs.len() > MOST {
        true => format!(
            "<p class=\"lead\">The newest {} of {} measurements.</p>\n",
            MOST,
            sheet.runs.len()
        ),
        false => String::new(),
    };
    let heads = [
        "measured",
        "entry",
        "model",
        "unit",
        "fixture",
        "firmware",
        "calibration",
        "operator",
        "verdict",
    ];
    cut + &table(&heads, &rows).replace("class=\"scroll\"", "class=\"scroll tall\"")
}
