//! Whether the records are what was entered.
//!
//! Each entry's digest and link are computed again, its line is compared with its columns, and the rows that follow from it are
//! derived again and compared with those in the tables. What no chain can show by itself is that its end was cut off, or that
//! all of it was written anew: for that, links that were noted elsewhere (receipts beside recordings, an export, a printed
//! report) are looked up.

use std::collections::BTreeSet;

use serde::Serialize;
use sha2::{Digest, Sha256};

use crate::backend::{Cell, Database, all, cell};
use crate::canonical::sha256;
use crate::change::Recent;
use crate::content::{Fit, Judgement, Kind, LimitsText, Recording};
use crate::derive::{Deriving, Names, Row, entry_at, entry_of};
use crate::entry::{Entry, FIRST_LINK, next_link};
use crate::error::RecordsError;
use crate::schema::{TABLES, Table};
use crate::store::Store;

/// Entries read at a time.
const PAGE: i64 = 500;
/// Most entries whose rows are looked at one by one after they were found to differ.
const CLOSER: usize = 20;

/// Something that is not as it was entered.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Finding {
    /// The entry, or the place where it should be.
    pub entry: i64,
    /// What is wrong, in words.
    pub what: String,
}

/// A link that was noted elsewhere.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Noted {
    /// Number of the entry.
    pub seq: i64,
    /// Its link.
    pub link: String,
    /// Where it was noted.
    pub place: String,
}

/// What verifying found.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Verified {
    /// Number of the last entry.
    pub entries: i64,
    /// Its link: note it elsewhere, to show later that nothing was cut off.
    pub link: String,
    /// Rows in the other tables.
    pub rows: u64,
    /// Links noted elsewhere that were looked up.
    pub noted: usize,
    /// All that is wrong; empty when the records are what was entered.
    pub findings: Vec<Finding>,
}

impl Store {
    /// Verifies all entries and tables, and looks up links that were noted elsewhere.
    ///
    /// # Errors
    /// That the database cannot be read; what is wrong with it is in [`Verified::findings`].
    pub fn verify(&mut self, noted: &[Noted]) -> Result<Verified, RecordsError> {
        self.reading(|database| {
            let mut check = Check {
                database,
                names: Names::default(),
                sums: vec![0],
                findings: Vec::new(),
            };
            let (entries, link) = check.entries()?;
            let rows = check.tables()?;
            for noted in noted {
                check.noted(noted, entries)?;
            }
            let mut findings = check.findings;
            findings.sort_by_key(|finding| finding.entry);
            Ok(Verified {
                entries,
                link,
                rows,
                noted: noted.len(),
                findings,
            })
        })
    }
}

struct Check<'a> {
    database: &'a mut dyn Database,
    names: Names,
    /// By entry, the sum of the digests of the rows that follow from it, less those found.
    sums: Vec<u128>,
    findings: Vec<Finding>,
}

