//! From an entry to the rows that say the same in columns.
//!
//! The rows follow from the entry and those before it alone: adding writes them, verifying derives them again.

use std::collections::{BTreeMap, HashMap};

use crate::backend::{Cell, Database, all, cell, first};
use crate::change::Recent;
use crate::content::{Correction, Fit, Judgement, Kind, LimitsText, Note, Recording, recording_key};
use crate::entry::Entry;
use crate::error::RecordsError;
use crate::instant::seconds_of;
use crate::schema::{
    BENCHES, CALIBRATIONS, CORRECTIONS, FIRMWARES, FITS, JUDGEMENTS, LIMITS, MEASURANDS, MENTIONS, MODELS,
    OPERATORS, PROCEDURES, RECORDINGS, RESULTS, RIGS, Table, UNITS,
};

/// Most measurands that a fit may name for the first time: their numbers are the entry's number times this, counted on.
const MEASURANDS_AN_ENTRY: i64 = 4096;

/// A row of a derived table.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Row {
    pub(crate) table: &'static Table,
    /// One a column, without the last, which is `entry`.
    pub(crate) cells: Vec<Cell>,
}

/// Names that were looked up before. What is recorded never changes, so it stays good until a change is undone.
#[derive(Debug, Default)]
pub(crate) struct Names {
    /// By table and cells.
    named: HashMap<String, i64>,
    /// Measurands by name and unit.
    measurands: HashMap<(String, String), i64>,
}

/// Derives the rows of entries, each after those before it.
pub(crate) struct Deriving<'a> {
    pub(crate) database: &'a mut dyn Database,
    pub(crate) names: &'a mut Names,
    /// Recordings that are known without asking, because they are being entered.
    pub(crate) recent: &'a mut Recent,
}

/// Rows in the making, for one entry.
struct Made {
    entry: i64,
    rows: Vec<Row>,
}

impl Made {
    fn row(&mut self, table: &'static Table, cells: Vec<Cell>) {
        debug_assert_eq!(cells.len() + 1, table.columns.len());
        self.rows.push(Row { table, cells });
    }
}

/// A recording's place among the tables: as it was entered, or as the latest correction before an entry has it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Place {
    model: i64,
    unit: i64,
}

