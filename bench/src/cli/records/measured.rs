//! What `measure` and `record` do for the records: a note before the run, adding after it.

use std::path::{Path, PathBuf};

use records::{Address, Store};
use serde_json::{Value, json};

use super::args::EnterArgs;
use super::{place, stamp};
use crate::archive::{LimitsNote, Outbox, Waiting};
use crate::cli::exit::Problem;
use crate::cli::say::Say;

/// A run whose results are for the records.
pub(in crate::cli) struct Entering {
    address: Address,
    outbox: Outbox,
    waiting: Waiting,
    /// The results folder.
    folder: PathBuf,
}

impl Entering {
    /// Puts the note into the outbox; nothing where no records are asked for.
    pub(in crate::cli) fn begin(
        args: &EnterArgs,
        results: &Path,
        operator: &str,
        limits: Option<&LimitsNote>,
    ) -> Result<Option<Self>, Problem> {
        let Some(url) = &args.records else {
            return Ok(None);
        };
        let address: Address = place(Some(url))?;
        let folder = std::path::absolute(results).unwrap_or_else(|_| results.to_owned());
        let name = folder.file_name().map(|name| name.to_string_lossy().into_owned());
        let waiting = Waiting {
            folder: name.ok_or_else(|| {
                Problem::Usage(format!(
                    "{} has no name of its own; give another --out",
                    results.display()
                ))
            })?,
            records: address.to_string(),
            bench: args.bench.clone(),
            batch: args.batch.clone(),
            by: stamp(Some(operator)).by,
            limits: limits.cloned(),
        };
        let outbox = Outbox::beside(&folder);
        outbox.put(&waiting)?;
        Ok(Some(Self {
            address,
            outbox,
            waiting,
            folder,
        }))
    }

    /// Takes the note out again: nothing was recorded.
    pub(in crate::cli) fn nothing(self, say: &Say) {
        if let Err(error) = self.outbox.take(&self.waiting.folder) {
            say.error(&error.to_string());
        }
    }

    /// Adds the results, and what waits beside them. What cannot be added waits, and that is said loudly; the measurement is done
    /// in any case.
    pub(in crate::cli) fn deliver(self, say: &Say) -> Value {
        let stamp = stamp(None);
        let opened = Store::open(&self.address, true, &stamp);
        let done = opened
            .map_err(crate::archive::ArchiveError::from)
            .and_then(|mut store| self.outbox.deliver(&mut store, None, &stamp));
        let done = match done {
            Ok(done) => done,
            Err(error) => {
                say.error(&format!(
                    "\n*** NOT IN THE RECORDS YET: {error}\n    The measurement is safe in {}. The next one beside it adds it, or\n    \
                     truerim records catch-up {} --records {} ***",
                    self.folder.display(),
                    self.folder.parent().unwrap_or(&self.folder).display(),
                    self.waiting.records
                ));
                return json!({ "added": false, "error": error.to_string() });
            }
        };
        let mut own = json!({ "added": false });
        for (waiting, entered) in done {
            let is_own = waiting.folder == self.waiting.folder;
            match entered {
                Ok(entered) => {
                    let number = entered.added.fit.seq;
                    say.note(&format!(
                        "Records {}: {} is entry {number}.",
                        waiting.records, waiting.folder
                    ));
                    if is_own && entered.overdue {
                        say.error(
                            "warning: the calibration of the torque sensor has run out; the records say so",
                        );
                    }
                    if is_own {
                        own = json!({ "added": true, "entries": entered.added, "judged": entered.judged });
                    }
                }
                Err(error) if is_own => {
                    say.error(&format!("\n*** NOT IN THE RECORDS YET: {error} ***"));
                    own = json!({ "added": false, "error": error.to_string() });
                }
                Err(error) => say.note(&format!("Still waiting for the records: {error}")),
            }
        }
        own
    }
}