impl Check<'_> {
    fn found(&mut self, entry: i64, what: impl Into<String>) {
        self.findings.push(Finding {
            entry,
            what: what.into(),
        });
    }

    fn entries(&mut self) -> Result<(i64, String), RecordsError> {
        let sql = format!(
            "SELECT seq, kind, \"key\", digest, link, line FROM entries WHERE seq > $1 ORDER BY seq LIMIT {PAGE}"
        );
        let (mut seq, mut link) = (0, FIRST_LINK.to_owned());
        let lowest = all(self.database, "SELECT min(seq) FROM entries", &[])?;
        if let Some(lowest) = lowest.first().and_then(|row| cell(row, 0).int())
            && lowest < 1
        {
            self.found(lowest, "is before the first entry: slipped in");
        }
        loop {
            let page = all(self.database, &sql, &[Cell::Int(seq)])?;
            if page.is_empty() {
                return Ok((seq, link));
            }
            for row in page {
                let entry = entry_of(&row);
                if entry.seq != seq + 1 {
                    let missing = match entry.seq - 1 - seq {
                        1 => "is missing: removed".to_owned(),
                        _ => format!("to {} are missing: removed", entry.seq - 1),
                    };
                    self.found(seq + 1, missing);
                }
                self.entry(&entry, &link);
                (seq, link) = (entry.seq, entry.link);
            }
        }
    }

    fn entry(&mut self, entry: &Entry, link_before: &str) {
        let seq = entry.seq;
        if sha256(&entry.line) != entry.digest {
            self.found(seq, "its line is not the one that its digest is of: changed");
        }
        if next_link(link_before, &entry.digest) != entry.link {
            self.found(
                seq,
                "its link does not follow from the entry before: changed, moved, slipped in, or one before it was",
            );
        }
        if let Err(problem) = as_columns_say(entry) {
            self.found(seq, problem);
        }
        let at = usize::try_from(seq).unwrap_or(0);
        if self.sums.len() <= at {
            self.sums.resize(at + 1, 0);
        }
        match self.derived(entry) {
            Ok(rows) => {
                let sum = rows.iter().map(|row| digest(row.table, &row.cells, seq));
                let sum = sum.fold(0u128, u128::wrapping_add);
                if let Some(place) = self.sums.get_mut(at) {
                    *place = place.wrapping_add(sum);
                }
            }
            Err(error) => self.found(seq, format!("what follows from it cannot be told: {error}")),
        }
    }

    fn derived(&mut self, entry: &Entry) -> Result<Vec<Row>, RecordsError> {
        Deriving {
            database: self.database,
            names: &mut self.names,
            recent: &mut Recent::default(),
        }
        .rows_of(entry)
    }

    /// Compares the tables with what follows from the entries; returns how many rows there are.
    fn tables(&mut self) -> Result<u64, RecordsError> {
        let mut rows = 0;
        let mut strays: BTreeSet<(i64, &'static str)> = BTreeSet::new();
        for table in TABLES {
            let sql = format!("SELECT {} FROM {}", table.columns.join(", "), table.name);
            let sums = &mut self.sums;
            self.database.rows(&sql, &[], &mut |row| {
                rows += 1;
                let (cells, entry) = apart(row);
                let place = usize::try_from(entry).ok().and_then(|at| sums.get_mut(at));
                match place {
                    Some(sum) => *sum = sum.wrapping_sub(digest(table, cells, entry)),
                    None => {
                        strays.insert((entry, table.name));
                    }
                }
                Ok(())
            })?;
        }
        for (entry, table) in strays {
            self.found(
                entry,
                format!("is not there, but table {table} has a row of it: slipped in"),
            );
        }
        let differing = self.sums.iter().enumerate().filter(|(_, sum)| **sum != 0);
        let differing: Vec<i64> = differing.filter_map(|(seq, _)| i64::try_from(seq).ok()).collect();
        let first = differing.get(..CLOSER.min(differing.len())).unwrap_or_default();
        for seq in first {
            self.closer(*seq)?;
        }
        for seq in differing.iter().skip(CLOSER) {
            self.found(*seq, "rows of the tables are not those that follow from it");
        }
        Ok(rows)
    }

    /// Says which rows of an entry are not what they should be.
    fn closer(&mut self, seq: i64) -> Result<(), RecordsError> {
        let expected = match entry_at(self.database, seq)? {
            Some(entry) => self.derived(&entry).unwrap_or_default(),
            None => Vec::new(),
        };
        let before = self.findings.len();
        for table in TABLES {
            let sql = format!(
                "SELECT {} FROM {} WHERE entry = $1",
                table.columns.join(", "),
                table.name
            );
            let there = all(self.database, &sql, &[Cell::Int(seq)])?;
            let there: Vec<&[Cell]> = there.iter().map(|row| apart(row).0).collect();
            let due: Vec<&[Cell]> = expected
                .iter()
                .filter(|row| row.table == *table)
                .map(|row| row.cells.as_slice())
                .collect();
            let missing = due.iter().filter(|row| !there.contains(row)).count();
            let strange = there.iter().filter(|row| !due.contains(row)).count();
            if missing + strange > 0 {
                let what = format!(
                    "table {}: {missing} rows that follow from it are not there, {strange} are there that do not follow from it",
                    table.name
                );
                self.found(seq, what);
            }
        }
        if self.findings.len() == before {
            self.found(seq, "rows of the tables are there more than once");
        }
        Ok(())
    }

    fn noted(&mut self, noted: &Noted, entries: i64) -> Result<(), RecordsError> {
        match entry_at(self.database, noted.seq)? {
            None if noted.seq > entries => self.found(
                noted.seq,
                format!(
                    "was noted in {}, and the records end at {entries}: cut off",
                    noted.place
                ),
            ),
            None => self.found(
                noted.seq,
                format!("was noted in {}, and is not there", noted.place),
            ),
            Some(entry) if entry.link != noted.link => self.found(
                noted.seq,
                format!(
                    "{} noted another link for it: the records up to it were written anew, or are others",
                    noted.place
                ),
            ),
            Some(_) => {}
        }
        Ok(())
    }
}

/// The cells of a row, and the entry it is of.
fn apart(row: &[Cell]) -> (&[Cell], i64) {
    match row.split_last() {
        Some((entry, cells)) => (cells, entry.int().unwrap_or(-1)),
        None => (&[], -1),
    }
}

/// Whether a line says what the columns beside it say, and its key what its content says.
fn as_columns_say(entry: &Entry) -> Result<(), String> {
    let line = entry.heading().map_err(|error| error.to_string())?;
    let differs = |column: &str| {
        Err(format!(
            "its column \"{column}\" is not what its line says: changed"
        ))
    };
    if line.seq != entry.seq {
        return Err(format!("its line is that of entry {}: moved", line.seq));
    }
    if line.kind != entry.kind {
        return differs("kind");
    }
    if line.key != entry.key {
        return differs("key");
    }
    let said = |error: RecordsError| error.to_string();
    let key = match entry.kind().map_err(said)? {
        Kind::Recording => entry.content::<Recording>().map_err(said)?.key(),
        Kind::Fit => entry.content::<Fit>().map_err(said)?.key(),
        Kind::Limits => entry.content::<LimitsText>().map_err(said)?.key(),
        Kind::Judgement => entry.content::<Judgement>().map_err(said)?.key(),
        Kind::Note | Kind::Correction => line.key.clone(),
    };
    match key == line.key {
        true => Ok(()),
        false => Err("its key is not that of its content".to_owned()),
    }
}

/// 128 bits that stand for a row.
fn digest(table: &Table, cells: &[Cell], entry: i64) -> u128 {
    let mut hash = Sha256::new();
    hash.update(table.name.as_bytes());
    hash.update(entry.to_le_bytes());
    for cell in cells {
        match cell {
            Cell::Null => hash.update([0]),
            Cell::Int(value) => {
                hash.update([1]);
                hash.update(value.to_le_bytes());
            }
            Cell::Real(value) => {
                hash.update([2]);
                hash.update(value.to_bits().to_le_bytes());
            }
            Cell::Text(text) => {
                hash.update([3]);
                hash.update((text.len() as u64).to_le_bytes());
                hash.update(text.as_bytes());
            }
        }
    }
    let digest = hash.finalize();
    digest
        .iter()
        .take(16)
        .fold(0, |sum, byte| sum << 8 | u128::from(*byte))
}
