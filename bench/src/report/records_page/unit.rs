//! The page of a unit: each measurand over its life with limits, its place among its model, judgements, fits beside one another,
//! corrections and remarks, and where and under what it was measured.

use super::figure::{capital, number};
use super::parts::{Choice, document, filters, header, short, table, warned};
use super::{unit_place, unit_time};
use crate::report::html::page::section;
use crate::report::{PlotError, escape};
use quality::conformity::Limits;

/// One measurement of the unit.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Run {
    /// The recording's entry.
    pub entry: i64,
    /// Time, in days since the first.
    pub day: f64,
    /// The same as a date, for people.
    pub date: String,
    /// Where.
    pub bench: String,
    /// In which fixture.
    pub fixture: String,
    /// With which firmware.
    pub firmware: String,
    /// By whom.
    pub operator: String,
    /// By which procedure.
    pub procedure: String,
    /// Under which calibration.
    pub calibration: String,
    /// Whether that had run out.
    pub overdue: bool,
    /// By which program the fit in force was made; empty without one.
    pub program: String,
    /// Whether the run and its checks were as they should be.
    pub sound: bool,
    /// What the last judgement says; empty without one.
    pub verdict: String,
    /// Value and standard uncertainty of each measurand; `None` where there is none.
    pub values: Vec<Option<(f64, f64)>>,
}

/// A measurand of the unit and of the others of its model.
#[derive(Debug, Clone, PartialEq)]
pub struct UnitMeasurand {
    /// Its name.
    pub name: String,
    /// Its unit.
    pub unit: String,
    /// Limits beyond which is rejected.
    pub limits: Option<Limits>,
    /// Limits beyond which there is a warning.
    pub warning: Option<Limits>,
    /// The last value of each other unit of the model.
    pub others: Vec<f64>,
}

/// A judgement of one fit.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct JudgementLine {
    /// Its entry.
    pub entry: i64,
    /// When it was entered.
    pub entered: String,
    /// By whom.
    pub by: String,
    /// Name of the limits.
    pub limits: String,
    /// pass, fail or undecided.
    pub verdict: String,
    /// What of it: the measurands that do not pass, each with its value, limits and guard band, or the reason.
    pub because: Vec<String>,
    /// Whether it is withdrawn.
    pub withdrawn: bool,
}

/// A measurand in which a later fit of the same recording differs.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct RefitLine {
    /// Which fits, as "entry, program".
    pub fits: [String; 2],
    /// The measurand; empty where all are the same.
    pub measurand: String,
    /// What they say.
    pub values: [String; 2],
    /// By how many standard uncertainties the value moved.
    pub times_u: Option<f64>,
}

/// A correction or a remark.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Remark {
    /// Its entry.
    pub entry: i64,
    /// When it was entered.
    pub entered: String,
    /// By whom.
    pub by: String,
    /// The entry that it is about; `None`: the unit.
    pub about: Option<i64>,
    /// What it says.
    pub text: String,
    /// What was entered before, where it says something instead.
    pub before: String,
}

/// Everything on the page of a unit.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct UnitSheet {
    /// Its model.
    pub model: String,
    /// Its serial number.
    pub serial: String,
    /// Where the records come from, in words.
    pub about: String,
    /// Its measurements, by time.
    pub runs: Vec<Run>,
    /// What is shown of them.
    pub measurands: Vec<UnitMeasurand>,
    /// Judgements, by entry.
    pub judgements: Vec<JudgementLine>,
    /// Where fits of a recording differ.
    pub refits: Vec<RefitLine>,
    /// Corrections and remarks, by entry.
    pub remarks: Vec<Remark>,
}

impl UnitSheet {
    /// Days and values with uncertainties of a measurand, with the places of the runs.
    pub(super) fn series(&self, place: usize) -> Vec<(usize, f64, f64, f64)> {
        let of = |(at, run): (usize, &Run)| {
            let (value, u) = run.values.get(place).copied().flatten()?;
            Some((at, run.day, value, u))
        };
        self.runs.iter().enumerate().filter_map(of).collect()
    }
}

/// The records of a unit as one HTML file that needs nothing else.
///
/// # Errors
/// [`PlotError`] if a drawing fails.
pub fn unit_page(sheet: &UnitSheet) -> Result<String, PlotError> {
    let title = format!("{} {}", sheet.model, sheet.serial);
    let choices = [
        Choice::of("bench", &sheet.runs, |run| run.bench.clone()),
        Choice::of("fixture", &sheet.runs, |run| run.fixture.clone()),
        Choice::of("firmware", &sheet.runs, |run| run.firmware.clone()),
        Choice::of("calibration", &sheet.runs, |run| run.calibration.clone()),
        Choice::of("operator", &sheet.runs, |run| run.operator.clone()),
    ];
    let mut body = header(
        "Records of a unit",
        &title,
        &[sheet.about.clone(), measured(sheet.runs.len())],
    );
    body += &filters(&choices);
    body += "<main>\n";
    body += &section("short", "In short", "", &in_short(sheet));
    body += &section(
        "place",
        "Its place among its model",
        "The last value of each measurand beside the last values of the other units. Deviations are from the median of the others, in \
         robust standard deviations.",
        &unit_place::table_of(sheet),
    );
    for (place, measurand) in sheet.measurands.iter().enumerate() {
        let drawn = unit_time::drawn(sheet, place)? + &unit_place::drawn(sheet, place)?;
        body += &section(
            &format!("measurand-{place}"),
            &capital(&measurand.name),
            "",
            &drawn,
        );
    }
    body += &section("runs", "Where and under what it was measured", "", &runs(sheet));
    body += &section("judgements", "Judgements", "", &judgements(sheet));
    body += &section(
        "refits",
        "Fits of the same recording beside one another",
        "A newer version's fit stands beside the older one. Here is each measurand in which the two differ.",
        &refits(sheet),
    );
    body += &section(
        "remarks",
        "Corrections and remarks",
        "What was entered before stays in the records.",
        &remarks(sheet),
    );
    body += "</main>\n";
    Ok(document(&title, &body))
}

