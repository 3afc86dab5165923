//! From a unit's records to what its page shows.

use std::collections::{BTreeMap, HashMap};

use quality::conformity;
use records::content::{
    Correction, Fit, Judged, Judgement, Kind, LimitsText, Measured, Note, Recording, Verdict,
};
use records::limits::{Limit, Limits, MeasurandLimits};
use records::{Filter, Item, Measurement, ModelData, RecordsError, Refit, Said, Store, UnitName};

use super::ArchiveError;
use super::sheet::{DAY_S, NEWEST, date};
use super::units::shown;
use crate::fitting::plain;
use crate::report::records_page::{JudgementLine, RefitLine, Remark, Run, UnitMeasurand, UnitSheet};

/// Most measurands of a page that nobody chose.
const MOST: usize = 12;

/// What the page of a unit shows: its measurements that the filter takes, beside the newest of its model.
///
/// # Errors
/// What the database says; an entry that cannot be read.
pub fn unit_sheet(
    store: &mut Store,
    unit: &UnitName,
    filter: &Filter,
    limits: Option<&Limits>,
    measurands: &[String],
) -> Result<UnitSheet, ArchiveError> {
    let items = store.history(unit)?;
    let of_unit = Filter {
        model: Some(unit.model.clone()),
        serial: Some(unit.serial.clone()),
        ..filter.clone()
    };
    let measurements = store.measurements(&of_unit)?;
    let fits = fits(&items)?;
    let chosen = chosen(&measurements, &fits, limits, measurands);
    let ids: Vec<String> = chosen.iter().map(|(id, _)| id.clone()).collect();
    let newest = Filter {
        newest: Some(NEWEST),
        ..Filter::default()
    };
    let model = store.model_data(&unit.model, &newest, Some(&ids))?;
    let refits = records::refits(&items)?;
    Ok(UnitSheet {
        model: unit.model.clone(),
        serial: unit.serial.clone(),
        about: store.address(),
        runs: runs(&measurements, &fits, &chosen),
        measurands: chosen
            .iter()
            .map(|(id, si)| measurand(id, si, limits, &model, &unit.serial))
            .collect(),
        judgements: judgements(&items)?,
        refits: refits.iter().flat_map(refit_lines).collect(),
        remarks: remarks(&items)?,
    })
}

fn fits(items: &[Item]) -> Result<HashMap<i64, Fit>, RecordsError> {
    let of_fit = items.iter().filter(|item| item.entry.kind == Kind::Fit.word());
    of_fit
        .map(|item| Ok((item.entry.seq, item.entry.content()?)))
        .collect()
}

/// Measurands with their SI units: as asked, or those of the limits, or those that the unit has values of most often.
fn chosen(
    measurements: &[Measurement],
    fits: &HashMap<i64, Fit>,
    limits: Option<&Limits>,
    asked: &[String],
) -> Vec<(String, String)> {
    let mut counts: BTreeMap<(&str, &str), usize> = BTreeMap::new();
    let in_force = measurements.iter().filter_map(|m| fits.get(&m.fit?));
    for one in in_force
        .flat_map(|fit| &fit.measured)
        .filter(|one| one.value.is_some())
    {
        *counts.entry((&one.id, &one.unit)).or_default() += 1;
    }
    let of_limits = limits
        .iter()
        .flat_map(|limits| &limits.measurands)
        .map(|one| one.id.clone());
    let ids: Vec<String> = match asked {
        [] => of_limits.collect(),
        some => some.to_vec(),
    };
    if ids.is_empty() {
        let mut usual: Vec<_> = counts.into_iter().collect();
        usual.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
        usual.truncate(MOST);
        return usual
            .into_iter()
            .map(|((id, unit), _)| (id.to_owned(), unit.to_owned()))
            .collect();
    }
    ids.into_iter()
        .map(|id| {
            let of = counts.iter().filter(|((known, _), _)| *known == id);
            let unit = of
                .max_by_key(|(_, count)| **count)
                .map(|((_, unit), _)| (*unit).to_owned());
            (id, unit.unwrap_or_default())
        })
        .collect()
}

