//! Between results folders and the records: what of a fit is recorded, what waits to be, receipts, exports, and fitting an
//! archive again.
//!
//! A results folder is whole by itself; the records say of it who, when, under which calibration and with what result, and bind
//! that. [`contents()`] says what is entered, [`enter()`] enters a folder, [`Outbox`] keeps in mind what could not be.

mod bench_sheet;
mod contents;
mod demo;
mod derived;
mod enter;
mod export;
mod guided;
mod judged;
mod outbox;
mod receipt;
mod refit;
mod sheet;
mod unit_sheet;
mod units;
mod values_table;

use std::path::{Path, PathBuf};

use records::RecordsError;

use crate::fitting::FittingError;
use crate::recording::RecordingError;
use crate::report::ReportError;

pub use bench_sheet::{BenchWanted, bench_sheet};
pub use contents::{Given, contents};
pub use demo::{LimitsFile, demo_sheet, enter_year, limits_files};
pub use derived::{Holding, Limited, derived_limits};
pub use enter::{Entered, enter, folders, load};
pub use export::{Exported, export};
pub use guided::{Computed, Progress, Step, Studied, computed, progress};
pub use judged::{JUDGEMENT, LimitsNote, judge_document, judgement_on_page, keep_judgement};
pub use outbox::{Delivered, Outbox, Waiting};
pub use receipt::{RECEIPT, receipts};
pub use refit::{Changed, Refitted, refit};
pub use sheet::{NEWEST, Study, StudyBy, Wanted, sheet};
pub use unit_sheet::unit_sheet;
pub use values_table::{TableOrigin, write_values};

/// Name of the recording in a results folder.
pub const RECORDING: &str = "recording.h5";
/// Name of the fit in a results folder.
pub const FIT: &str = "fit.json";

/// Why something could not be taken into the records or out of them.
#[derive(Debug, thiserror::Error)]
pub enum ArchiveError {
    /// The records.
    #[error("{0}")]
    Records(#[from] RecordsError),
    /// A recording.
    #[error("{0}")]
    Recording(#[from] RecordingError),
    /// A fit that could not be made.
    #[error("{0}")]
    Fitting(#[from] FittingError),
    /// A fit that could not be written.
    #[error("{0}")]
    Report(#[from] ReportError),
    /// A file or folder.
    #[error("cannot {doing} {path}: {source}")]
    Io {
        /// What was tried.
        doing: &'static str,
        /// Which.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// A file that is not what it should be.
    #[error("{path}: {problem}")]
    Unfit {
        /// Which.
        path: PathBuf,
        /// What is wrong and what to do.
        problem: String,
    },
}

/// An error of the system about a path.
fn io(doing: &'static str, path: &Path) -> impl FnOnce(std::io::Error) -> ArchiveError + use<> {
    let path = path.to_owned();
    move |source| ArchiveError::Io { doing, path, source }
}

fn unfit(path: &Path, problem: impl Into<String>) -> ArchiveError {
    ArchiveError::Unfit {
        path: path.to_owned(),
        problem: problem.into(),
    }
}

/// Writes a small file so that it is there whole or not at all, and survives a loss of power once this returns.
fn write_safely(path: &Path, text: &str) -> Result<(), ArchiveError> {
    use std::io::Write as _;
    let folder = path.parent().unwrap_or_else(|| Path::new("."));
    std::fs::create_dir_all(folder).map_err(io("make the folder", folder))?;
    let aside = path.with_extension("tmp");
    let mut file = std::fs::File::create(&aside).map_err(io("write", &aside))?;
    file.write_all(text.as_bytes())
        .and_then(|()| file.sync_all())
        .map_err(io("write", &aside))?;
    std::fs::rename(&aside, path).map_err(io("put in place", path))?;
    sync_folder(folder)
}

/// A name is safe only when its folder is.
fn sync_folder(folder: &Path) -> Result<(), ArchiveError> {
    std::fs::File::open(folder)
        .and_then(|folder| folder.sync_all())
        .map_err(io("force to the disk", folder))
}