fn measured(times: usize) -> String {
    match times {
        1 => "measured once".to_owned(),
        _ => format!("measured {times} times"),
    }
}

fn verdict(word: &str) -> String {
    let class = match word {
        "pass" => "good",
        "fail" => "bad",
        _ => "",
    };
    let word = if word.is_empty() { "not judged" } else { word };
    format!("<span class=\"{class}\">{}</span>", escape(word))
}

fn in_short(sheet: &UnitSheet) -> String {
    let mut lines = Vec::new();
    match sheet.runs.last() {
        Some(last) => {
            lines.push(format!(
                "Last measured on <b>{}</b>, {}: {}.",
                escape(&last.date),
                escape(&last.bench),
                verdict(&last.verdict)
            ));
            if last.overdue {
                lines.push(
                    "<span class=\"bad\">The calibration of the torque sensor had run out then.</span>"
                        .to_owned(),
                );
            }
            if !last.sound {
                lines.push(
                    "<span class=\"bad\">The run ended early or a check on it failed.</span>".to_owned(),
                );
            }
        }
        None => lines.push("No measurement of it is in force.".to_owned()),
    }
    let apart = unit_place::apart(sheet);
    if !apart.is_empty() {
        lines.push(format!(
            "It lies apart from its model in <b>{}</b>.",
            escape(&apart.join(", "))
        ));
    }
    let corrections = sheet.remarks.iter().filter(|r| !r.before.is_empty()).count();
    if corrections > 0 {
        lines.push(format!(
            "<b>{corrections}</b> corrections say something instead of what was entered."
        ));
    }
    short(&lines)
}

fn runs(sheet: &UnitSheet) -> String {
    let rows: Vec<(usize, Vec<String>)> = sheet
        .runs
        .iter()
        .enumerate()
        .rev()
        .map(|(at, run)| {
            let cells = vec![
                escape(&run.date),
                run.entry.to_string(),
                escape(&run.bench),
                escape(&run.fixture),
                escape(&run.operator),
                escape(&run.firmware),
                escape(&run.procedure),
                warned(escape(&run.calibration), run.overdue, "had run out"),
                warned(escape(&run.program), !run.sound, "not sound"),
                verdict(&run.verdict),
            ];
            (at, cells)
        })
        .collect();
    let heads = [
        "measured",
        "entry",
        "bench",
        "fixture",
        "operator",
        "firmware",
        "procedure",
        "calibration",
        "fitted by",
        "verdict",
    ];
    table(&heads, &rows)
}

fn judgements(sheet: &UnitSheet) -> String {
    if sheet.judgements.is_empty() {
        return "<p>It was never judged.</p>\n".to_owned();
    }
    let rows: Vec<(usize, Vec<String>)> = sheet
        .judgements
        .iter()
        .rev()
        .map(|one| {
            let because: Vec<String> = one.because.iter().map(|line| escape(line)).collect();
            let gone = if one.withdrawn {
                " <small>withdrawn</small>"
            } else {
                ""
            };
            let cells = vec![
                escape(&one.entered),
                one.entry.to_string(),
                escape(&one.by),
                escape(&one.limits),
                verdict(&one.verdict) + gone,
                because.join("<br>"),
            ];
            (usize::MAX, cells)
        })
        .collect();
    table(
        &["entered", "entry", "by", "limits", "verdict", "because of"],
        &rows,
    )
}

fn refits(sheet: &UnitSheet) -> String {
    if sheet.refits.is_empty() {
        return "<p>No recording of it has more than one fit.</p>\n".to_owned();
    }
    let rows: Vec<(usize, Vec<String>)> = sheet
        .refits
        .iter()
        .map(|one| {
            let measurand = if one.measurand.is_empty() {
                "all the same"
            } else {
                &one.measurand
            };
            let moved = one
                .times_u
                .map_or_else(String::new, |times| format!("{times:+.2}").replace('-', "−"));
            let [was, is] = &one.values;
            let [before, after] = &one.fits;
            let cells = [before, after, measurand, was, is, moved.as_str()];
            (usize::MAX, cells.iter().map(|text| escape(text)).collect())
        })
        .collect();
    table(
        &["fit", "later fit", "measurand", "before", "after", "moved by, u"],
        &rows,
    )
}

fn remarks(sheet: &UnitSheet) -> String {
    if sheet.remarks.is_empty() {
        return "<p>None.</p>\n".to_owned();
    }
    let rows: Vec<(usize, Vec<String>)> = sheet
        .remarks
        .iter()
        .map(|one| {
            let about = one
                .about
                .map_or_else(|| "the unit".to_owned(), |entry| format!("entry {entry}"));
            let cells = vec![
                escape(&one.entered),
                one.entry.to_string(),
                escape(&one.by),
                about,
                escape(&one.text),
                escape(&one.before),
            ];
            (usize::MAX, cells)
        })
        .collect();
    table(&["entered", "entry", "by", "about", "says", "instead of"], &rows)
}

/// A value with its expanded uncertainty, k = 2.
pub(super) fn with_u(value: f64, u: f64) -> String {
    match u > 0.0 {
        true => format!("{} <small>± {}</small>", number(value), number(2.0 * u)),
        false => number(value),
    }
}
