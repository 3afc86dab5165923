//! What the records say of many units: measurements by filter, and a model's values.
//!
//! What counts is what is in force: recordings as corrected and not withdrawn, the last fit of each that is not withdrawn, and
//! the last judgement of that fit.

use std::collections::{BTreeMap, HashMap, HashSet};

use serde::Serialize;

use crate::backend::{Cell, Database, all, cell};
use crate::content::Verdict;
use crate::error::RecordsError;
use crate::store::Store;

/// Which measurements are asked for; what is `None` is not asked.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Filter {
    /// Model of the unit.
    pub model: Option<String>,
    /// Serial number of the unit.
    pub serial: Option<String>,
    /// Firmware.
    pub firmware: Option<String>,
    /// Bench.
    pub bench: Option<String>,
    /// Fixture.
    pub fixture: Option<String>,
    /// Operator.
    pub operator: Option<String>,
    /// Batch.
    pub batch: Option<String>,
    /// From this instant on, seconds since 1970.
    pub from: Option<i64>,
    /// Before this instant.
    pub until: Option<i64>,
    /// Of those that are left, only so many of the newest.
    pub newest: Option<usize>,
}

impl Filter {
    fn takes(&self, m: &Measurement) -> bool {
        let same = |asked: &Option<String>, is: &str| asked.as_deref().is_none_or(|asked| asked == is);
        same(&self.model, &m.model)
            && same(&self.serial, &m.serial)
            && same(&self.firmware, &m.firmware)
            && same(&self.bench, &m.bench)
            && same(&self.fixture, &m.fixture)
            && same(&self.operator, &m.operator)
            && same(&self.batch, &m.batch)
            && self.from.is_none_or(|from| m.at >= from)
            && self.until.is_none_or(|until| m.at < until)
    }
}

/// A recording with what was found of it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Measurement {
    /// The recording's entry.
    pub recording: i64,
    /// The entry of the fit in force; `None` where all are withdrawn.
    pub fit: Option<i64>,
    /// Model of the unit.
    pub model: String,
    /// Its serial number.
    pub serial: String,
    /// Its firmware.
    pub firmware: String,
    /// Where it was measured.
    pub bench: String,
    /// The rig.
    pub rig: String,
    /// The fixture.
    pub fixture: String,
    /// Who measured.
    pub operator: String,
    /// The batch.
    pub batch: String,
    /// The procedure.
    pub procedure: String,
    /// The calibration: torque sensor and certificate.
    pub calibration: String,
    /// When it was begun, RFC 3339.
    pub created: String,
    /// The same, seconds since 1970.
    pub at: i64,
    /// How the run ended.
    pub completion: String,
    /// Whether the calibration had run out.
    pub overdue: bool,
    /// Whether the run and all checks on it were as they should be.
    pub sound: bool,
    /// What the last judgement says.
    pub verdict: Option<Verdict>,
    /// Whether a warning limit is passed.
    pub warning: bool,
}

/// A value of a measurement.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Point {
    /// Which of [`ModelData::measurements`].
    pub of: usize,
    /// SI value; `None` where it was refused.
    pub value: Option<f64>,
    /// Its standard uncertainty.
    pub u: Option<f64>,
}

/// One measurand over the measurements of a model.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Series {
    /// The measurand, as in the fit document.
    pub id: String,
    /// SI unit; empty for a series of refusals alone.
    pub unit: String,
    /// Its values, by the measurements' time.
    pub points: Vec<Point>,
}

/// What is known of a model.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ModelData {
    /// The measurements, by time.
    pub measurements: Vec<Measurement>,
    /// The measurands, by name.
    pub series: Vec<Series>,
}

impl Store {
    /// The measurements that a filter takes, by time.
    ///
    /// # Errors
    /// That they cannot be read.
    pub fn measurements(&mut self, filter: &Filter) -> Result<Vec<Measurement>, RecordsError> {
        self.reading(|database| measurements(database, filter))
    }

