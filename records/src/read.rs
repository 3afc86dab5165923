//! What the records say of a unit.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use serde::Serialize;

use crate::backend::{Cell, Database, all, cell, first};
use crate::content::{Correction, Fit, Kind, Measured, Program, Recording, recording_key};
use crate::derive::entry_of;
use crate::entry::{Entry, FIRST_LINK};
use crate::error::RecordsError;
use crate::store::Store;

/// A unit, by what its type plate says.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct UnitName {
    /// Model.
    pub model: String,
    /// Serial number.
    pub serial: String,
}

/// An entry of a unit's history.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Item {
    /// The entry.
    pub entry: Entry,
    /// The corrections of it, in order.
    pub corrected_by: Vec<i64>,
    /// Whether it is withdrawn.
    pub withdrawn: bool,
    /// Whether a later fit of the same recording stands in its place.
    pub superseded: bool,
}

/// Part of the chain: what leads from one link to another.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Chain {
    /// Number and link of the entry before.
    pub before: (i64, String),
    /// The digests of the entries after it, in order.
    pub digests: Vec<String>,
    /// Number and link of the last of them.
    pub end: (i64, String),
}

/// What a fit says of a measurand.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Said {
    /// A value and its standard uncertainty.
    Value {
        /// SI value.
        value: f64,
        /// Its standard uncertainty.
        u: f64,
    },
    /// Nothing, and why: the word of a refusal, or `not measured`.
    Nothing {
        /// Why.
        refused: String,
    },
}

impl Said {
    fn of(measured: &Measured) -> Self {
        match measured.value {
            Some(value) => Self::Value {
                value,
                u: measured.u.unwrap_or(0.0),
            },
            None => Self::Nothing {
                refused: measured.refused.clone().unwrap_or_default(),
            },
        }
    }

    fn absent() -> Self {
        Self::Nothing {
            refused: "not measured".to_owned(),
        }
    }
}

/// One measurand in which two fits of a recording differ.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Difference {
    /// The measurand.
    pub id: String,
    /// SI unit.
    pub unit: String,
    /// What the earlier fit says.
    pub before: Said,
    /// What the later one says.
    pub after: Said,
    /// By how many standard uncertainties (the larger of the two) the value moved.
    pub times_u: Option<f64>,
}

/// Two fits of a recording, one after the other, and where they differ.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Refit {
    /// The recording's entry.
    pub recording: i64,
    /// The earlier fit's entry.
    pub before: i64,
    /// The program that made it.
    pub before_by: String,
    /// The later fit's entry.
    pub after: i64,
    /// The program that made it.
    pub after_by: String,
    /// Measurands that neither lost nor gained nor moved.
    pub same: usize,
    /// The others.
    pub differences: Vec<Difference>,
}

impl Store {
    /// The unit of a serial number; of a model where several have one of that number.
    ///
    /// # Errors
    /// [`RecordsError::Unknown`] when there is none, or more than one.
    pub fn unit(&mut self, serial: &str, model: Option<&str>) -> Result<UnitName, RecordsError> {
        let sql = "SELECT m.name FROM units u JOIN models m ON m.entry = u.model WHERE u.serial = $1";
        let rows = all(self.database.as_mut(), sql, &[serial.into()])?;
        let models: Vec<String> = rows.iter().map(|row| cell(row, 0).text().to_owned()).collect();
        let fits = |name: &&String| model.is_none_or(|model| **name == model);
        let found: Vec<&String> = models.iter().filter(fits).collect();
        match found.as_slice() {
            [model] => Ok(UnitName {
                model: (*model).clone(),
                serial: serial.to_owned(),
            }),
            [] => Err(RecordsError::Unknown {
                what: format!("no unit {serial} is recorded at {}", self.address),
                advice: "`truerim records units` lists those that are".to_owned(),
            }),
            _ => Err(RecordsError::Unknown {
                what: format!(
                    "units {serial} of several models are recorded: {}",
                    models.join(", ")
                ),
                advice: "say which with --model".to_owned(),
            }),
        }
    }

    /// Every entry that concerns a unit, in order.
    ///
    /// # Errors
    /// That they cannot be read.
    pub fn history(&mut self, unit: &UnitName) -> Result<Vec<Item>, RecordsError> {
        self.reading(|database| history(database, unit))
    }

