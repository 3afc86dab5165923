//! Fitting an archive again, with this version, on all cores.

use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc;

use records::content::{self, Program};
use records::{Difference, Stamp, Store};
use serde::Serialize;

use super::contents::{Given, contents};
use super::{ArchiveError, RECORDING, enter, unfit};
use crate::fitting::{FitOptions, fit_recording};
use crate::recording::{Recording, verify};

/// What fitting an archive again did.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Refitted {
    /// Recordings in the archive.
    pub recordings: usize,
    /// Those that had a fit by this version already.
    pub before: usize,
    /// Those fitted and added now.
    pub now: usize,
    /// Those that could not be, each with the reason.
    pub failed: Vec<(PathBuf, String)>,
    /// Those fitted now that had an earlier fit which says something else.
    pub changed: Vec<Changed>,
}

/// A recording of which the new fit says something else than the one that was in force.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Changed {
    /// The recording.
    pub path: PathBuf,
    /// The unit's serial number.
    pub serial: String,
    /// Which version made the earlier fit.
    pub before_by: String,
    /// Measurands in which the two agree to the last bit.
    pub same: usize,
    /// The others.
    pub differences: Vec<Difference>,
}

/// Fits each recording below `archive` that has no fit by this version in the records, and adds the fit beside the earlier
/// ones. Each fit is added as soon as it is made, so what was done stays done when this is killed, and beginning again goes on
/// from there. `tell` hears of each recording that is done.
///
/// # Errors
/// That the archive or the records cannot be read or written; single recordings that cannot be fitted are told in the result.
pub fn refit(
    store: &mut Store,
    archive: &Path,
    jobs: usize,
    stamp: &Stamp,
    tell: &mut dyn FnMut(&Path),
) -> Result<Refitted, ArchiveError> {
    let all: Vec<PathBuf> = enter::folders(archive)?
        .into_iter()
        .map(|folder| folder.join(RECORDING))
        .filter(|recording| recording.is_file())
        .collect();
    let this = crate::software();
    let this = Program {
        name: this.name,
        version: this.version,
        build: this.build,
    };
    let mut done = Refitted {
        recordings: all.len(),
        ..Refitted::default()
    };
    // Two threads may not use one connection; asking takes far less than fitting.
    let records = Mutex::new(store);
    let next = AtomicUsize::new(0);
    let (send, receive) = mpsc::sync_channel(2 * jobs.max(1));
    std::thread::scope(|scope| {
        for _ in 0..jobs.max(1) {
            let send = send.clone();
            let (all, next, records, this) = (&all, &next, &records, &this);
            scope.spawn(move || {
                while let Some(path) = all.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let fitted = fitted(path, this, records);
                    // Nobody listens any more: an error ended it all.
                    if send.send((path, fitted)).is_err() {
                        return;
                    }
                }
            });
        }
        drop(send);
        for (path, fitted) in receive {
            match fitted {
                Ok(None) => done.before += 1,
                Ok(Some((recording, fit))) => {
                    let mut records = lock(&records);
                    let before = records.fit_in_force(&recording.seal)?;
                    records.add(&recording, &fit, stamp)?;
                    done.now += 1;
                    done.changed
                        .extend(before.and_then(|before| changed(path, &recording, &before, &fit)));
                }
                Err(ArchiveError::Records(error)) if error.may_pass() => return Err(error.into()),
                Err(error) => done.failed.push((path.clone(), error.to_string())),
            }
            tell(path);
        }
        done.failed.sort();
        done.changed.sort_by(|a, b| a.path.cmp(&b.path));
        Ok(done)
    })
}

/// Where the new fit differs; nothing where it does not.
fn changed(
    path: &Path,
    recording: &content::Recording,
    before: &content::Fit,
    now: &content::Fit,
) -> Option<Changed> {
    let (same, differences) = records::differences(before, now);
    (!differences.is_empty()).then(|| Changed {
        path: path.to_owned(),
        serial: recording.unit.serial.clone(),
        before_by: format!("{} {}", before.software.version, before.software.build)
            .trim()
            .to_owned(),
        same,
        differences,
    })
}

fn lock<'a, 's>(records: &'a Mutex<&'s mut Store>) -> std::sync::MutexGuard<'a, &'s mut Store> {
    records.lock().unwrap_or_else(std::sync::PoisonError::into_inner)
}

/// The entries of a recording fitted anew; nothing where the records have a fit of it by this version.
fn fitted(
    path: &Path,
    this: &Program,
    records: &Mutex<&mut Store>,
) -> Result<Option<(content::Recording, content::Fit)>, ArchiveError> {
    let recording = Recording::open(path)?;
    let Some(seal) = recording.seal() else {
        return Err(unfit(path, "is not sealed; recover it first (truerim recover)"));
    };
    if lock(records).has_fit(&seal.sha256, this)? {
        return Ok(None);
    }
    if let Some(found) = verify(path)?.differences.first() {
        let problem = format!(
            "was changed after it was sealed ({}: {})",
            found.object, found.what
        );
        return Err(unfit(path, problem));
    }
    let document = fit_recording(&recording, &FitOptions::default())?;
    let place = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    let given = Given::default();
    Ok(Some(contents(&document, &place.display().to_string(), &given)))
}
