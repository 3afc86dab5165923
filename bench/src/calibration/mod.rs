//! Calibrations: from a file of weights and readings to a dated certificate, and from a rig file to its certificate.
//!
//! [`setup`] reads what was hung and read, [`certificate`] evaluates it and knows its identity, [`page`] shows it,
//! [`mod@reference`] says what a rig file's certificate is worth today. The numbers come from
//! [`truerim_analysis::calibration`].

pub mod certificate;
pub mod page;
pub mod readings;
pub mod reference;
pub mod setup;

use std::path::PathBuf;

use settings_file::Findings;
use truerim_analysis::calibration::CalibrationRefusal;

/// Why there is no calibration.
#[derive(Debug, thiserror::Error)]
pub enum CalibrationError {
    /// A file cannot be read or written.
    #[error("cannot {doing} {path}: {source}")]
    Io {
        /// What was tried.
        doing: &'static str,
        /// Which file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// Something in the file is wrong.
    #[error("{0}")]
    Findings(#[from] Findings),
    /// A line of readings is wrong.
    #[error("{path}:{line}: {problem}")]
    Line {
        /// Which file.
        path: PathBuf,
        /// Counted from 1.
        line: usize,
        /// What is wrong, what is allowed and what to do.
        problem: String,
    },
    /// The readings make no calibration.
    #[error("{file}: {refusal}")]
    Refused {
        /// The file of the readings.
        file: String,
        /// Why.
        refusal: CalibrationRefusal,
    },
    /// A file is no certificate, or was changed.
    #[error("{path}: {problem}")]
    Certificate {
        /// Which file.
        path: PathBuf,
        /// What is wrong and what to do.
        problem: String,
    },
}

/// A whole file as text.
pub(crate) fn read_text(path: &std::path::Path) -> Result<String, CalibrationError> {
    std::fs::read_to_string(path).map_err(|source| CalibrationError::Io {
        doing: "read",
        path: path.to_owned(),
        source,
    })
}