    /// What was measured on the units of a model: all measurands, or those named.
    ///
    /// # Errors
    /// That it cannot be read.
    pub fn model_data(
        &mut self,
        model: &str,
        filter: &Filter,
        only: Option<&[String]>,
    ) -> Result<ModelData, RecordsError> {
        let filter = Filter {
            model: Some(model.to_owned()),
            ..filter.clone()
        };
        self.reading(|database| {
            let measurements = measurements(database, &filter)?;
            let series = series(database, model, &measurements, only)?;
            Ok(ModelData { measurements, series })
        })
    }
}

/// Names by number.
fn names(
    database: &mut dyn Database,
    table: &str,
    column: &str,
) -> Result<HashMap<i64, String>, RecordsError> {
    let sql = format!("SELECT entry, {column} FROM {table}");
    let mut names = HashMap::new();
    database.rows(&sql, &[], &mut |row| {
        names.insert(cell(row, 0).int().unwrap_or(0), cell(row, 1).text().to_owned());
        Ok(())
    })?;
    Ok(names)
}

/// Entries whose last correction withdraws them.
fn withdrawn(database: &mut dyn Database) -> Result<HashMap<i64, bool>, RecordsError> {
    let sql = "SELECT corrected, withdrawn FROM corrections ORDER BY entry";
    let rows = all(database, sql, &[])?;
    let one = |row: &Vec<Cell>| (cell(row, 0).int().unwrap_or(0), cell(row, 1).int() == Some(1));
    Ok(rows.iter().map(one).collect())
}

/// The fit of a recording that is in force.
struct InForce {
    fit: i64,
    sound: bool,
}

/// The condition that narrows a question to a recording's model or unit, with its parameters.
fn narrowed(filter: &Filter) -> (&'static str, Vec<Cell>) {
    match (&filter.serial, &filter.model) {
        (Some(serial), _) => (
            "r.unit IN (SELECT entry FROM units WHERE serial = $1)",
            vec![serial.as_str().into()],
        ),
        (None, Some(model)) => (
            "r.model IN (SELECT entry FROM models WHERE name = $1)",
            vec![model.as_str().into()],
        ),
        (None, None) => ("1 = 1", Vec::new()),
    }
}

