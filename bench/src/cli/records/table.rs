//! Tables of records for the terminal.

use std::collections::BTreeMap;

use records::content::{Correction, Fit, Judgement, Kind, LimitsText, Note, Recording, Verdict};
use records::{Group, Item, Measurement, ModelData, Refit, Said, UnitSummary};

use crate::archive::Refitted;
use crate::fitting::plain;

/// Widest cell.
const WIDEST: usize = 64;

/// Columns with heads, aligned; columns of numbers are named to stand on the right.
pub(super) fn aligned(heads: &[&str], rows: &[Vec<String>], right: &[&str]) -> String {
    let width = |column: usize| {
        let cells = rows.iter().filter_map(|row| row.get(column));
        let widest = cells.map(|cell| cell.chars().count()).max().unwrap_or(0);
        let head = heads.get(column).map_or(0, |head| head.chars().count());
        widest.clamp(head, WIDEST.max(head))
    };
    let widths: Vec<usize> = (0..heads.len()).map(width).collect();
    let line = |cells: Vec<&str>| {
        let cells = cells.iter().zip(&widths).zip(heads).map(|((cell, width), head)| {
            let cell = shortened(cell, (*width).max(WIDEST));
            let gap = " ".repeat(width.saturating_sub(cell.chars().count()));
            match right.contains(head) {
                true => gap + &cell,
                false => cell + &gap,
            }
        });
        cells.collect::<Vec<String>>().join("  ").trim_end().to_owned()
    };
    let mut text = line(heads.to_vec());
    text.push('\n');
    text += &widths
        .iter()
        .map(|width| "-".repeat(*width))
        .collect::<Vec<String>>()
        .join("  ");
    for row in rows {
        text.push('\n');
        text += &line(row.iter().map(String::as_str).collect());
    }
    text
}

fn shortened(cell: &str, most: usize) -> String {
    match cell.chars().count() > most {
        true => cell.chars().take(most.saturating_sub(1)).chain(['…']).collect(),
        false => cell.to_owned(),
    }
}

/// Date and time to the minute, as they were written.
fn minute(instant: &str) -> String {
    instant.get(..16).unwrap_or(instant).replacen('T', " ", 1)
}

fn verdict(verdict: Option<Verdict>, warning: bool) -> String {
    let word = verdict.map_or("-", Verdict::word);
    match warning {
        true => format!("{word}, warning"),
        false => word.to_owned(),
    }
}

fn yes(is: bool) -> String {
    if is { "yes" } else { "" }.to_owned()
}

/// The history of a unit.
pub(super) fn history(items: &[Item]) -> String {
    let rows = items.iter().map(|item| {
        let (entered, by) = match item.entry.stamp() {
            Ok(stamp) => (minute(&stamp.entered), stamp.by),
            Err(error) => (error.to_string(), String::new()),
        };
        let mut state = Vec::new();
        if item.withdrawn {
            state.push("withdrawn".to_owned());
        }
        if item.superseded {
            state.push("superseded".to_owned());
        }
        if !item.corrected_by.is_empty() {
            let numbers: Vec<String> = item.corrected_by.iter().map(i64::to_string).collect();
            state.push(format!("see {}", numbers.join(", ")));
        }
        let what = said(item).unwrap_or_else(|error| error.to_string());
        vec![
            item.entry.seq.to_string(),
            entered,
            by,
            item.entry.kind.clone(),
            what,
            state.join(", "),
        ]
    });
    let heads = ["entry", "entered", "by", "kind", "what", "state"];
    aligned(&heads, &rows.collect::<Vec<_>>(), &["entry"])
}