fn runs(measurements: &[Measurement], fits: &HashMap<i64, Fit>, chosen: &[(String, String)]) -> Vec<Run> {
    let first = measurements.first().map_or(0, |m| m.at);
    let value = |fit: Option<&Fit>, id: &str, si: &str| {
        let of = |one: &&Measured| one.id == id && one.unit == si;
        let one = fit?.measured.iter().find(of)?;
        let factor = shown(si).1;
        Some((factor * one.value?, factor * one.u.unwrap_or(0.0)))
    };
    measurements
        .iter()
        .map(|m| {
            let fit = m.fit.and_then(|fit| fits.get(&fit));
            let by = fit.map(|fit| format!("{} {}", fit.software.version, fit.software.build));
            let warned = if m.warning { ", warning" } else { "" };
            Run {
                entry: m.recording,
                day: (m.at - first) as f64 / DAY_S,
                date: date(m).to_owned(),
                bench: m.bench.clone(),
                fixture: m.fixture.clone(),
                firmware: m.firmware.clone(),
                operator: m.operator.clone(),
                procedure: m.procedure.clone(),
                calibration: m.calibration.clone(),
                overdue: m.overdue,
                program: by.unwrap_or_default().trim().to_owned(),
                sound: m.sound,
                verdict: m
                    .verdict
                    .map_or_else(String::new, |v| v.word().to_owned() + warned),
                values: chosen.iter().map(|(id, si)| value(fit, id, si)).collect(),
            }
        })
        .collect()
}

fn measurand(id: &str, si: &str, limits: Option<&Limits>, model: &ModelData, serial: &str) -> UnitMeasurand {
    let (unit, factor) = shown(si);
    let of = limits.and_then(|limits| limits.measurands.iter().find(|one| one.id == id));
    let between = |low: fn(&MeasurandLimits) -> Option<Limit>,
                   high: fn(&MeasurandLimits) -> Option<Limit>| {
        let value = |limit: Option<Limit>| limit.filter(|l| l.unit == si).map(|l| factor * l.value);
        let one = of?;
        conformity::Limits::new(value(low(one)), value(high(one))).ok()
    };
    let series = model
        .series
        .iter()
        .find(|series| series.id == id && series.unit == si);
    // They come by time: the last value of each unit stays.
    let mut others: BTreeMap<&str, f64> = BTreeMap::new();
    for point in series.iter().flat_map(|series| &series.points) {
        if let (Some(m), Some(value)) = (model.measurements.get(point.of), point.value)
            && m.serial != serial
        {
            others.insert(&m.serial, factor * value);
        }
    }
    UnitMeasurand {
        name: id.to_owned(),
        unit: unit.to_owned(),
        limits: between(|l| l.reject_below, |l| l.reject_above),
        warning: between(|l| l.warn_below, |l| l.warn_above),
        others: others.into_values().collect(),
    }
}

fn minute(instant: &str) -> String {
    instant.get(..16).unwrap_or(instant).replacen('T', " ", 1)
}

fn judgements(items: &[Item]) -> Result<Vec<JudgementLine>, RecordsError> {
    let mut limits: HashMap<&str, String> = HashMap::new();
    let mut lines = Vec::new();
    for item in items {
        match item.entry.kind()? {
            Kind::Limits => {
                let LimitsText { name, .. } = item.entry.content()?;
                limits.insert(&item.entry.key, name);
            }
            Kind::Judgement => {
                let judgement: Judgement = item.entry.content()?;
                let stamp = item.entry.stamp()?;
                let odd = judgement
                    .measurands
                    .iter()
                    .filter(|one| one.verdict != Verdict::Pass || one.warning);
                let whole = Some(judgement.reason.clone()).filter(|reason| !reason.is_empty());
                lines.push(JudgementLine {
                    entry: item.entry.seq,
                    entered: minute(&stamp.entered),
                    by: stamp.by,
                    limits: limits.get(judgement.limits.as_str()).cloned().unwrap_or_default(),
                    verdict: judgement.verdict.word().to_owned(),
                    because: whole.into_iter().chain(odd.map(because)).collect(),
                    withdrawn: item.withdrawn,
                });
            }
            _ => {}
        }
    }
    Ok(lines)
}