fn measurements(database: &mut dyn Database, filter: &Filter) -> Result<Vec<Measurement>, RecordsError> {
    let gone = withdrawn(database)?;
    let is_gone = |entry: i64| gone.get(&entry).copied().unwrap_or(false);
    let (narrow, asked) = narrowed(filter);

    let sql = format!(
        "SELECT f.recording, f.entry, f.sound FROM recordings r JOIN fits f ON f.recording = r.recording WHERE {narrow}"
    );
    let mut in_force: HashMap<i64, InForce> = HashMap::new();
    database.rows(&sql, &asked, &mut |row| {
        let number = |at| cell(row, at).int().unwrap_or(0);
        let (recording, fit) = (number(0), number(1));
        if !is_gone(fit) && in_force.get(&recording).is_none_or(|known| known.fit < fit) {
            let sound = number(2) == 1;
            in_force.insert(recording, InForce { fit, sound });
        }
        Ok(())
    })?;

    let sql = format!(
        "SELECT j.fit, j.verdict, j.warning, j.entry FROM recordings r JOIN fits f ON f.recording = r.recording \
         JOIN judgements j ON j.fit = f.entry WHERE {narrow}"
    );
    let mut judged: HashMap<i64, (i64, Option<Verdict>, bool)> = HashMap::new();
    database.rows(&sql, &asked, &mut |row| {
        let number = |at| cell(row, at).int().unwrap_or(0);
        let (fit, entry) = (number(0), number(3));
        if !is_gone(entry) && judged.get(&fit).is_none_or(|(known, ..)| *known < entry) {
            let verdict = Verdict::of_word(cell(row, 1).text());
            judged.insert(fit, (entry, verdict, number(2) == 1));
        }
        Ok(())
    })?;

    let models = names(database, "models", "name")?;
    let firmwares = names(database, "firmwares", "name")?;
    let benches = names(database, "benches", "name")?;
    let rigs = names(database, "rigs", "name")?;
    let fixtures = names(database, "rigs", "fixture")?;
    let operators = names(database, "operators", "name")?;
    let procedures = names(database, "procedures", "name")?;
    let calibrations = names(database, "calibrations", "sensor || ', ' || certificate")?;

    let sql = format!(
        "SELECT r.recording, r.model, u.serial, r.firmware, r.bench, r.rig, r.operator, r.procedure, r.batch, r.created, \
         r.at, r.completion, r.overdue, r.calibration FROM recordings r JOIN units u ON u.entry = r.unit WHERE {narrow} \
         AND NOT EXISTS (SELECT 1 FROM recordings s WHERE s.recording = r.recording AND s.entry > r.entry)"
    );
    let mut found = Vec::new();
    database.rows(&sql, &asked, &mut |row| {
        let number = |at| cell(row, at).int().unwrap_or(0);
        let text = |at| cell(row, at).text().to_owned();
        let named = |names: &HashMap<i64, String>, at| names.get(&number(at)).cloned().unwrap_or_default();
        let recording = number(0);
        if is_gone(recording) {
            return Ok(());
        }
        let fit = in_force.get(&recording);
        let verdict = fit.and_then(|fit| judged.get(&fit.fit));
        let one = Measurement {
            recording,
            fit: fit.map(|fit| fit.fit),
            model: named(&models, 1),
            serial: text(2),
            firmware: named(&firmwares, 3),
            bench: named(&benches, 4),
            rig: named(&rigs, 5),
            fixture: named(&fixtures, 5),
            operator: named(&operators, 6),
            procedure: named(&procedures, 7),
            calibration: named(&calibrations, 13),
            batch: text(8),
            created: text(9),
            at: number(10),
            completion: text(11),
            overdue: number(12) == 1,
            sound: fit.is_some_and(|fit| fit.sound),
            verdict: verdict.and_then(|(_, verdict, _)| *verdict),
            warning: verdict.is_some_and(|(.., warning)| *warning),
        };
        if filter.takes(&one) {
            found.push(one);
        }
        Ok(())
    })?;
    found.sort_by_key(|one| (one.at, one.recording));
    if let Some(newest) = filter.newest {
        found.drain(..found.len().saturating_sub(newest));
    }
    Ok(found)
}

fn series(
    database: &mut dyn Database,
    model: &str,
    measurements: &[Measurement],
    only: Option<&[String]>,
) -> Result<Vec<Series>, RecordsError> {
    let at: HashMap<i64, usize> = measurements
        .iter()
        .enumerate()
        .filter_map(|(at, one)| Some((one.fit?, at)))
        .collect();
    let mut all_series: HashMap<i64, Series> = HashMap::new();
    database.rows("SELECT measurand, name, unit FROM measurands", &[], &mut |row| {
        let (id, unit) = (cell(row, 1).text(), cell(row, 2).text());
        if only.is_none_or(|only| only.iter().any(|asked| asked == id)) {
            let series = Series {
                id: id.to_owned(),
                unit: unit.to_owned(),
                points: Vec::new(),
            };
            all_series.insert(cell(row, 0).int().unwrap_or(0), series);
        }
        Ok(())
    })?;
    let asked: Option<Vec<i64>> = only.map(|_| all_series.keys().copied().collect());
    let models = all(
        database,
        "SELECT entry FROM models WHERE name = $1",
        &[model.into()],
    )?;
    let first_fit = at.keys().copied().min().unwrap_or(0);
    for model in models.iter().filter_map(|row| cell(row, 0).int()) {
        database.results(
            model,
            asked.as_deref(),
            first_fit,
            &mut |measurand, fit, value, u| {
                if let (Some(of), Some(series)) = (at.get(&fit), all_series.get_mut(&measurand)) {
                    series.points.push(Point { of: *of, value, u });
                }
            },
        )?;
    }
    let mut found: Vec<Series> = all_series
        .into_values()
        .filter(|series| !series.points.is_empty())
        .collect();
    found
        .iter_mut()
        .for_each(|series| series.points.sort_by_key(|point| point.of));
    found.sort_by(|a, b| (&a.id, &a.unit).cmp(&(&b.id, &b.unit)));
    Ok(found)
}

