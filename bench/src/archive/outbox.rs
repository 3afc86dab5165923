//! What waits to be recorded.
//!
//! A note is put into the outbox before a run begins and taken out after its results are in the records. So whatever happens in
//! between (the program dies, the network is gone) the note is there, and adding is done once more: what was added already is
//! recognised.

use std::path::{Path, PathBuf};

use records::{Stamp, Store};
use serde::{Deserialize, Serialize};

use super::contents::Given;
use super::enter::{Entered, enter};
use super::judged::{LimitsNote, keep_judgement};
use super::{ArchiveError, FIT, RECORDING, io, sync_folder, unfit, write_safely};

/// Name of the outbox, beside the results folders it is of.
const FOLDER: &str = "records-outbox";

/// The outbox of all results folders that lie side by side.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outbox {
    beside: PathBuf,
}

/// A note of something that waits.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Waiting {
    /// Name of the results folder.
    pub folder: String,
    /// The records it is for, without a password.
    pub records: String,
    /// Name of the bench, if it was given.
    pub bench: Option<String>,
    /// Batch of the unit, if it was given.
    pub batch: Option<String>,
    /// Who measured.
    pub by: String,
    /// The limits that it is to be judged by, if any were given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limits: Option<LimitsNote>,
}

/// What waited, and what became of it.
pub type Delivered = (Waiting, Result<Entered, ArchiveError>);

impl Outbox {
    /// The outbox beside a results folder.
    #[must_use]
    pub fn beside(results: &Path) -> Self {
        let beside = match results.parent() {
            Some(parent) if parent != Path::new("") => parent.to_owned(),
            _ => PathBuf::from("."),
        };
        Self { beside }
    }

    /// The outbox in a folder that holds results folders.
    #[must_use]
    pub fn within(folder: &Path) -> Self {
        Self {
            beside: folder.to_owned(),
        }
    }

    fn note(&self, folder: &str) -> PathBuf {
        self.beside.join(FOLDER).join(format!("{folder}.json"))
    }

    /// Puts a note in, safe from a loss of power when this returns.
    ///
    /// # Errors
    /// That it cannot be written.
    pub fn put(&self, waiting: &Waiting) -> Result<(), ArchiveError> {
        let path = self.note(&waiting.folder);
        let text = serde_json::to_string_pretty(waiting).map_err(|error| unfit(&path, error.to_string()))?;
        write_safely(&path, &(text + "\n"))
    }

    /// Takes a note out.
    ///
    /// # Errors
    /// That it cannot be removed.
    pub fn take(&self, folder: &str) -> Result<(), ArchiveError> {
        let path = self.note(folder);
        match std::fs::remove_file(&path) {
            Ok(()) => sync_folder(&self.beside.join(FOLDER)),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(()),
            Err(error) => Err(io("remove", &path)(error)),
        }
    }

    /// All that waits, by name.
    ///
    /// # Errors
    /// That the outbox or a note cannot be read.
    pub fn waiting(&self) -> Result<Vec<Waiting>, ArchiveError> {
        let folder = self.beside.join(FOLDER);
        if !folder.is_dir() {
            return Ok(Vec::new());
        }
        let mut found = Vec::new();
        for entry in std::fs::read_dir(&folder).map_err(io("read the folder", &folder))? {
            let path = entry.map_err(io("read the folder", &folder))?.path();
            if path.extension().is_some_and(|ending| ending == "json") {
                let text = std::fs::read_to_string(&path).map_err(io("read", &path))?;
                let one: Waiting = serde_json::from_str(&text).map_err(|error| {
                    unfit(&path, format!("is no note of what waits ({error}); remove it"))
                })?;
                found.push(one);
            }
        }
        found.sort_by(|a, b| a.folder.cmp(&b.folder));
        Ok(found)
    }

    /// Enters what waits for these records, `only` one if so asked, and takes its notes out. Returns each with what became of
    /// it; what could not be entered goes on waiting.
    ///
    /// # Errors
    /// That the outbox cannot be read.
    pub fn deliver(
        &self,
        store: &mut Store,
        only: Option<&str>,
        stamp: &Stamp,
    ) -> Result<Vec<Delivered>, ArchiveError> {
        let mut done = Vec::new();
        for waiting in self.waiting()? {
            if only.is_some_and(|only| only != waiting.folder) {
                continue;
            }
            let entered = self.deliver_one(store, &waiting, stamp);
            done.push((waiting, entered));
        }
        Ok(done)
    }

    fn deliver_one(
        &self,
        store: &mut Store,
        waiting: &Waiting,
        stamp: &Stamp,
    ) -> Result<Entered, ArchiveError> {
        let results = self.beside.join(&waiting.folder);
        if waiting.records != store.address() {
            let problem = format!("waits for other records, {}; name those", waiting.records);
            return Err(unfit(&results, problem));
        }
        if !results.join(RECORDING).exists() && !results.join(FIT).exists() {
            let problem = format!(
                "holds no recording: a run is under way, or never began; in that case remove {}",
                self.note(&waiting.folder).display()
            );
            return Err(unfit(&results, problem));
        }
        let given = Given {
            bench: waiting.bench.clone(),
            batch: waiting.batch.clone(),
        };
        let stamp = Stamp {
            by: waiting.by.clone(),
            ..stamp.clone()
        };
        let mut entered = enter(store, &results, &given, &stamp)?;
        let Some(note) = &waiting.limits else {
            self.take(&waiting.folder)?;
            return Ok(entered);
        };
        let limits = note.limits()?;
        match store.judge(entered.added.fit.seq, &limits, &stamp) {
            Err(error) if error.may_pass() => return Err(error.into()),
            judged => {
                // What these limits cannot judge, they cannot judge later either: the measurement is in the records.
                let judged = judged.map_err(ArchiveError::from);
                if let Ok(judged) = &judged {
                    keep_judgement(&results, &limits, &judged.judgement)?;
                }
                self.take(&waiting.folder)?;
                entered.judged = Some(judged?);
            }
        }
        Ok(entered)
    }
}
