//! What can go wrong with a recording.

use std::path::{Path, PathBuf};

/// An error of writing, reading or sealing a recording. Each message says what to do.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RecordingError {
    /// The file that should be created is there already.
    #[error("{}: a file of this name exists; a recording is never written over, choose another name", .path.display())]
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// The file system refused.
    #[error("{}: cannot {action}: {detail}", .path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What was tried.
        action: &'static str,
        /// What the system said.
        detail: String,
    },
    /// The HDF5 library refused.
    #[error("{}: HDF5 could not {action}: {detail}", .path.display())]
    Hdf5 {
        /// The file.
        path: PathBuf,
        /// What was tried, with the object's name.
        action: String,
        /// What the library said.
        detail: String,
    },
    /// Too little room to write on.
    #[error(
        "{}: {free_bytes} bytes are free on this disk and {needed_bytes} are needed to go on and to seal; \
         the recording ends here with {rows} rows safe. Free space or record to another disk, then run \
         `truerim recover` on this file", .path.display())]
    DiskFull {
        /// The file.
        path: PathBuf,
        /// Bytes free for this user.
        free_bytes: u64,
        /// Bytes wanted before writing on.
        needed_bytes: u64,
        /// Rows that are safely in the file.
        rows: u64,
    },
    /// A flush failed, so nothing further is written.
    #[error(
        "{}: writing failed with {free_bytes} bytes free: {detail}; the recording ends here with {rows} rows \
         safe. Check the disk, then run `truerim recover` on this file", .path.display())]
    FlushFailed {
        /// The file.
        path: PathBuf,
        /// Bytes free for this user when it failed (0 if that is not known either).
        free_bytes: u64,
        /// What the library said.
        detail: String,
        /// Rows that are safely in the file.
        rows: u64,
    },
    /// An earlier error ended the recording; nothing more is taken.
    #[error("{}: the recording has ended after an error and takes no more: {first}", .path.display())]
    Ended {
        /// The file.
        path: PathBuf,
        /// The error that ended it.
        first: String,
    },
    /// What was handed over does not fit the header.
    #[error("{}: {what}", .path.display())]
    Invalid {
        /// The file.
        path: PathBuf,
        /// The value, the limit and what to do.
        what: String,
    },
    /// The queue to the disk is full.
    #[error(
        "{}: {capacity} messages wait for the disk, as many as the queue holds (10 s of samples): the disk is \
         too slow or stuck. The run must stop; record to a faster disk", .path.display())]
    QueueFull {
        /// The file.
        path: PathBuf,
        /// Messages the queue holds.
        capacity: usize,
    },
    /// The file is not a recording of ours.
    #[error("{}: not a truerim recording: {detail}", .path.display())]
    NotARecording {
        /// The file.
        path: PathBuf,
        /// What is missing or different.
        detail: String,
    },
    /// The recording was never sealed.
    #[error("{}: not sealed: the run has not ended or its program died; run `truerim recover` on it", .path.display())]
    Unsealed {
        /// The file.
        path: PathBuf,
    },
    /// The recording is sealed already.
    #[error("{}: sealed already, nothing to recover", .path.display())]
    Sealed {
        /// The file.
        path: PathBuf,
    },
    /// The file is of a newer major version.
    #[error(
        "{}: written with schema version {found}, this program reads versions {supported}.x; \
         use a newer truerim to read it", .path.display())]
    NewerSchema {
        /// The file.
        path: PathBuf,
        /// The version in the file.
        found: String,
        /// The major version that can be read.
        supported: u32,
    },
    /// The contents contradict themselves or the schema.
    #[error("{}: damaged or edited: {object}: {detail}", .path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// The object in it.
        object: String,
        /// What is wrong.
        detail: String,
    },
    /// No channel of that name.
    #[error("{}: no channel called {name}; it has {available}", .path.display())]
    NoChannel {
        /// The file.
        path: PathBuf,
        /// The name asked for.
        name: String,
        /// The names there are.
        available: String,
    },
    /// Rows asked for that are not there.
    #[error("{}: rows {start}..{end} asked for, the recording has {rows}", .path.display())]
    OutOfRange {
        /// The file.
        path: PathBuf,
        /// First row asked for.
        start: usize,
        /// One past the last row asked for.
        end: usize,
        /// Rows there are.
        rows: usize,
    },
}

impl RecordingError {
    /// Wraps an error of the HDF5 library; its texts can have several lines, ours has one.
    pub(crate) fn hdf5(path: &Path, action: impl Into<String>, error: &hdf5_metno::Error) -> Self {
        let detail = error.to_string().split_whitespace().collect::<Vec<_>>().join(" ");
        Self::Hdf5 {
            path: path.to_owned(),
            action: action.into(),
            detail,
        }
    }

    /// The message for use inside another one that names the file already.
    pub(crate) fn without_path(&self) -> String {
        match self {
            Self::Hdf5 { action, detail, .. } => format!("HDF5 could not {action}: {detail}"),
            other => other.to_string(),
        }
    }

    /// Wraps an error of the file system.
    pub(crate) fn io(path: &Path, action: &'static str, error: &std::io::Error) -> Self {
        Self::Io {
            path: path.to_owned(),
            action,
            detail: error.to_string(),
        }
    }

    /// Something handed over that does not fit.
    pub(crate) fn invalid(path: &Path, what: impl Into<String>) -> Self {
        Self::Invalid {
            path: path.to_owned(),
            what: what.into(),
        }
    }

    /// Something in the file that does not fit.
    pub(crate) fn damaged(path: &Path, object: impl Into<String>, detail: impl Into<String>) -> Self {
        Self::Damaged {
            path: path.to_owned(),
            object: object.into(),
            detail: detail.into(),
        }
    }
}
