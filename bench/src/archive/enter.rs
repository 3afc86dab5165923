//! From a results folder into the records.

use std::path::{Path, PathBuf};

use records::{Added, JudgedFit, Stamp, Store};

use super::contents::{Given, contents};
use super::{ArchiveError, FIT, RECORDING, io, receipt, unfit};
use crate::fitting::{FitDocument, FitOptions, SCHEMA_VERSION, fit_recording};
use crate::recording::{self, Recording};
use crate::report;

/// A results folder that is in the records.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Entered {
    /// The unit's model.
    pub model: String,
    /// The unit's serial number.
    pub serial: String,
    /// Where it stands.
    pub added: Added,
    /// Whether the calibration had run out.
    pub overdue: bool,
    /// What limits make of it, where it was to be judged.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub judged: Option<JudgedFit>,
}

/// The fit in a results folder, or named itself, and where its recording lies, if it was found. A recording without a fit is
/// fitted, and the fit and its report are left beside it.
///
/// # Errors
/// That a file cannot be read; that the recording is still open, was changed after it was sealed, or is another than the fit's.
pub fn load(path: &Path) -> Result<(FitDocument, Option<PathBuf>), ArchiveError> {
    let is_recording = path.extension().is_some_and(|ending| ending == "h5");
    let (fit, recording) = match (path.is_dir(), is_recording) {
        (true, _) => (path.join(FIT), path.join(RECORDING)),
        (false, true) => (path.with_file_name(FIT), path.to_owned()),
        (false, false) => (path.to_owned(), path.with_file_name(RECORDING)),
    };
    if recording.exists() {
        sealed(&recording)?;
    }
    let document = match (fit.exists() && !cut_short(&fit), recording.exists()) {
        (true, _) => read(&fit)?,
        (false, true) => {
            let opened = Recording::open(&recording)?;
            let document = fit_recording(&opened, &FitOptions::default())?;
            let folder = recording.parent().unwrap_or_else(|| Path::new("."));
            report::write_report(folder, &document)?;
            document
        }
        (false, false) if fit.exists() => read(&fit)?,
        (false, false) => {
            return Err(unfit(
                path,
                format!("there is neither {RECORDING} nor {FIT}; name a results folder or a fit"),
            ));
        }
    };
    if !recording.exists() {
        return Ok((document, None));
    }
    let seal = Recording::open(&recording)?
        .seal()
        .map(|seal| seal.sha256.clone());
    if seal != document.recording.seal {
        let problem = format!(
            "is not of the recording beside it, {}; fit that again",
            recording.display()
        );
        return Err(unfit(&fit, problem));
    }
    Ok((document, Some(recording)))
}

/// Whether a fit ends in the middle, as one does whose program was killed while it wrote.
fn cut_short(fit: &Path) -> bool {
    let Ok(text) = std::fs::read_to_string(fit) else {
        return false;
    };
    serde_json::from_str::<serde::de::IgnoredAny>(&text).is_err_and(|error| error.is_eof())
}

/// Refuses a recording that is not as it was sealed.
fn sealed(recording: &Path) -> Result<(), ArchiveError> {
    let verification = recording::verify(recording)?;
    match verification.differences.first() {
        None => Ok(()),
        Some(found) => Err(unfit(
            recording,
            format!(
                "was changed after it was sealed ({}: {}); fetch the original from the bench or a backup",
                found.object, found.what
            ),
        )),
    }
}

fn read(fit: &Path) -> Result<FitDocument, ArchiveError> {
    let text = std::fs::read_to_string(fit).map_err(io("read", fit))?;
    let document: FitDocument = serde_json::from_str(&text).map_err(|error| {
        unfit(
            fit,
            format!("is no fit this version can read ({error}); fit the recording again"),
        )
    })?;
    match document.schema_version > SCHEMA_VERSION {
        true => Err(unfit(
            fit,
            format!(
                "is a fit of layout {}, this version reads up to {SCHEMA_VERSION}: use the newer program",
                document.schema_version
            ),
        )),
        false => Ok(document),
    }
}

/// Enters a results folder, or a fit or recording named itself, and leaves a receipt beside it.
///
/// # Errors
/// As [`load`]; that the records refuse it or cannot be reached.
pub fn enter(store: &mut Store, path: &Path, given: &Given, stamp: &Stamp) -> Result<Entered, ArchiveError> {
    let (document, recording) = load(path)?;
    let place = recording.as_deref().unwrap_or(path);
    let place = std::path::absolute(place).unwrap_or_else(|_| place.to_owned());
    let (recording, fit) = contents(&document, &place.display().to_string(), given);
    let added = store.add(&recording, &fit, stamp)?;
    let folder = if path.is_dir() { Some(path) } else { path.parent() };
    receipt::write(
        folder.unwrap_or_else(|| Path::new(".")),
        &store.address(),
        &added,
        stamp,
    )?;
    Ok(Entered {
        model: recording.unit.model,
        serial: recording.unit.serial,
        added,
        overdue: recording.calibration.overdue,
        judged: None,
    })
}

/// The results folders below a path, which may be one itself: folders that hold a fit or a recording, by name.
///
/// # Errors
/// That a folder cannot be read.
pub fn folders(path: &Path) -> Result<Vec<PathBuf>, ArchiveError> {
    let mut found = Vec::new();
    let mut open = vec![path.to_owned()];
    while let Some(folder) = open.pop() {
        if folder.join(FIT).is_file() || folder.join(RECORDING).is_file() {
            found.push(folder.clone());
        }
        for entry in std::fs::read_dir(&folder).map_err(io("read the folder", &folder))? {
            let entry = entry.map_err(io("read the folder", &folder))?;
            // Links are not followed: they can lead in a circle.
            if entry.file_type().is_ok_and(|kind| kind.is_dir()) {
                open.push(entry.path());
            }
        }
    }
    found.sort();
    Ok(found)
}
