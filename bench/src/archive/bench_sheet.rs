//! From a bench's records to what its page shows.

use std::collections::{BTreeMap, BTreeSet};

use records::{Filter, Measurement, ModelData, Store};

use super::sheet::{DAY_S, LEAST, MOST, NEWEST, Study, date, gauge};
use super::units::shown;
use super::{ArchiveError, unfit};
use crate::report::records_page::{BenchRun, BenchSeries, BenchSheet, CheckSeries};

/// What the page of a bench is to show.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct BenchWanted {
    /// Measurands, as in `fit.json`; none: of each model the twelve that were measured most often.
    pub measurands: Vec<String>,
    /// Serial numbers of check units; none: the units that were measured on the bench on eight days or more.
    pub check_units: Vec<String>,
    /// A gauge study, across operators of this bench or across benches.
    pub study: Option<Study>,
}

/// What the page of a bench shows: its measurements that the filter takes, and of each model the newest.
///
/// # Errors
/// [`ArchiveError::Unfit`] when nothing was measured on it, or a study is not whole; what the database says.
pub fn bench_sheet(
    store: &mut Store,
    bench: &str,
    filter: &Filter,
    wanted: &BenchWanted,
) -> Result<BenchSheet, ArchiveError> {
    let wrong = |problem: String| unfit(std::path::Path::new(bench), problem);
    let filter = Filter {
        bench: Some(bench.to_owned()),
        ..filter.clone()
    };
    let measurements = store.measurements(&filter)?;
    if measurements.is_empty() {
        return Err(wrong(
            "nothing was measured on this bench, by the filter; `truerim records benches` lists those that are known".to_owned(),
        ));
    }
    let checks = match wanted.check_units.as_slice() {
        [] => measured_again(&measurements),
        some => some.iter().cloned().collect(),
    };
    let place: BTreeMap<i64, usize> = measurements
        .iter()
        .enumerate()
        .map(|(at, m)| (m.recording, at))
        .collect();
    let first = measurements.first().map_or(0, |m| m.at);
    let models: BTreeSet<&str> = measurements.iter().map(|m| m.model.as_str()).collect();
    let mut sheet = BenchSheet {
        bench: bench.to_owned(),
        about: store.address(),
        runs: measurements.iter().map(run).collect(),
        ..BenchSheet::default()
    };
    let newest = Filter {
        newest: Some(NEWEST),
        ..filter
    };
    let only = (!wanted.measurands.is_empty()).then_some(wanted.measurands.as_slice());
    for model in models {
        let data = store.model_data(model, &newest, only)?;
        for series in chosen(&data) {
            let product = points(&data, series, &place, |serial| !checks.contains(serial));
            let name = format!("{model}, {}", series.id);
            add(&mut sheet.series, &data, series, name, product, first);
            for serial in &checks {
                let check = points(&data, series, &place, |other| other == serial);
                if check.len() < LEAST {
                    continue;
                }
                let name = format!("check unit {serial}, {}", series.id);
                let (unit, factor) = shown(&series.unit);
                sheet.checks.push(CheckSeries {
                    name: name.clone(),
                    measurand: format!("{}, {unit}", series.id),
                    days: check.iter().map(|(_, of, _)| day(&data, *of, first)).collect(),
                    values: check.iter().map(|(.., value)| factor * value).collect(),
                    known: None,
                });
                add(&mut sheet.series, &data, series, name, check, first);
            }
        }
    }
    if let Some(study) = &wanted.study {
        let serial = study.units.first().map_or("", String::as_str);
        let model = store.unit(serial, None)?.model;
        let only = [study.measurand.clone()];
        let data = store.model_data(&model, &Filter::default(), Some(&only))?;
        sheet.gauge = Some(gauge(&data, study).map_err(wrong)?);
    }
    Ok(sheet)
}

/// Units that were measured on many days: whoever does that checks the bench.
fn measured_again(measurements: &[Measurement]) -> BTreeSet<String> {
    let mut days: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for m in measurements {
        days.entry(&m.serial).or_default().insert(date(m));
    }
    let often = days.into_iter().filter(|(_, days)| days.len() >= LEAST);
    often.map(|(serial, _)| serial.to_owned()).collect()
}

fn run(m: &Measurement) -> BenchRun {
    BenchRun {
        entry: m.recording,
        date: date(m).to_owned(),
        model: m.model.clone(),
        serial: m.serial.clone(),
        fixture: m.fixture.clone(),
        firmware: m.firmware.clone(),
        calibration: m.calibration.clone(),
        operator: m.operator.clone(),
        overdue: m.overdue,
        sound: m.sound,
        verdict: m.verdict.map_or_else(String::new, |v| v.word().to_owned()),
    }
}

fn day(data: &ModelData, of: usize, first: i64) -> f64 {
    data.measurements
        .get(of)
        .map_or(0.0, |m| (m.at - first) as f64 / DAY_S)
}

/// The series of a model that are measured most often.
fn chosen(data: &ModelData) -> Vec<&records::Series> {
    let count = |s: &records::Series| s.points.iter().filter(|p| p.value.is_some()).count();
    let mut usual: Vec<_> = data.series.iter().filter(|s| count(s) >= LEAST).collect();
    usual.sort_by_key(|s| std::cmp::Reverse(count(s)));
    usual.truncate(MOST);
    usual
}

/// Of a series: place among the bench's runs, place among the model's measurements, SI value.
fn points(
    data: &ModelData,
    series: &records::Series,
    place: &BTreeMap<i64, usize>,
    takes: impl Fn(&str) -> bool,
) -> Vec<(usize, usize, f64)> {
    series
        .points
        .iter()
        .filter_map(|point| {
            let m = data.measurements.get(point.of)?;
            let run = place.get(&m.recording)?;
            takes(&m.serial).then_some((*run, point.of, point.value?))
        })
        .collect()
}

fn add(
    all: &mut Vec<BenchSeries>,
    data: &ModelData,
    series: &records::Series,
    name: String,
    points: Vec<(usize, usize, f64)>,
    first: i64,
) {
    if points.len() < LEAST {
        return;
    }
    let (unit, factor) = shown(&series.unit);
    all.push(BenchSeries {
        name,
        unit: unit.to_owned(),
        runs: points.iter().map(|(run, ..)| *run).collect(),
        days: points.iter().map(|(_, of, _)| day(data, *of, first)).collect(),
        values: points.iter().map(|(.., value)| factor * value).collect(),
    });
}
