//! A year of an invented factory as records, to look at and to try things on.

use quality::factory::{MODELS, Model, Planted, Year, year};
use records::content::{Calibration, Fit, Measured, Procedure, Program, Recording, Rig, Unit};
use records::limits::Limits;
use records::{Filter, Stamp, Store, sha256, text_of};

use super::sheet::{Study, StudyBy, Wanted, sheet};
use super::{ArchiveError, unfit};
use crate::report::records_page::Sheet;

/// Working days of the factory's year and the days of the calendar for them.
const CALENDAR: f64 = 364.0 / 250.0;
/// Seconds of a day.
const DAY_S: f64 = 86_400.0;
/// Measurements that go into the records in one change.
const AT_ONCE: usize = 200;
/// The factory's measurands as fits name them, their SI unit, and SI per unit of the factory.
const MEASURANDS: [(&str, &str, f64); 5] = [
    ("latency", "s", 1e-3),
    ("bandwidth", "Hz", 1.0),
    ("breakaway", "N.m", 1.0),
    ("largest_torque", "N.m", 1.0),
    ("resonance", "Hz", 1.0),
];
/// Index of the measurand of check units and of the gauge study, and of their model.
const FRICTION: usize = 2;
const CHECKED: usize = 1;
/// The unit that is measured every week in every fixture.
const CHECK_UNIT: &str = "B9-CHECK";

/// What was entered.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Entered {
    /// Measurements of units.
    pub measurements: usize,
    /// Of those, of the check unit.
    pub checks: usize,
    /// Of those, of the gauge study.
    pub study: usize,
    /// Serial numbers of the two odd units.
    pub odd: Vec<String>,
}

/// A limits file of the demo: its name and text.
pub struct LimitsFile {
    /// Name of the model.
    pub model: &'static str,
    /// Name of the file.
    pub file: String,
    /// What is in it.
    pub text: String,
}

/// Enters a year of `units` of each of four models, with a firmware that answers later, a wearing fixture, a bad batch of belts and
/// two odd units, all by `seed`.
///
/// # Errors
/// [`ArchiveError::Unfit`] when the records are not empty, or there are too few units; what the database says.
pub fn enter_year(
    store: &mut Store,
    units: usize,
    seed: u64,
    stamp: &Stamp,
) -> Result<Entered, ArchiveError> {
    let address = store.address();
    let wrong = |problem: String| unfit(std::path::Path::new(&address), problem);
    let entries = store.end()?.0;
    if entries > 0 {
        return Err(wrong(format!(
            "holds {entries} entries; the invented factory needs records of its own"
        )));
    }
    let made = year(units, Planted::ALL, seed).map_err(|refusal| wrong(refusal.to_string()))?;
    let mut all: Vec<(f64, Recording, Fit)> = Vec::new();
    for record in &made.records {
        let place = Place {
            bench: &record.bench,
            fixture: &record.fixture,
            firmware: &record.firmware,
            batch: &record.batch,
            operator: &record.operator,
        };
        let values = record.values.iter().copied().enumerate();
        all.push(measured(
            &MODELS[record.model],
            &record.unit,
            record.day,
            place,
            values,
        ));
    }
    let measurements = all.len();
    all.extend(again(&made));
    // Records are entered in the order of time.
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total = all.len();
    let numbered = all
        .into_iter()
        .enumerate()
        .map(|(number, (_, mut recording, mut fit))| {
            let seal = sha256(format!("invented factory, seed {seed}, measurement {number}").as_bytes());
            recording.seal.clone_from(&seal);
            recording.run_id = format!("demo-{number}");
            fit.seal = seal;
            (recording, fit, stamp.clone())
        });
    store.add_all(numbered, AT_ONCE)?;
    let checks = made.checks.len();
    Ok(Entered {
        measurements,
        checks,
        study: total - measurements - checks,
        odd: made.odd.to_vec(),
    })
}

/// Check unit and gauge study.
fn again(made: &Year) -> Vec<(f64, Recording, Fit)> {
    let model = &MODELS[CHECKED];
    let mut all = Vec::new();
    for (number, check) in made.checks.iter().enumerate() {
        let bench = format!("bench {}", number % 3 + 1);
        let place = Place {
            bench: &bench,
            fixture: &check.fixture,
            firmware: "1.4",
            batch: "",
            operator: "weekly check",
        };
        // A quarter of an hour apart.
        let day = check.day + 0.01 * (number % 4) as f64;
        all.push(measured(model, CHECK_UNIT, day, place, [(FRICTION, check.value)]));
    }
    for (unit, row) in made.gauge.iter().enumerate() {
        for (bench, cell) in row.iter().enumerate() {
            for (repeat, value) in cell.iter().enumerate() {
                let bench = format!("bench {}", bench + 1);
                let place = Place {
                    bench: &bench,
                    fixture: "fixture A",
                    firmware: "1.4",
                    batch: "",
                    operator: "gauge study",
                };
                let day = 2.0 + 0.01 * (3 * unit + repeat) as f64;
                all.push(measured(
                    model,
                    &study_unit(unit),
                    day,
                    place,
                    [(FRICTION, *value)],
                ));
            }
        }
    }
    all
}