    /// A unit's history, and the digests of all entries from its first to the last, of one state of the records.
    ///
    /// # Errors
    /// That they cannot be read.
    pub fn history_and_chain(&mut self, unit: &UnitName) -> Result<(Vec<Item>, Chain), RecordsError> {
        self.reading(|database| {
            let history = history(database, unit)?;
            let before = history.first().map_or(0, |item| item.entry.seq - 1);
            let link = crate::derive::entry_at(database, before)?.map(|entry| entry.link);
            let mut chain = Chain {
                before: (before, link.unwrap_or_else(|| FIRST_LINK.to_owned())),
                digests: Vec::new(),
                end: (before, String::new()),
            };
            chain.end.1.clone_from(&chain.before.1);
            let sql = "SELECT seq, digest, link FROM entries WHERE seq > $1 ORDER BY seq";
            database.rows(sql, &[Cell::Int(before)], &mut |row| {
                chain.digests.push(cell(row, 1).text().to_owned());
                chain.end = (cell(row, 0).int().unwrap_or(0), cell(row, 2).text().to_owned());
                Ok(())
            })?;
            Ok((history, chain))
        })
    }

    /// The entry of a number.
    ///
    /// # Errors
    /// That it cannot be read.
    pub fn entry(&mut self, seq: i64) -> Result<Option<Entry>, RecordsError> {
        crate::derive::entry_at(self.database.as_mut(), seq)
    }

    /// The fit of a recording that is in force, if there is one.
    ///
    /// # Errors
    /// That it cannot be read.
    pub fn fit_in_force(&mut self, seal: &str) -> Result<Option<Fit>, RecordsError> {
        let sql = "SELECT f.entry FROM entries e JOIN fits f ON f.recording = e.seq WHERE e.\"key\" = $1 ORDER BY f.entry DESC";
        let key = recording_key(seal);
        for row in all(self.database.as_mut(), sql, &[key.as_str().into()])? {
            let fit = cell(&row, 0).int().unwrap_or(0);
            if !is_withdrawn(self.database.as_mut(), fit)? {
                let entry = crate::derive::entry_at(self.database.as_mut(), fit)?;
                return entry.map(|entry| entry.content()).transpose();
            }
        }
        Ok(None)
    }

    /// Whether a recording has a fit by this program, in this version and build, that is not withdrawn.
    ///
    /// # Errors
    /// That it cannot be read.
    pub fn has_fit(&mut self, seal: &str, by: &Program) -> Result<bool, RecordsError> {
        let sql = "SELECT f.entry FROM entries e JOIN fits f ON f.recording = e.seq \
                   WHERE e.\"key\" = $1 AND f.program = $2 AND f.version = $3 AND f.build = $4";
        let key = recording_key(seal);
        let asked = [
            Cell::from(key.as_str()),
            by.name.as_str().into(),
            by.version.as_str().into(),
            by.build.as_str().into(),
        ];
        for row in all(self.database.as_mut(), sql, &asked)? {
            let fit = cell(&row, 0).int().unwrap_or(0);
            if !is_withdrawn(self.database.as_mut(), fit)? {
                return Ok(true);
            }
        }
        Ok(false)
    }
}

/// Whether the latest correction of an entry withdraws it.
pub(crate) fn is_withdrawn(database: &mut dyn Database, entry: i64) -> Result<bool, RecordsError> {
    let sql = "SELECT withdrawn FROM corrections WHERE corrected = $1 ORDER BY entry DESC LIMIT 1";
    let row = first(database, sql, &[Cell::Int(entry)])?;
    Ok(row.is_some_and(|row| cell(&row, 0).int() == Some(1)))
}