/// An entry in a few words.
fn said(item: &Item) -> Result<String, records::RecordsError> {
    let entry = &item.entry;
    Ok(match entry.kind()? {
        Kind::Recording => {
            let r: Recording = entry.content()?;
            let overdue = if r.calibration.overdue {
                ", CALIBRATION OVERDUE"
            } else {
                ""
            };
            let ended = match r.completion.as_str() {
                "complete" => String::new(),
                other => format!(", {other}"),
            };
            format!(
                "{} on {}, {}, firmware {}{ended}{overdue}",
                r.procedure.name,
                r.bench,
                minute(&r.created),
                r.unit.firmware
            )
        }
        Kind::Fit => {
            let fit: Fit = entry.content()?;
            let values = fit.measured.iter().filter(|one| one.value.is_some()).count();
            let unsound = if fit.sound { "" } else { ", not sound" };
            format!(
                "{} {}, {values} values, {} refused{unsound}",
                fit.software.version,
                fit.software.build,
                fit.measured.len() - values
            )
        }
        Kind::Limits => entry.content::<LimitsText>()?.name,
        Kind::Judgement => {
            let j: Judgement = entry.content()?;
            let of = j.measurands.iter().filter(|one| one.verdict == j.verdict);
            let names: Vec<&str> = of.map(|one| one.id.as_str()).collect();
            match (j.verdict, j.reason.is_empty()) {
                (Verdict::Pass, _) => verdict(Some(j.verdict), j.warning),
                (_, false) => format!("{}: {}", j.verdict.word(), j.reason),
                (_, true) => format!("{}: {}", j.verdict.word(), names.join(", ")),
            }
        }
        Kind::Note => entry.content::<Note>()?.text,
        Kind::Correction => {
            let c: Correction = entry.content()?;
            let facts: Vec<String> = c
                .facts
                .iter()
                .map(|(word, is)| format!("{word} is {is}"))
                .collect();
            let what = match (facts.is_empty(), c.withdrawn) {
                (false, _) => facts.join(", "),
                (true, true) => "withdrawn".to_owned(),
                (true, false) => "in force again".to_owned(),
            };
            format!("{}: {what} ({})", c.entry, c.reason)
        }
    })
}

/// Units.
pub(super) fn units(units: &[UnitSummary]) -> String {
    let rows = units.iter().map(|unit| {
        vec![
            unit.model.clone(),
            unit.serial.clone(),
            unit.firmware.clone(),
            unit.measurements.to_string(),
            minute(&unit.last),
            unit.bench.clone(),
            verdict(unit.verdict, unit.warning),
            yes(unit.overdue),
        ]
    });
    let heads = [
        "model", "serial", "firmware", "measured", "last", "bench", "verdict", "overdue",
    ];
    aligned(&heads, &rows.collect::<Vec<_>>(), &["measured"])
}

/// Models or benches.
pub(super) fn groups(what: &str, groups: &[Group]) -> String {
    let rows = groups.iter().map(|group| {
        vec![
            group.name.clone(),
            group.units.to_string(),
            group.measurements.to_string(),
            minute(&group.first),
            minute(&group.last),
            group.pass.to_string(),
            group.undecided.to_string(),
            group.fail.to_string(),
            group.overdue.to_string(),
        ]
    });
    let heads = [
        what,
        "units",
        "measured",
        "first",
        "last",
        "pass",
        "undecided",
        "fail",
        "overdue",
    ];
    let right = ["units", "measured", "pass", "undecided", "fail", "overdue"];
    aligned(&heads, &rows.collect::<Vec<_>>(), &right)
}

/// A number of a table, to five digits.
fn number(value: Option<f64>) -> String {
    value.map_or_else(|| "-".to_owned(), |value| plain(value, 5))
}

/// A model's values as CSV (RFC 4180), SI units, numbers to the last bit.
pub(super) fn values_as_csv(data: &ModelData) -> String {
    let quoted = |text: &str| match text.contains([',', '"', '\n', '\r']) {
        true => format!("\"{}\"", text.replace('"', "\"\"")),
        false => text.to_owned(),
    };
    let mut csv =
        String::from("measurand,serial,measured,bench,fixture,firmware,batch,operator,value,u,unit\r\n");
    for series in &data.series {
        for point in &series.points {
            let Some(m) = data.measurements.get(point.of) else {
                continue;
            };
            let words = [
                &series.id,
                &m.serial,
                &m.created,
                &m.bench,
                &m.fixture,
                &m.firmware,
                &m.batch,
                &m.operator,
            ];
            let words: Vec<String> = words.iter().map(|word| quoted(word)).collect();
            let number = |value: Option<f64>| value.map(|value| value.to_string()).unwrap_or_default();
            let (value, u) = (number(point.value), number(point.u));
            csv += &format!("{},{value},{u},{}\r\n", words.join(","), series.unit);
        }
    }
    csv
}