/// A unit in a few words.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct UnitSummary {
    /// Model.
    pub model: String,
    /// Serial number.
    pub serial: String,
    /// Firmware when it was last measured.
    pub firmware: String,
    /// Where it was last measured.
    pub bench: String,
    /// How often it was measured.
    pub measurements: usize,
    /// When it was last measured, RFC 3339.
    pub last: String,
    /// What the last judgement of its last measurement says.
    pub verdict: Option<Verdict>,
    /// Whether a warning limit is passed there.
    pub warning: bool,
    /// Whether the calibration had run out when it was last measured.
    pub overdue: bool,
}

/// The units of measurements, by model and serial number.
#[must_use]
pub fn units(measurements: &[Measurement]) -> Vec<UnitSummary> {
    let mut found: BTreeMap<(&str, &str), UnitSummary> = BTreeMap::new();
    for m in measurements {
        let unit = found.entry((&m.model, &m.serial)).or_insert_with(|| UnitSummary {
            model: m.model.clone(),
            serial: m.serial.clone(),
            firmware: String::new(),
            bench: String::new(),
            measurements: 0,
            last: String::new(),
            verdict: None,
            warning: false,
            overdue: false,
        });
        // They come by time: the last one stays.
        unit.measurements += 1;
        unit.firmware.clone_from(&m.firmware);
        unit.bench.clone_from(&m.bench);
        unit.last.clone_from(&m.created);
        (unit.verdict, unit.warning, unit.overdue) = (m.verdict, m.warning, m.overdue);
    }
    found.into_values().collect()
}

/// A model or a bench in a few words.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Group {
    /// Its name.
    pub name: String,
    /// Units.
    pub units: usize,
    /// Measurements.
    pub measurements: usize,
    /// The first, RFC 3339.
    pub first: String,
    /// The last.
    pub last: String,
    /// Measurements that were judged to pass.
    pub pass: usize,
    /// To fail.
    pub fail: usize,
    /// Of which nothing can be said.
    pub undecided: usize,
    /// Made when the calibration had run out.
    pub overdue: usize,
}

/// The models of measurements.
#[must_use]
pub fn by_model(measurements: &[Measurement]) -> Vec<Group> {
    grouped(measurements, |m| &m.model)
}

/// The benches of measurements.
#[must_use]
pub fn by_bench(measurements: &[Measurement]) -> Vec<Group> {
    grouped(measurements, |m| &m.bench)
}

fn grouped(measurements: &[Measurement], name: impl Fn(&Measurement) -> &String) -> Vec<Group> {
    let mut units: HashMap<&str, HashSet<(&str, &str)>> = HashMap::new();
    let mut found: BTreeMap<&str, Group> = BTreeMap::new();
    for m in measurements {
        let group = found.entry(name(m)).or_default();
        let units = units.entry(name(m)).or_default();
        if group.measurements == 0 {
            group.name.clone_from(name(m));
            group.first.clone_from(&m.created);
        }
        units.insert((&m.model, &m.serial));
        group.units = units.len();
        group.measurements += 1;
        group.last.clone_from(&m.created);
        group.overdue += usize::from(m.overdue);
        match m.verdict {
            Some(Verdict::Pass) => group.pass += 1,
            Some(Verdict::Fail) => group.fail += 1,
            Some(Verdict::Undecided) => group.undecided += 1,
            None => {}
        }
    }
    found.into_values().collect()
}