/// What a judgement says of one measurand, SI.
fn because(one: &Judged) -> String {
    let number = |value: f64| plain(value, 4);
    let mut text = format!("{} {}", one.id, one.verdict.word());
    if one.warning {
        text += ", warning";
    }
    match (one.value, one.reason.is_empty()) {
        (_, false) => text += &format!(": {}", one.reason),
        (Some(value), true) => text += &format!(": {}", number(value)),
        (None, true) => {}
    }
    let ends: Vec<String> = [("at least", one.low), ("at most", one.high)]
        .into_iter()
        .filter_map(|(words, end)| Some(format!("{words} {}", number(end?))))
        .collect();
    if !ends.is_empty() {
        text += &format!(", {}", ends.join(", "));
    }
    if one.guard > 0.0 {
        text += &format!(", guard band {}", number(one.guard));
    }
    text
}

fn refit_lines(refit: &Refit) -> Vec<RefitLine> {
    let fits = [
        format!("{}, {}", refit.before, refit.before_by.trim()),
        format!("{}, {}", refit.after, refit.after_by.trim()),
    ];
    let said = |said: &Said, unit: &str| match said {
        Said::Value { value, .. } => format!("{} {}", plain(shown(unit).1 * value, 6), shown(unit).0),
        Said::Nothing { refused } => refused.clone(),
    };
    if refit.differences.is_empty() {
        return vec![RefitLine {
            fits,
            ..RefitLine::default()
        }];
    }
    let line = |one: &records::Difference| RefitLine {
        fits: fits.clone(),
        measurand: one.id.clone(),
        values: [said(&one.before, &one.unit), said(&one.after, &one.unit)],
        times_u: one.times_u,
    };
    refit.differences.iter().map(line).collect()
}

fn remarks(items: &[Item]) -> Result<Vec<Remark>, RecordsError> {
    let mut lines = Vec::new();
    for item in items {
        let (about, text, before) = match item.entry.kind()? {
            Kind::Note => {
                let note: Note = item.entry.content()?;
                (note.entry, note.text, String::new())
            }
            Kind::Correction => {
                let correction: Correction = item.entry.content()?;
                let before = before(items, &correction)?;
                let mut says: Vec<String> = correction
                    .facts
                    .iter()
                    .map(|(word, value)| format!("{word} is {value}"))
                    .collect();
                if correction.facts.is_empty() {
                    let word = if correction.withdrawn {
                        "withdrawn"
                    } else {
                        "in force again"
                    };
                    says.push(word.to_owned());
                }
                let text = format!("{}: {}", says.join(", "), correction.reason);
                (Some(correction.entry), text, before)
            }
            _ => continue,
        };
        let stamp = item.entry.stamp()?;
        lines.push(Remark {
            entry: item.entry.seq,
            entered: minute(&stamp.entered),
            by: stamp.by,
            about,
            text,
            before,
        });
    }
    Ok(lines)
}

/// What the corrected entry says itself.
fn before(items: &[Item], correction: &Correction) -> Result<String, RecordsError> {
    let Some(item) = items.iter().find(|item| item.entry.seq == correction.entry) else {
        return Ok(String::new());
    };
    if item.entry.kind()? != Kind::Recording || correction.facts.is_empty() {
        return Ok(format!("entry {} in force", correction.entry));
    }
    let said: Recording = item.entry.content()?;
    let word = |word: &str| match word {
        "model" => said.unit.model.clone(),
        "serial" => said.unit.serial.clone(),
        "firmware" => said.unit.firmware.clone(),
        "bench" => said.bench.clone(),
        "fixture" => said.rig.fixture.clone(),
        "operator" => said.operator.clone(),
        _ => said.batch.clone(),
    };
    let lines: Vec<String> = correction
        .facts
        .keys()
        .map(|key| format!("{key} was {}", word(key)))
        .collect();
    Ok(lines.join(", "))
}
