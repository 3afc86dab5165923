//! From a model's records to what its page shows.

use std::collections::{BTreeMap, BTreeSet};

use quality::charts::pooled_spread;
use quality::conformity;
use records::limits::{Limit, Limits};
use records::{Measurement, ModelData, Series};

use super::units::shown;
use super::{ArchiveError, unfit};
use crate::report::records_page::{CheckSeries, GaugeData, Measurand, Row, Sheet};

/// Least values of a measurand for which a page draws it.
pub(super) const LEAST: usize = 8;
/// Most measurands of a page that nobody chose.
pub(super) const MOST: usize = 12;
/// Seconds of a day.
pub(super) const DAY_S: f64 = 86_400.0;

/// How many of the newest measurements of a model a page shows unless more are asked for: enough for every statistic on it, and
/// still a page that a browser opens at once.
pub const NEWEST: usize = 2000;

/// What tells the runs of a gauge study apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StudyBy {
    /// The bench.
    Bench,
    /// The operator.
    Operator,
}

/// A crossed gauge study among the records: every unit on every bench (or by every operator), as often everywhere.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Study {
    /// Serial numbers of the units.
    pub units: Vec<String>,
    /// What is crossed with them.
    pub by: StudyBy,
    /// Measurand, as in `fit.json`.
    pub measurand: String,
}

/// What a page is to show.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Wanted {
    /// Measurands, as in `fit.json`; none: those of the limits, or else the twelve that were measured most often.
    pub measurands: Vec<String>,
    /// Limits of the model.
    pub limits: Option<Limits>,
    /// Serial numbers of units that are measured again and again to check a bench; they are shown apart.
    pub check_units: Vec<String>,
    /// A gauge study.
    pub study: Option<Study>,
    /// Where its measurements are, if not among those of the page: a study may be older than what the page shows.
    pub study_data: Option<ModelData>,
}

/// The page's contents.
///
/// # Errors
/// [`ArchiveError::Unfit`] when nothing is left to show, a measurand is unknown, or a study is not whole.
pub fn sheet(data: &ModelData, model: &str, about: &str, wanted: &Wanted) -> Result<Sheet, ArchiveError> {
    let wrong = |problem: String| unfit(std::path::Path::new(model), problem);
    let chosen = chosen(&data.series, wanted).map_err(wrong)?;
    let apart: BTreeSet<&str> = wanted.check_units.iter().map(String::as_str).collect();
    let studied: BTreeSet<&str> = wanted
        .study
        .iter()
        .flat_map(|s| s.units.iter().map(String::as_str))
        .collect();
    let by_measurement: Vec<BTreeMap<usize, f64>> = chosen.iter().map(|series| values_of(series)).collect();
    let first = data.measurements.first().map_or(0, |m| m.at);
    let day = |m: &Measurement| (m.at - first) as f64 / DAY_S;
    let mut seen = BTreeSet::new();
    let mut rows = Vec::new();
    for (place, m) in data.measurements.iter().enumerate() {
        // A unit of a study counts once among the product; its repeats would pretend to a narrower one.
        let again = studied.contains(m.serial.as_str()) && !seen.insert(m.serial.as_str());
        if apart.contains(m.serial.as_str()) || again {
            continue;
        }
        let values: Vec<Option<f64>> = by_measurement.iter().map(|v| v.get(&place).copied()).collect();
        if values.iter().all(Option::is_none) {
            continue;
        }
        rows.push(Row {
            unit: m.serial.clone(),
            day: day(m),
            date: date(m).to_owned(),
            bench: m.bench.clone(),
            fixture: m.fixture.clone(),
            firmware: m.firmware.clone(),
            batch: m.batch.clone(),
            operator: m.operator.clone(),
            values,
        });
    }
    if rows.len() < LEAST {
        return Err(wrong(format!(
            "{} measurements are too few for a page, which needs {LEAST}; widen the filter or measure more",
            rows.len()
        )));
    }
    let gauge = match &wanted.study {
        Some(study) => Some(gauge(wanted.study_data.as_ref().unwrap_or(data), study).map_err(wrong)?),
        None => None,
    };
    let repeats_sd = gauge.as_ref().map(|gauge| {
        // Cells that do not scatter have no spread to refuse by.
        pooled_spread(&gauge.cells.concat()).map_or(0.0, |spread| spread.sigma)
    });
    let measurands = chosen
        .iter()
        .map(|series| {
            let studied = wanted
                .study
                .as_ref()
                .is_some_and(|study| study.measurand == series.id);
            Measurand {
                name: series.id.clone(),
                unit: shown(&series.unit).0.to_owned(),
                limits: wanted
                    .limits
                    .as_ref()
                    .and_then(|limits| limits_of(limits, series)),
                bench_sd: repeats_sd.filter(|_| studied),
            }
        })
        .collect();
    Ok(Sheet {
        model: model.to_owned(),
        about: about.to_owned(),
        measurands,
        rows,
        checks: checks(data, &chosen, wanted, day),
        gauge,
    })
}

pub(super) fn date(m: &Measurement) -> &str {
    m.created.get(..10).unwrap_or(&m.created)
}

/// Values by measurement, in the unit shown.
fn values_of(series: &Series) -> BTreeMap<usize, f64> {
    let factor = shown(&series.unit).1;
    series
        .points
        .iter()
        .filter_map(|point| Some((point.of, factor * point.value?)))
        .collect()
}

