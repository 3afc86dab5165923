//! Why something was not published, or cannot be checked.

use std::path::PathBuf;

use crate::fitting::FittingError;
use crate::recording::RecordingError;
use crate::report::PlotError;

/// What went wrong.
#[derive(Debug, thiserror::Error)]
pub enum PublishError {
    /// A file that must be there is not.
    #[error("{}: there is no {name}; publish takes the folder that `truerim measure` leaves, with recording.h5, fit.json and report.html", .folder.display())]
    Missing {
        /// The folder.
        folder: PathBuf,
        /// The file.
        name: &'static str,
    },
    /// The recording is not as it was sealed.
    #[error("{}: was changed after it was sealed ({first}); only what is as it was measured is published", .path.display())]
    NotIntact {
        /// The recording.
        path: PathBuf,
        /// The first difference.
        first: String,
    },
    /// The fit is of another recording.
    #[error("{}: is the fit of run {fit}, and the recording beside it is run {recording}; fit and report it again", .path.display())]
    OtherRun {
        /// The fit.
        path: PathBuf,
        /// Its run.
        fit: String,
        /// The recording's.
        recording: String,
    },
    /// The fit cannot be read.
    #[error("{}: is no fit that this version can read: {source}; fit the recording again", .path.display())]
    NotAFit {
        /// The fit.
        path: PathBuf,
        /// Why.
        source: serde_json::Error,
    },
    /// An input's name cannot be a file's.
    #[error("{}: holds an input called {name:?}, which cannot be a file name in an archive", .path.display())]
    Name {
        /// The recording.
        path: PathBuf,
        /// The name.
        name: String,
    },
    /// The archive cannot be written or read.
    #[error("{}: cannot be {doing} as a ZIP archive: {what}; {advice}", .path.display())]
    Archive {
        /// The archive.
        path: PathBuf,
        /// `written` or `read`.
        doing: &'static str,
        /// Why.
        what: String,
        /// What to do.
        advice: &'static str,
    },
    /// Larger than is unpacked.
    #[error("{}: member {member} has more than {limit} bytes, or all together have; nothing that a bench records is as large", .path.display())]
    TooLarge {
        /// The archive.
        path: PathBuf,
        /// The member.
        member: String,
        /// The limit.
        limit: u64,
    },
    /// The file system refused.
    #[error("{}: cannot be {doing}: {source}", .path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// `read` or `written`.
        doing: &'static str,
        /// What the system said.
        source: std::io::Error,
    },
    /// The recording cannot be read.
    #[error("{0}")]
    Recording(#[from] RecordingError),
    /// The recording cannot be fitted.
    #[error("{0}")]
    Fitting(#[from] FittingError),
    /// A plot could not be drawn.
    #[error("{0}")]
    Plot(#[from] PlotError),
    /// JSON could not be made.
    #[error("the description cannot be written as JSON: {0}")]
    Json(#[from] serde_json::Error),
}
