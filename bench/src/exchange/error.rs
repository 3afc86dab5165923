//! What can be wrong with data from elsewhere, said so that it can be put right.

use std::fmt;
use std::path::{Path, PathBuf};

use settings_file::Findings;

use crate::recording::RecordingError;

/// Why data could not be brought in or written out.
#[derive(Debug, thiserror::Error)]
pub enum ExchangeError {
    /// The system refused.
    #[error("cannot {doing} {path}: {source}")]
    Io {
        /// What was tried.
        doing: &'static str,
        /// On which file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// The map file is wrong.
    #[error("{0}")]
    Findings(#[from] Findings),
    /// The data file is damaged, or of a kind that is not read.
    #[error("{path}: {what}; {fix}")]
    Format {
        /// Which file.
        path: PathBuf,
        /// What is wrong with it.
        what: String,
        /// What to do.
        fix: String,
    },
    /// The map names something the data file does not have.
    #[error("{path}: no column {name:?}{near}; the file has: {available}", near = near(nearest.as_deref()))]
    NoColumn {
        /// Which file.
        path: PathBuf,
        /// The name asked for.
        name: String,
        /// The name that was probably meant.
        nearest: Option<String>,
        /// The names that are there.
        available: String,
    },
    /// The data can be read and are not fit to be used as they are.
    #[error("{0}")]
    Refused(Refusal),
    /// The recording cannot be read or written.
    #[error("{0}")]
    Recording(#[from] RecordingError),
}

fn near(nearest: Option<&str>) -> String {
    nearest.map_or(String::new(), |name| format!(", did you mean {name:?}?"))
}

impl ExchangeError {
    pub(super) fn io(doing: &'static str, path: &Path, source: std::io::Error) -> Self {
        Self::Io {
            doing,
            path: path.to_owned(),
            source,
        }
    }

    pub(super) fn format(path: &Path, what: impl Into<String>, fix: impl Into<String>) -> Self {
        Self::Format {
            path: path.to_owned(),
            what: what.into(),
            fix: fix.into(),
        }
    }
}

/// One kind of fault in the data, with how often and where first.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Defect {
    /// Short stable word: `fields`, `cell`, `time-back`, `duplicate`, `gap`, `uneven`, `sign`, `unit`, …
    pub code: &'static str,
    /// What was found, in words.
    pub what: String,
    /// How many times.
    pub count: u64,
    /// The first few places, with row (and line) numbers.
    pub places: Vec<String>,
    /// What to do, or what was done.
    pub remedy: String,
}

impl fmt::Display for Defect {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.what)?;
        if self.count > 1 {
            write!(f, " ({} times)", self.count)?;
        }
        if !self.places.is_empty() {
            write!(f, ": {}", self.places.join("; "))?;
            if self.count > self.places.len() as u64 {
                write!(f, "; …")?;
            }
        }
        if !self.remedy.is_empty() {
            write!(f, ". {}", self.remedy)?;
        }
        Ok(())
    }
}

/// All that keeps a file from being imported as it is.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Refusal {
    /// Which file.
    pub path: PathBuf,
    /// What was found.
    pub defects: Vec<Defect>,
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} is not imported:", self.path.display())?;
        for defect in &self.defects {
            write!(f, "\n  {}: {defect}", defect.code)?;
        }
        Ok(())
    }
}
