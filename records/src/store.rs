//! The records of a team, open.

use serde::Serialize;

use crate::address::Address;
use crate::backend::{self, Cell, Database, cell, first};
use crate::change::Change;
use crate::content::{Fit, Kind, Recording};
use crate::derive::Names;
use crate::entry::{FIRST_LINK, Stamp};
use crate::error::RecordsError;
use crate::schema;

/// Records, open for reading and adding.
///
/// All entries of a database are one chain. Whoever appends holds the database's one lock from reading the chain's end to the
/// commit, a few milliseconds, so that several benches form one order in which nobody can slip an entry in between afterwards.
/// A chain a bench would need no lock, but removing a whole bench's chain, or its end, would show nowhere in the others'.
pub struct Store {
    pub(crate) database: Box<dyn Database>,
    pub(crate) address: Address,
    names: Names,
}

impl std::fmt::Debug for Store {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Store")
            .field("address", &self.address)
            .finish_non_exhaustive()
    }
}

/// Where an entry stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Placed {
    /// Its number.
    pub seq: i64,
    /// Its digest.
    pub digest: String,
    /// Its link: stands for all entries up to it.
    pub link: String,
    /// Whether it was added now; false: it was there.
    pub new: bool,
}

/// What adding a measurement did.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Added {
    /// The recording's entry.
    pub recording: Placed,
    /// The fit's entry.
    pub fit: Placed,
}

impl Store {
    /// Opens records, and brings the tables up to this version; a file that is not there is made only if `create`.
    ///
    /// # Errors
    /// [`RecordsError::Unreachable`], [`RecordsError::Newer`], or that the tables cannot be made.
    pub fn open(address: &Address, create: bool, stamp: &Stamp) -> Result<Self, RecordsError> {
        let mut database = backend::open(address, create)?;
        schema::migrate(
            database.as_mut(),
            &address.to_string(),
            &stamp.entered,
            &stamp.software,
        )?;
        Ok(Self {
            database,
            address: address.clone(),
            names: Names::default(),
        })
    }

    /// Where it lies, without a password.
    #[must_use]
    pub fn address(&self) -> String {
        self.address.to_string()
    }

    /// Adds a recording and a fit of it; what is there already stays as it is. Both or neither.
    ///
    /// # Errors
    /// [`RecordsError::Refused`] when the fit is of another recording, or the recording has no seal, unit or date.
    pub fn add(&mut self, recording: &Recording, fit: &Fit, stamp: &Stamp) -> Result<Added, RecordsError> {
        let one = std::iter::once((recording.clone(), fit.clone(), stamp.clone()));
        let mut done = self.add_all(one, 1)?;
        done.pop().ok_or_else(|| RecordsError::Refused {
            what: recording.key(),
            why: "nothing was added".to_owned(),
        })
    }

    /// As [`Store::add`] for many, `at_once` in one change each; returns what was done of each.
    ///
    /// # Errors
    /// As [`Store::add`]; the changes before the one that failed are kept.
    pub fn add_all(
        &mut self,
        all: impl IntoIterator<Item = (Recording, Fit, Stamp)>,
        at_once: usize,
    ) -> Result<Vec<Added>, RecordsError> {
        let mut done = Vec::new();
        let mut all = all.into_iter().peekable();
        while all.peek().is_some() {
            let some: Vec<_> = all.by_ref().take(at_once.max(1)).collect();
            for (recording, fit, _) in &some {
                fitting_together(recording, fit)?;
            }
            done.extend(self.change(|change| {
                let keys = some
                    .iter()
                    .flat_map(|(recording, fit, _)| [recording.key(), fit.key()]);
                change.look_up(keys.collect())?;
                some.iter()
                    .map(|(recording, fit, stamp)| {
                        Ok(Added {
                            recording: change.append(Kind::Recording, &recording.key(), recording, stamp)?,
                            fit: change.append(Kind::Fit, &fit.key(), fit, stamp)?,
                        })
                    })
                    .collect::<Result<Vec<Added>, RecordsError>>()
            })?);
        }
        Ok(done)
    }

    /// Does something to the records: all of it or, after an error, nothing.
    pub(crate) fn change<T>(
        &mut self,
        what: impl FnOnce(&mut Change<'_>) -> Result<T, RecordsError>,
    ) -> Result<T, RecordsError> {
        self.database.begin()?;
        let done = end_of_chain(self.database.as_mut()).and_then(|end| {
            let mut change = Change::new(self.database.as_mut(), &mut self.names, end);
            let done = what(&mut change)?;
            change.write()?;
            Ok(done)
        });
        let done = done.and_then(|done| self.database.commit().map(|()| done));
        if done.is_err() {
            self.database.roll_back();
            self.names = Names::default();
        }
        done
    }

    /// Reads one state of the records, which others may add to meanwhile.
    pub(crate) fn reading<T>(
        &mut self,
        what: impl FnOnce(&mut dyn Database) -> Result<T, RecordsError>,
    ) -> Result<T, RecordsError> {
        self.database.begin_reading()?;
        let done = what(self.database.as_mut());
        match done {
            Ok(done) => self.database.commit().map(|()| done),
            Err(error) => {
                self.database.roll_back();
                Err(error)
            }
        }
    }

    /// The last entry's number and link; 0 and zeros where there is none.
    ///
    /// # Errors
    /// That it cannot be read.
    pub fn end(&mut self) -> Result<(i64, String), RecordsError> {
        end_of_chain(self.database.as_mut())
    }

    /// The migrations that these records have had: number, when, by which program.
    ///
    /// # Errors
    /// That they cannot be read.
    pub fn migrations(&mut self) -> Result<Vec<(i64, String, String)>, RecordsError> {
        let rows = schema::history(self.database.as_mut())?;
        let one = |row: &Vec<Cell>| {
            (
                cell(row, 0).int().unwrap_or(0),
                cell(row, 1).text().to_owned(),
                cell(row, 2).text().to_owned(),
            )
        };
        Ok(rows.iter().map(one).collect())
    }
}

/// Whether a recording and a fit may be entered, and together.
fn fitting_together(recording: &Recording, fit: &Fit) -> Result<(), RecordsError> {
    let refused = |why: String| {
        Err(RecordsError::Refused {
            what: format!("the recording {}", recording.file),
            why,
        })
    };
    if recording.seal.is_empty() {
        return refused("it has no seal; recover it first (truerim recover)".to_owned());
    }
    if fit.seal != recording.seal {
        return refused(format!(
            "the fit is of the recording with seal {}, not {}; fit it again",
            fit.seal, recording.seal
        ));
    }
    if recording.unit.serial.is_empty() {
        return refused("it names no unit; give its serial number".to_owned());
    }
    if crate::instant::seconds_of(&recording.created).is_none() {
        return refused(format!(
            "its beginning, \"{}\", is no date and time as RFC 3339 writes them",
            recording.created
        ));
    }
    Ok(())
}

fn end_of_chain(database: &mut dyn Database) -> Result<(i64, String), RecordsError> {
    let row = first(
        database,
        "SELECT seq, link FROM entries ORDER BY seq DESC LIMIT 1",
        &[],
    )?;
    Ok(match row {
        Some(row) => (cell(&row, 0).int().unwrap_or(0), cell(&row, 1).text().to_owned()),
        None => (0, FIRST_LINK.to_owned()),
    })
}