fn history(database: &mut dyn Database, unit: &UnitName) -> Result<Vec<Item>, RecordsError> {
    let sql = "SELECT e.seq, e.kind, e.\"key\", e.digest, e.link, e.line FROM models m \
               JOIN units u ON u.model = m.entry JOIN mentions n ON n.unit = u.entry JOIN entries e ON e.seq = n.mentioned \
               WHERE m.name = $1 AND u.serial = $2 ORDER BY e.seq";
    let rows = all(
        database,
        sql,
        &[unit.model.as_str().into(), unit.serial.as_str().into()],
    )?;
    let entries: Vec<Entry> = rows.iter().map(|row| entry_of(row)).collect();
    let mut corrections: BTreeMap<i64, Vec<(i64, bool)>> = BTreeMap::new();
    for entry in entries
        .iter()
        .filter(|entry| entry.kind == Kind::Correction.word())
    {
        let content: Correction = entry.content()?;
        let of = corrections.entry(content.entry).or_default();
        of.push((entry.seq, content.withdrawn));
    }
    let withdrawn = |seq: i64| {
        let last = corrections.get(&seq).and_then(|of| of.last());
        last.is_some_and(|(_, withdrawn)| *withdrawn)
    };
    // The last fit of each recording that is not withdrawn is in force.
    let mut in_force: HashMap<String, i64> = HashMap::new();
    let mut seals: HashMap<i64, String> = HashMap::new();
    for entry in entries.iter().filter(|entry| entry.kind == Kind::Fit.word()) {
        let Fit { seal, .. } = entry.content()?;
        if !withdrawn(entry.seq) {
            in_force.insert(seal.clone(), entry.seq);
        }
        seals.insert(entry.seq, seal);
    }
    let superseded = |seq: i64| {
        let seal = seals.get(&seq);
        seal.and_then(|seal| in_force.get(seal))
            .is_some_and(|latest| *latest > seq)
    };
    Ok(entries
        .into_iter()
        .map(|entry| Item {
            corrected_by: corrections
                .get(&entry.seq)
                .map(|of| of.iter().map(|(seq, _)| *seq).collect())
                .unwrap_or_default(),
            withdrawn: withdrawn(entry.seq),
            superseded: superseded(entry.seq),
            entry,
        })
        .collect())
}

/// Fits of the same recording in a history that are not withdrawn, each beside the next, and where they differ.
///
/// # Errors
/// [`RecordsError::Damaged`] when an entry cannot be read.
pub fn refits(history: &[Item]) -> Result<Vec<Refit>, RecordsError> {
    let mut by_seal: BTreeMap<String, Vec<(i64, Fit)>> = BTreeMap::new();
    let mut recordings: HashMap<String, i64> = HashMap::new();
    for item in history.iter().filter(|item| !item.withdrawn) {
        match item.entry.kind()? {
            Kind::Fit => {
                let fit: Fit = item.entry.content()?;
                by_seal
                    .entry(fit.seal.clone())
                    .or_default()
                    .push((item.entry.seq, fit));
            }
            Kind::Recording => {
                let Recording { seal, .. } = item.entry.content()?;
                recordings.insert(seal, item.entry.seq);
            }
            _ => {}
        }
    }
    let mut found = Vec::new();
    for (seal, fits) in &by_seal {
        for pair in fits.windows(2) {
            if let [(before, one), (after, other)] = pair {
                let (same, differences) = differences(one, other);
                found.push(Refit {
                    recording: recordings.get(seal).copied().unwrap_or(0),
                    before: *before,
                    before_by: format!("{} {}", one.software.version, one.software.build),
                    after: *after,
                    after_by: format!("{} {}", other.software.version, other.software.build),
                    same,
                    differences,
                });
            }
        }
    }
    found.sort_by_key(|refit| refit.after);
    Ok(found)
}

/// Where two fits of a recording differ, and how many measurands do not.
#[must_use]
pub fn differences(before: &Fit, after: &Fit) -> (usize, Vec<Difference>) {
    fn said(fit: &Fit) -> BTreeMap<&str, &Measured> {
        fit.measured.iter().map(|m| (m.id.as_str(), m)).collect()
    }
    let (was, is) = (said(before), said(after));
    let mut same = 0;
    let mut found = Vec::new();
    let ids: BTreeSet<&str> = was.keys().chain(is.keys()).copied().collect();
    for id in ids {
        let (was, is) = (was.get(id), is.get(id));
        let say = |m: Option<&&Measured>| m.map_or_else(Said::absent, |m| Said::of(m));
        let (old, new) = (say(was), say(is));
        if old == new {
            same += 1;
            continue;
        }
        let times_u = match (&old, &new) {
            (Said::Value { value: a, u: ua }, Said::Value { value: b, u: ub }) if ua.max(*ub) > 0.0 => {
                Some((b - a) / ua.max(*ub))
            }
            _ => None,
        };
        let units = [is, was].into_iter().flatten().map(|m| m.unit.as_str());
        let unit = units
            .into_iter()
            .find(|unit| !unit.is_empty())
            .unwrap_or_default();
        found.push(Difference {
            id: id.to_owned(),
            unit: unit.to_owned(),
            before: old,
            after: new,
            times_u,
        });
    }
    (same, found)
}