impl Deriving<'_> {
    /// The rows of an entry.
    pub(crate) fn rows_of(&mut self, entry: &Entry) -> Result<Vec<Row>, RecordsError> {
        let mut made = Made {
            entry: entry.seq,
            rows: Vec::new(),
        };
        match entry.kind()? {
            Kind::Recording => {
                let content: Recording = entry.content()?;
                let place = self.recording(entry, entry.seq, &content, &mut made)?;
                self.mention(place.unit, entry.seq, &mut made)?;
                self.recent.insert(content.key(), (entry.seq, place));
            }
            Kind::Fit => self.fit(entry, &entry.content()?, &mut made)?,
            Kind::Limits => {
                let LimitsText {
                    name, model, sha256, ..
                } = entry.content()?;
                made.row(&LIMITS, vec![text(name), text(model), text(sha256)]);
            }
            Kind::Judgement => self.judgement(entry, &entry.content()?, &mut made)?,
            Kind::Note => self.note(entry, &entry.content()?, &mut made)?,
            Kind::Correction => self.correction(entry, &entry.content()?, &mut made)?,
        }
        Ok(made.rows)
    }

    /// The number of a name: of the entry that named it first.
    fn named(
        &mut self,
        table: &'static Table,
        cells: Vec<Cell>,
        made: &mut Made,
    ) -> Result<i64, RecordsError> {
        let known = format!("{} {cells:?}", table.name);
        if let Some(id) = self.names.named.get(&known).filter(|id| **id < made.entry) {
            return Ok(*id);
        }
        let columns = table.columns.iter().take(cells.len());
        let asked: Vec<String> = (1..)
            .zip(columns)
            .map(|(n, column)| format!("{column} = ${n}"))
            .collect();
        let sql = format!("SELECT entry FROM {} WHERE {}", table.name, asked.join(" AND "));
        let found = first(self.database, &sql, &cells)?.and_then(|row| cell(&row, 0).int());
        let id = match found.filter(|id| *id < made.entry) {
            Some(id) => id,
            None => {
                if !made
                    .rows
                    .iter()
                    .any(|row| row.table == table && row.cells == cells)
                {
                    made.row(table, cells);
                }
                made.entry
            }
        };
        self.names.named.insert(known, id);
        Ok(id)
    }

    fn recording(
        &mut self,
        entry: &Entry,
        recording: i64,
        content: &Recording,
        made: &mut Made,
    ) -> Result<Place, RecordsError> {
        let at = seconds_of(&content.created).ok_or_else(|| {
            entry.damaged(format!(
                "\"{}\" is no date and time as RFC 3339 writes them",
                content.created
            ))
        })?;
        let one = |name: &str| vec![Cell::from(name)];
        let model = self.named(&MODELS, one(&content.unit.model), made)?;
        let unit = vec![Cell::Int(model), Cell::from(content.unit.serial.as_str())];
        let unit = self.named(&UNITS, unit, made)?;
        let firmware = self.named(&FIRMWARES, one(&content.unit.firmware), made)?;
        let bench = self.named(&BENCHES, one(&content.bench), made)?;
        let rig = [&content.rig.name, &content.rig.kind, &content.rig.fixture];
        let rig = self.named(&RIGS, texts(&rig), made)?;
        let c = &content.calibration;
        let calibration = [&c.sensor, &c.certificate, &c.identity, &c.calibrated, &c.due];
        let calibration = self.named(&CALIBRATIONS, texts(&calibration), made)?;
        let operator = self.named(&OPERATORS, one(&content.operator), made)?;
        let procedure = [&content.procedure.name, &content.procedure.sha256];
        let procedure = self.named(&PROCEDURES, texts(&procedure), made)?;
        let mut cells = vec![Cell::Int(recording), Cell::from(content.seal.as_str())];
        let named = [
            model,
            unit,
            firmware,
            bench,
            rig,
            calibration,
            operator,
            procedure,
        ];
        cells.extend(named.map(Cell::Int));
        cells.extend([
            Cell::from(content.batch.as_str()),
            Cell::from(content.created.as_str()),
            Cell::Int(at),
            Cell::from(content.completion.as_str()),
            Cell::from(c.overdue),
        ]);
        made.row(&RECORDINGS, cells);
        Ok(Place { model, unit })
    }

    fn fit(&mut self, entry: &Entry, content: &Fit, made: &mut Made) -> Result<(), RecordsError> {
        let key = recording_key(&content.seal);
        let (recording, place) = match self.recent.get(&key) {
            Some(known) => *known,
            None => {
                let recording = self.numbered(&key, entry.seq)?.ok_or_else(|| {
                    entry.damaged(format!("it is of a recording that was not entered before, {key}"))
                })?;
                (recording, self.place(recording, entry)?)
            }
        };
        let software = &content.software;
        made.row(
            &FITS,
            vec![
                Cell::Int(recording),
                Cell::from(software.name.as_str()),
                Cell::from(software.version.as_str()),
                Cell::from(software.build.as_str()),
                Cell::from(content.sound),
            ],
        );
        self.results(entry.seq, content, place.model, made)?;
        self.mention(place.unit, entry.seq, made)
    }

    /// The results of a fit under a model.
    fn results(&mut self, fit: i64, content: &Fit, model: i64, made: &mut Made) -> Result<(), RecordsError> {
        let mut results = Vec::with_capacity(content.measured.len());
        let mut new = 0;
        for one in &content.measured {
            let measurand = self.measurand(&one.id, &one.unit, &mut new, made)?;
            results.push(vec![
                Cell::Int(model),
                Cell::Int(measurand),
                Cell::Int(fit),
                Cell::from(one.value),
                Cell::from(one.u),
            ]);
        }
        results.into_iter().for_each(|cells| made.row(&RESULTS, cells));
        Ok(())
    }

    fn measurand(
        &mut self,
        name: &str,
        unit: &str,
        new: &mut i64,
        made: &mut Made,
    ) -> Result<i64, RecordsError> {
        if self.names.measurands.is_empty() {
            let names = &mut self.names.measurands;
            let sql = "SELECT measurand, name, unit FROM measurands";
            self.database.rows(sql, &[], &mut |row| {
                let known = (cell(row, 1).text().to_owned(), cell(row, 2).text().to_owned());
                names.insert(known, cell(row, 0).int().unwrap_or(0));
                Ok(())
            })?;
        }
        let asked = (name.to_owned(), unit.to_owned());
        let mut found = self.names.measurands.get(&asked).copied();
        if found.is_none() {
            // Somebody else may have named it since.
            let sql = "SELECT measurand FROM measurands WHERE name = $1 AND unit = $2";
            let row = first(self.database, sql, &[name.into(), unit.into()])?;
            found = row.and_then(|row| cell(&row, 0).int());
        }
        let first_of_entry = made.entry.saturating_mul(MEASURANDS_AN_ENTRY);
        let id = match found.filter(|id| *id < first_of_entry) {
            Some(id) => id,
            None if *new >= MEASURANDS_AN_ENTRY => {
                return Err(RecordsError::Refused {
                    what: format!("the fit of entry {}", made.entry),
                    why: format!("it has more than {MEASURANDS_AN_ENTRY} new measurands"),
                });
            }
            None => {
                let id = first_of_entry + *new;
                *new += 1;
                made.row(&MEASURANDS, vec![Cell::Int(id), name.into(), unit.into()]);
                id
            }
        };
        self.names.measurands.insert(asked, id);
        Ok(id)
    }

    fn judgement(&mut self, entry: &Entry, content: &Judgement, made: &mut Made) -> Result<(), RecordsError> {
        let missing = |key: &str| entry.damaged(format!("it is of what was not entered before, {key}"));
        let fit = self.numbered(&content.fit, entry.seq)?;
        let fit = fit.ok_or_else(|| missing(&content.fit))?;
        let limits = self.numbered(&content.limits, entry.seq)?;
        let limits = limits.ok_or_else(|| missing(&content.limits))?;
        made.row(
            &JUDGEMENTS,
            vec![
                Cell::Int(fit),
                Cell::Int(limits),
                content.verdict.word().into(),
                Cell::from(content.warning),
            ],
        );
        // The limits are part of what is known of the unit.
        self.mention_with(fit, entry, limits, made)?;
        self.mention_with(fit, entry, entry.seq, made)
    }

    fn note(&mut self, entry: &Entry, content: &Note, made: &mut Made) -> Result<(), RecordsError> {
        if let Some((model, serial)) = &content.unit
            && let Some(unit) = self.unit(model, serial)?
        {
            self.mention(unit, entry.seq, made)?;
        }
        match content.entry {
            Some(about) => self.mention_with(about, entry, entry.seq, made),
            None => Ok(()),
        }
    }

    fn correction(
        &mut self,
        entry: &Entry,
        content: &Correction,
        made: &mut Made,
    ) -> Result<(), RecordsError> {
        made.row(
            &CORRECTIONS,
            vec![Cell::Int(content.entry), Cell::from(content.withdrawn)],
        );
        self.mention_with(content.entry, entry, entry.seq, made)?;
        let corrected = self.entry(content.entry, entry)?;
        if content.facts.is_empty() || corrected.kind()? != Kind::Recording {
            return Ok(());
        }
        let before = self.place(corrected.seq, entry)?;
        let recording = self
            .as_corrected(&corrected, entry.seq)?
            .corrected(&content.facts);
        let now = self.recording(entry, corrected.seq, &recording, made)?;
        let with_it = self.with_recording(corrected.seq, entry.seq)?;
        if now.unit != before.unit {
            for mentioned in with_it.iter().copied().chain([entry.seq]) {
                self.mention(now.unit, mentioned, made)?;
            }
        }
        if now.model != before.model {
            for fit in with_it {
                let fit = self.entry(fit, entry)?;
                if fit.kind()? == Kind::Fit {
                    self.results_again(&fit, now.model, made)?;
                }
            }
        }
        Ok(())
    }

    /// The results of an earlier fit under a model that it was not under before.
    fn results_again(&mut self, fit: &Entry, model: i64, made: &mut Made) -> Result<(), RecordsError> {
        let content: Fit = fit.content()?;
        let Some(one) = content.measured.first() else {
            return Ok(());
        };
        let mut new = 0;
        let measurand = self.measurand(&one.id, &one.unit, &mut new, made)?;
        let sql = "SELECT entry FROM results WHERE model = $1 AND measurand = $2 AND fit = $3";
        let asked = [Cell::Int(model), Cell::Int(measurand), Cell::Int(fit.seq)];
        let there = first(self.database, sql, &asked)?.and_then(|row| cell(&row, 0).int());
        match there.is_some_and(|there| there < made.entry) {
            true => Ok(()),
            false => self.results(fit.seq, &content, model, made),
        }
    }

    /// Says that an entry concerns a unit, if that was not said before.
    fn mention(&mut self, unit: i64, mentioned: i64, made: &mut Made) -> Result<(), RecordsError> {
        let cells = vec![Cell::Int(unit), Cell::Int(mentioned)];
        let sql = "SELECT entry FROM mentions WHERE unit = $1 AND mentioned = $2";
        // What this entry is the first to speak of cannot have been mentioned; that spares a question.
        let said = match mentioned == made.entry {
            true => None,
            false => first(self.database, sql, &cells)?.and_then(|row| cell(&row, 0).int()),
        };
        let here = made
            .rows
            .iter()
            .any(|row| *row.table == MENTIONS && row.cells == cells);
        if !here && said.is_none_or(|said| said >= made.entry) {
            made.row(&MENTIONS, cells);
        }
        Ok(())
    }

    /// Says that an entry, which may be this one, concerns the unit that another is about.
    fn mention_with(
        &mut self,
        other: i64,
        entry: &Entry,
        mentioned: i64,
        made: &mut Made,
    ) -> Result<(), RecordsError> {
        let other = self.entry(other, entry)?;
        let recording = match other.kind()? {
            Kind::Recording => Some(other.seq),
            Kind::Fit => {
                let Fit { seal, .. } = other.content()?;
                self.numbered(&recording_key(&seal), entry.seq)?
            }
            Kind::Judgement => {
                let Judgement { fit, .. } = other.content()?;
                return match self.numbered(&fit, entry.seq)? {
                    Some(fit) => self.mention_with(fit, entry, mentioned, made),
                    None => Ok(()),
                };
            }
            Kind::Note => {
                let Note {
                    unit, entry: about, ..
                } = other.content()?;
                if let Some((model, serial)) = unit
                    && let Some(unit) = self.unit(&model, &serial)?
                {
                    self.mention(unit, mentioned, made)?;
                }
                return match about {
                    Some(about) => self.mention_with(about, entry, mentioned, made),
                    None => Ok(()),
                };
            }
            Kind::Limits | Kind::Correction => None,
        };
        match recording {
            Some(recording) => {
                let unit = self.place(recording, entry)?.unit;
                self.mention(unit, mentioned, made)
            }
            None => Ok(()),
        }
    }

    /// The number of the entry with a key, if it is before another.
    fn numbered(&mut self, key: &str, before: i64) -> Result<Option<i64>, RecordsError> {
        let sql = "SELECT seq FROM entries WHERE \"key\" = $1 AND seq < $2";
        let row = first(self.database, sql, &[key.into(), Cell::Int(before)])?;
        Ok(row.and_then(|row| cell(&row, 0).int()))
    }

    /// The entry of a number, which must be before another.
    fn entry(&mut self, seq: i64, before: &Entry) -> Result<Entry, RecordsError> {
        let found = if seq < before.seq {
            entry_at(self.database, seq)?
        } else {
            None
        };
        found.ok_or_else(|| before.damaged(format!("it is about entry {seq}, which was not entered before")))
    }

    fn unit(&mut self, model: &str, serial: &str) -> Result<Option<i64>, RecordsError> {
        let sql = "SELECT u.entry FROM units u JOIN models m ON m.entry = u.model WHERE m.name = $1 AND u.serial = $2";
        let row = first(self.database, sql, &[model.into(), serial.into()])?;
        Ok(row.and_then(|row| cell(&row, 0).int()))
    }

    /// Where a recording stands just before an entry.
    fn place(&mut self, recording: i64, before: &Entry) -> Result<Place, RecordsError> {
        let sql = "SELECT model, unit FROM recordings WHERE recording = $1 AND entry < $2 ORDER BY entry DESC LIMIT 1";
        let row = first(self.database, sql, &[Cell::Int(recording), Cell::Int(before.seq)])?;
        let row = row.ok_or_else(|| {
            before.damaged(format!("it is about recording {recording}, which is in no table"))
        })?;
        let number = |at| cell(&row, at).int().unwrap_or(0);
        Ok(Place {
            model: number(0),
            unit: number(1),
        })
    }

    /// A recording with what corrections before an entry say instead.
    fn as_corrected(&mut self, recording: &Entry, before: i64) -> Result<Recording, RecordsError> {
        let facts = facts_in_force(self.database, recording.seq, before)?;
        let content: Recording = recording.content()?;
        Ok(content.corrected(&facts))
    }

    /// A recording, its fits, their judgements and the limits of those, as far as they were entered before.
    fn with_recording(&mut self, recording: i64, before: i64) -> Result<Vec<i64>, RecordsError> {
        let asked = [Cell::Int(recording), Cell::Int(before)];
        let of_fits = "SELECT entry FROM fits WHERE recording = $1 AND entry < $2 ORDER BY entry";
        let of_judgements = "SELECT j.limits, j.entry FROM judgements j JOIN fits f ON f.entry = j.fit \
                             WHERE f.recording = $1 AND j.entry < $2 ORDER BY j.entry";
        let mut numbers = vec![recording];
        for sql in [of_fits, of_judgements] {
            let rows = all(self.database, sql, &asked)?;
            numbers.extend(rows.iter().flatten().filter_map(Cell::int));
        }
        Ok(numbers)
    }
}