/// Values of measurands, a line a value.
pub(super) fn values(data: &ModelData) -> String {
    let mut rows = Vec::new();
    for series in &data.series {
        for point in &series.points {
            let of: Option<&Measurement> = data.measurements.get(point.of);
            let text = |get: fn(&Measurement) -> &String| of.map(|m| get(m).clone()).unwrap_or_default();
            rows.push(vec![
                series.id.clone(),
                text(|m| &m.serial),
                minute(&text(|m| &m.created)),
                text(|m| &m.bench),
                text(|m| &m.firmware),
                number(point.value),
                number(point.u),
                series.unit.clone(),
            ]);
        }
    }
    let heads = [
        "measurand",
        "serial",
        "measured",
        "bench",
        "firmware",
        "value",
        "u",
        "unit",
    ];
    aligned(&heads, &rows, &["value", "u"])
}

/// Where fits differ.
pub(super) fn changes(refits: &[Refit]) -> String {
    if refits.is_empty() {
        return "No recording of this unit has more than one fit.".to_owned();
    }
    let said = |said: &Said| match said {
        Said::Value { value, .. } => number(Some(*value)),
        Said::Nothing { refused } => refused.clone(),
    };
    let mut text = Vec::new();
    for refit in refits {
        text.push(format!(
            "recording {}: fit {} ({}) and fit {} ({}); {} measurands the same, {} not",
            refit.recording,
            refit.before,
            refit.before_by,
            refit.after,
            refit.after_by,
            refit.same,
            refit.differences.len()
        ));
        if refit.differences.is_empty() {
            continue;
        }
        let rows = refit.differences.iter().map(|one| {
            let times_u = one
                .times_u
                .map(|times| format!("{times:+.2}"))
                .unwrap_or_default();
            vec![
                one.id.clone(),
                said(&one.before),
                said(&one.after),
                one.unit.clone(),
                times_u,
            ]
        });
        let heads = ["measurand", "before", "after", "unit", "by u"];
        text.push(aligned(
            &heads,
            &rows.collect::<Vec<_>>(),
            &["before", "after", "by u"],
        ));
    }
    text.join("\n")
}

/// In which measurands new fits differ from those before, over all recordings of an archive; which recordings, `--json` and
/// `records changes` say.
pub(super) fn changed(done: &Refitted) -> String {
    let mut by: BTreeMap<&str, Vec<Option<f64>>> = BTreeMap::new();
    for one in done.changed.iter().flat_map(|one| &one.differences) {
        by.entry(&one.id).or_default().push(one.times_u);
    }
    let head = format!(
        "{} of those fitted now say something else than the fit before",
        done.changed.len()
    );
    if by.is_empty() {
        return head;
    }
    let rows: Vec<Vec<String>> = by
        .into_iter()
        .map(|(id, moved)| {
            let most = moved
                .iter()
                .flatten()
                .copied()
                .max_by(|a, b| a.abs().total_cmp(&b.abs()));
            vec![
                id.to_owned(),
                moved.len().to_string(),
                most.map_or_else(|| "-".to_owned(), |most| format!("{most:+.2}")),
            ]
        })
        .collect();
    let heads = ["measurand", "recordings", "most, by u"];
    format!(
        "{head}:\n{}",
        aligned(&heads, &rows, &["recordings", "most, by u"])
    )
}

/// A judgement, a line a measurand.
pub(in crate::cli) fn judgement(
    (model, serial, created): (&str, &str, &str),
    judgement: &Judgement,
) -> String {
    let head = format!(
        "{model} {serial}, {}: {}{}",
        minute(created),
        verdict(Some(judgement.verdict), judgement.warning).to_uppercase(),
        match judgement.reason.is_empty() {
            true => String::new(),
            false => format!(" ({})", judgement.reason),
        }
    );
    let rows = judgement.measurands.iter().map(|one| {
        let risk = one.conformance.map(|share| format!("{:.2} %", 100.0 * share));
        vec![
            one.id.clone(),
            number(one.low),
            number(one.value),
            number(one.high),
            number(one.u),
            number(Some(one.guard)),
            risk.unwrap_or_else(|| "-".to_owned()),
            verdict(Some(one.verdict), one.warning),
            one.reason.clone(),
        ]
    });
    let heads = [
        "measurand",
        "low",
        "value",
        "high",
        "u",
        "guard",
        "conforms",
        "verdict",
        "",
    ];
    let right = ["low", "value", "high", "u", "guard", "conforms"];
    format!("{head}\n{}", aligned(&heads, &rows.collect::<Vec<_>>(), &right))
}