fn chosen<'d>(series: &'d [Series], wanted: &Wanted) -> Result<Vec<&'d Series>, String> {
    let of_limits = wanted.limits.iter().flat_map(|limits| &limits.measurands);
    let of_limits: Vec<&str> = of_limits.map(|one| one.id.as_str()).collect();
    let count = |s: &Series| s.points.iter().filter(|p| p.value.is_some()).count();
    let asked: Vec<&str> = match wanted.measurands.as_slice() {
        [] => of_limits,
        some => some.iter().map(String::as_str).collect(),
    };
    if asked.is_empty() {
        let mut usual: Vec<&Series> = series.iter().filter(|s| count(s) >= LEAST).collect();
        usual.sort_by_key(|s| std::cmp::Reverse(count(s)));
        usual.truncate(MOST);
        return Ok(usual);
    }
    asked
        .iter()
        .map(|id| {
            let found = series.iter().filter(|s| s.id == *id).max_by_key(|s| count(s));
            found.ok_or_else(|| {
                let known: Vec<&str> = series.iter().map(|s| s.id.as_str()).collect();
                format!("nothing was measured of \"{id}\"; there is {}", known.join(", "))
            })
        })
        .collect()
}

/// The limits beyond which is rejected, in the unit shown; `None` without any, or in another unit than was measured.
fn limits_of(limits: &Limits, series: &Series) -> Option<conformity::Limits> {
    let one = limits.measurands.iter().find(|one| one.id == series.id)?;
    let factor = shown(&series.unit).1;
    let value = |limit: Option<Limit>| {
        limit
            .filter(|limit| limit.unit == series.unit)
            .map(|limit| factor * limit.value)
    };
    conformity::Limits::new(value(one.reject_below), value(one.reject_above)).ok()
}

/// Each check unit in each fixture, for the measurand that it was measured by most often.
fn checks(
    data: &ModelData,
    chosen: &[&Series],
    wanted: &Wanted,
    day: impl Fn(&Measurement) -> f64,
) -> Vec<CheckSeries> {
    let mut all = Vec::new();
    for serial in &wanted.check_units {
        let of_unit = |place: &usize| data.measurements.get(*place).is_some_and(|m| m.serial == *serial);
        let values = chosen
            .iter()
            .map(|series| {
                let mut values = values_of(series);
                values.retain(|place, _| of_unit(place));
                (*series, values)
            })
            .max_by_key(|(_, values)| values.len());
        let Some((series, values)) = values else { continue };
        let mut by_fixture: BTreeMap<&str, (Vec<f64>, Vec<f64>)> = BTreeMap::new();
        for (place, value) in values {
            let m = &data.measurements[place];
            let (days, found) = by_fixture.entry(m.fixture.as_str()).or_default();
            days.push(day(m));
            found.push(value);
        }
        for (fixture, (days, values)) in by_fixture {
            all.push(CheckSeries {
                name: format!("{serial} on {fixture}"),
                measurand: format!("{}, {}", series.id, shown(&series.unit).0),
                days,
                values,
                known: None,
            });
        }
    }
    all
}

/// The cells of a study; every one must hold as many measurements as the others.
pub(super) fn gauge(data: &ModelData, study: &Study) -> Result<GaugeData, String> {
    let series = data
        .series
        .iter()
        .find(|s| s.id == study.measurand)
        .ok_or_else(|| {
            format!(
                "nothing was measured of \"{}\" in the gauge study",
                study.measurand
            )
        })?;
    let values = values_of(series);
    let who = |m: &Measurement| match study.by {
        StudyBy::Bench => m.bench.clone(),
        StudyBy::Operator => m.operator.clone(),
    };
    let of_study = |m: &Measurement| study.units.contains(&m.serial);
    let operators: BTreeSet<String> = data
        .measurements
        .iter()
        .filter(|m| of_study(m))
        .map(who)
        .collect();
    let operators: Vec<String> = operators.into_iter().collect();
    let cells: Vec<Vec<Vec<f64>>> = study
        .units
        .iter()
        .map(|unit| {
            operators
                .iter()
                .map(|operator| {
                    let in_cell = |m: &Measurement| m.serial == *unit && who(m) == *operator;
                    let places = (0..data.measurements.len()).filter(|i| in_cell(&data.measurements[*i]));
                    places.filter_map(|place| values.get(&place).copied()).collect()
                })
                .collect()
        })
        .collect();
    let sizes: BTreeSet<usize> = cells.iter().flatten().map(Vec::len).collect();
    if sizes.len() != 1 || sizes.contains(&0) {
        let odd = study.units.iter().zip(&cells).find_map(|(unit, row)| {
            let most = sizes.last().copied().unwrap_or(0);
            let at = row.iter().position(|cell| cell.len() != most || most == 0)?;
            Some((
                unit,
                operators.get(at).cloned().unwrap_or_default(),
                row[at].len(),
                most,
            ))
        });
        let (unit, operator, got, most) = odd.ok_or("the gauge study has no measurement")?;
        return Err(format!(
            "the gauge study is not whole: {unit} by \"{operator}\" has {got} values of {}, others have {most}; measure what is missing",
            study.measurand
        ));
    }
    Ok(GaugeData {
        measurand: format!("{}, {}", study.measurand, shown(&series.unit).0),
        operators,
        cells,
        tolerance: None,
    })
}