fn study_unit(number: usize) -> String {
    format!("B9-STUDY-{:02}", number + 1)
}

struct Place<'a> {
    bench: &'a str,
    fixture: &'a str,
    firmware: &'a str,
    batch: &'a str,
    operator: &'a str,
}

/// The instant `second` after the factory's first shift, Monday 2025-01-06 at 6 h.
fn instant(second: u64) -> String {
    const FIRST_SHIFT: i64 = 1_736_143_200;
    text_of(FIRST_SHIFT.saturating_add_unsigned(second))
}

/// A measurement without its seal, which numbers it.
fn measured(
    model: &Model,
    unit: &str,
    day: f64,
    place: Place<'_>,
    values: impl IntoIterator<Item = (usize, f64)>,
) -> (f64, Recording, Fit) {
    let created = instant((day * CALENDAR * DAY_S) as u64);
    let software = Program {
        name: "invented factory".to_owned(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        build: String::new(),
    };
    let recording = Recording {
        created,
        unit: Unit {
            model: model.name.to_owned(),
            serial: unit.to_owned(),
            firmware: place.firmware.to_owned(),
        },
        bench: place.bench.to_owned(),
        rig: Rig {
            name: format!("{} with {}", place.bench, place.fixture),
            kind: "invented".to_owned(),
            fixture: place.fixture.to_owned(),
            sha256: String::new(),
        },
        mounting: "clamped".to_owned(),
        operator: place.operator.to_owned(),
        batch: place.batch.to_owned(),
        calibration: Calibration {
            sensor: format!("sensor of {}", place.bench),
            certificate: "D-2025-01".to_owned(),
            calibrated: "2024-12-16".to_owned(),
            due: "2026-02-16".to_owned(),
            ..Calibration::default()
        },
        procedure: Procedure {
            name: "end of line".to_owned(),
            sha256: sha256(b"invented procedure"),
        },
        software: software.clone(),
        completion: "complete".to_owned(),
        file: "none: invented".to_owned(),
        ..Recording::default()
    };
    let measured = values
        .into_iter()
        .map(|(which, value)| {
            let (id, si, factor) = MEASURANDS[which];
            let (value, u) = (factor * value, factor * model.measurands[which].bench_sd);
            Measured {
                id: id.to_owned(),
                unit: si.to_owned(),
                value: Some(value),
                u: Some(u),
                interval: Some([value - 2.0 * u, value + 2.0 * u]),
                level: Some(0.95),
                ..Measured::default()
            }
        })
        .collect();
    let fit = Fit {
        software,
        sound: true,
        measured,
        ..Fit::default()
    };
    (day, recording, fit)
}

/// The limits of each model.
#[must_use]
pub fn limits_files() -> Vec<LimitsFile> {
    let of = |model: &'static Model| {
        let mut text = format!(
            "[limits]\nname = \"{0}, end of line\"\nmodel = \"{0}\"\noverdue = \"refuse\"\n\n[limits.rule]\nkind = \"guard-band\"\nfactor = 1.65\n",
            model.name
        );
        for (m, (id, ..)) in model.measurands.iter().zip(MEASURANDS) {
            text += &format!("\n[[limits.measurand]]\nid = \"{id}\"\n");
            for (key, limit) in [("reject_below", m.lower), ("reject_above", m.upper)] {
                if let Some(limit) = limit {
                    text += &format!("{key} = \"{limit:.4} {}\"\n", m.unit);
                }
            }
        }
        LimitsFile {
            model: model.name,
            file: format!("{}.toml", model.name.to_lowercase().replace(' ', "-")),
            text,
        }
    };
    MODELS.iter().map(of).collect()
}

/// What the page of a model of the demo shows.
///
/// # Errors
/// What the database says; limits that cannot be read.
pub fn demo_sheet(store: &mut Store, limits: &LimitsFile) -> Result<Sheet, ArchiveError> {
    let data = store.model_data(limits.model, &Filter::default(), None)?;
    let checked = limits.model == MODELS[CHECKED].name;
    let wanted = Wanted {
        limits: Some(Limits::from_toml(&limits.file, &limits.text).map_err(records::RecordsError::from)?),
        check_units: if checked {
            vec![CHECK_UNIT.to_owned()]
        } else {
            Vec::new()
        },
        study: checked.then(|| Study {
            units: (0..10).map(study_unit).collect(),
            by: StudyBy::Bench,
            measurand: MEASURANDS[FRICTION].0.to_owned(),
        }),
        ..Wanted::default()
    };
    sheet(&data, limits.model, "an invented factory, one year", &wanted)
}

#[cfg(test)]
mod tests;
