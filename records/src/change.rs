//! A change to the records, in the making.
//!
//! While a change is made, everybody else waits for it. So recordings and fits, of which there are many, are held back and
//! written together at its end: a few statements, whatever the number of measurements. All else is written at once, after
//! what was held back, because deriving its rows looks into the tables.

use std::collections::HashMap;

use serde::Serialize;

use crate::backend::{Batch, Cell, Database, all, cell};
use crate::content::Kind;
use crate::derive::{Deriving, Names, Place, Row};
use crate::entry::{Entry, Stamp};
use crate::error::RecordsError;
use crate::schema::TABLES;
use crate::store::Placed;

/// Most keys that one question asks for.
const KEYS_A_QUESTION: usize = 100;
/// The columns of an entry.
const COLUMNS: &[&str] = &["seq", "kind", "key", "digest", "link", "line"];

/// Recordings of this change, by key: their entry and place.
pub(crate) type Recent = HashMap<String, (i64, Place)>;

/// A change to the records, which nobody else makes at the same time.
pub(crate) struct Change<'a> {
    pub(crate) database: &'a mut dyn Database,
    names: &'a mut Names,
    /// Number and link of the last entry.
    end: (i64, String),
    /// What is known to be there, or not to be, by key.
    known: HashMap<String, Option<Placed>>,
    recent: Recent,
    /// Entries and rows that are not written yet.
    entries: Vec<Vec<Cell>>,
    rows: Vec<(Row, i64)>,
}

impl<'a> Change<'a> {
    pub(crate) fn new(database: &'a mut dyn Database, names: &'a mut Names, end: (i64, String)) -> Self {
        Self {
            database,
            names,
            end,
            known: HashMap::new(),
            recent: HashMap::new(),
            entries: Vec::new(),
            rows: Vec::new(),
        }
    }

    /// Adds an entry, unless there is one of this key.
    pub(crate) fn append(
        &mut self,
        kind: Kind,
        key: &str,
        content: &impl Serialize,
        stamp: &Stamp,
    ) -> Result<Placed, RecordsError> {
        if let Some(there) = self.there(key)? {
            return Ok(there);
        }
        let held_back = matches!(kind, Kind::Recording | Kind::Fit);
        if !held_back {
            self.write()?;
            self.recent.clear();
        }
        let entry = Entry::new(self.end.0 + 1, &self.end.1, kind, key, content, stamp);
        self.entries.push(vec![
            Cell::Int(entry.seq),
            kind.word().into(),
            key.into(),
            entry.digest.as_str().into(),
            entry.link.as_str().into(),
            entry.line.as_str().into(),
        ]);
        if !held_back {
            self.write()?;
        }
        let rows = Deriving {
            database: self.database,
            names: self.names,
            recent: &mut self.recent,
        }
        .rows_of(&entry)?;
        self.rows.extend(rows.into_iter().map(|row| (row, entry.seq)));
        if !held_back {
            self.write()?;
        }
        self.end = (entry.seq, entry.link.clone());
        let placed = Placed {
            seq: entry.seq,
            digest: entry.digest,
            link: entry.link,
            new: true,
        };
        let there = Placed {
            new: false,
            ..placed.clone()
        };
        self.known.insert(key.to_owned(), Some(there));
        Ok(placed)
    }

    /// The entry of a key, if there is one.
    pub(crate) fn there(&mut self, key: &str) -> Result<Option<Placed>, RecordsError> {
        if !self.known.contains_key(key) {
            self.look_up(vec![key.to_owned()])?;
        }
        Ok(self.known.get(key).cloned().flatten())
    }

    /// Asks for many keys at once.
    pub(crate) fn look_up(&mut self, keys: Vec<String>) -> Result<(), RecordsError> {
        for some in keys.chunks(KEYS_A_QUESTION) {
            let places: Vec<String> = (1..=some.len()).map(|n| format!("${n}")).collect();
            let sql = format!(
                "SELECT \"key\", seq, digest, link FROM entries WHERE \"key\" IN ({})",
                places.join(", ")
            );
            let asked: Vec<Cell> = some.iter().map(|key| Cell::from(key.as_str())).collect();
            for row in all(self.database, &sql, &asked)? {
                let text = |at| cell(&row, at).text().to_owned();
                let placed = Placed {
                    seq: cell(&row, 1).int().unwrap_or(0),
                    digest: text(2),
                    link: text(3),
                    new: false,
                };
                self.known.insert(text(0), Some(placed));
            }
        }
        for key in keys {
            self.known.entry(key).or_insert(None);
        }
        Ok(())
    }

    /// Writes what was held back: entries in order, and the rows of each table in the order that it is kept in.
    pub(crate) fn write(&mut self) -> Result<(), RecordsError> {
        let mut batches = Vec::new();
        if !self.entries.is_empty() {
            batches.push(Batch {
                table: "entries",
                columns: COLUMNS,
                rows: std::mem::take(&mut self.entries),
            });
        }
        let mut rows = std::mem::take(&mut self.rows);
        for table in TABLES {
            let (of_table, others): (Vec<_>, Vec<_>) =
                rows.into_iter().partition(|(row, _)| row.table == *table);
            rows = others;
            let mut of_table: Vec<Vec<Cell>> = of_table
                .into_iter()
                .map(|(row, entry)| {
                    let mut cells = row.cells;
                    cells.push(Cell::Int(entry));
                    cells
                })
                .collect();
            if of_table.is_empty() {
                continue;
            }
            // Results lie by model and measurand: in that order they go to each place once.
            let place = |row: &Vec<Cell>| (cell(row, 0).int(), cell(row, 1).int(), cell(row, 2).int());
            of_table.sort_by_key(place);
            batches.push(Batch {
                table: table.name,
                columns: table.columns,
                rows: of_table,
            });
        }
        match batches.is_empty() {
            true => Ok(()),
            false => self.database.insert(batches),
        }
    }
}