/// What corrections of a recording before an entry say, later ones over earlier ones.
pub(crate) fn facts_in_force(
    database: &mut dyn Database,
    recording: i64,
    before: i64,
) -> Result<BTreeMap<String, String>, RecordsError> {
    let sql = "SELECT e.seq, e.kind, e.\"key\", e.digest, e.link, e.line FROM corrections c \
               JOIN entries e ON e.seq = c.entry WHERE c.corrected = $1 AND c.entry < $2 ORDER BY c.entry";
    let rows = all(database, sql, &[Cell::Int(recording), Cell::Int(before)])?;
    let mut facts = BTreeMap::new();
    for row in rows {
        let correction: Correction = entry_of(&row).content()?;
        facts.extend(correction.facts);
    }
    Ok(facts)
}

/// An entry from the columns seq, kind, key, digest, link, line.
pub(crate) fn entry_of(row: &[Cell]) -> Entry {
    let text = |at: usize| cell(row, at).text().to_owned();
    Entry {
        seq: cell(row, 0).int().unwrap_or(0),
        kind: text(1),
        key: text(2),
        digest: text(3),
        link: text(4),
        line: text(5),
    }
}

/// The entry of a number.
pub(crate) fn entry_at(database: &mut dyn Database, seq: i64) -> Result<Option<Entry>, RecordsError> {
    let sql = "SELECT seq, kind, \"key\", digest, link, line FROM entries WHERE seq = $1";
    Ok(first(database, sql, &[Cell::Int(seq)])?.map(|row| entry_of(&row)))
}

fn text(value: String) -> Cell {
    Cell::Text(value)
}

fn texts(values: &[&String]) -> Vec<Cell> {
    values.iter().map(|value| Cell::from(value.as_str())).collect()
}
