//! Exit codes, as `truerim --help` lists them.

use std::process::ExitCode;

use bench_core::run::{End, StopCause};
use records::content::Verdict;

use crate::archive::ArchiveError;
use crate::calibration::CalibrationError;
use crate::exchange::ExchangeError;
use crate::fitting::{FittingError, NotCompared};
use crate::publish::PublishError;
use crate::recording::RecordingError;
use crate::report::ReportError;
use crate::session::SessionError;

/// How the program ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Exit {
    Done = 0,
    File = 1,
    Usage = 2,
    Tripped = 3,
    Operator = 4,
    Rig = 5,
    LinkLost = 6,
    RecordingLost = 7,
    Terminated = 8,
    Program = 9,
    Failed = 10,
    Undecided = 11,
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(exit as u8)
    }
}

impl Exit {
    /// The code of a second process of this program that did the work of a file.
    pub(super) const fn of_file(code: u8) -> Self {
        match code {
            0 => Self::Done,
            2 => Self::Usage,
            _ => Self::File,
        }
    }

    /// The code for what limits make of units: that of the worst.
    pub(super) const fn of_verdict(worst: Verdict) -> Self {
        match worst {
            Verdict::Pass => Self::Done,
            Verdict::Fail => Self::Failed,
            Verdict::Undecided => Self::Undecided,
        }
    }

    /// The code for how a run ended.
    pub(super) const fn of(end: &End) -> Self {
        match end {
            End::Completed => Self::Done,
            End::Tripped(_) => Self::Tripped,
            End::Failed(_) => Self::Rig,
            End::Stopped(StopCause::Operator) => Self::Operator,
            End::Stopped(StopCause::Terminated) => Self::Terminated,
            End::Stopped(StopCause::RecordingFailed(_)) => Self::RecordingLost,
            End::Stopped(StopCause::LinkLost(_)) => Self::LinkLost,
            End::Stopped(StopCause::ProgramFault(_)) => Self::Program,
        }
    }
}

/// Why a command could not do its work.
#[derive(Debug, thiserror::Error)]
pub(super) enum Problem {
    #[error("{0}")]
    Session(#[from] SessionError),
    #[error("{0}")]
    Recording(#[from] RecordingError),
    #[error("{0}")]
    Exchange(#[from] ExchangeError),
    #[error("{0}")]
    Calibration(#[from] CalibrationError),
    #[error("{0}")]
    Fitting(#[from] FittingError),
    #[error("{0}")]
    Report(#[from] ReportError),
    #[error("{0}")]
    Records(#[from] records::RecordsError),
    #[error("{0}")]
    Archive(#[from] ArchiveError),
    #[error("{0}")]
    Publish(#[from] PublishError),
    #[error("cannot {doing} {path}: {source}")]
    Io {
        doing: &'static str,
        path: String,
        source: std::io::Error,
    },
    #[error("{0}")]
    Usage(String),
    #[error("{0}")]
    Refused(String),
    #[error("{path}: {error}")]
    NotCompared { path: String, error: Box<NotCompared> },
    #[error("{path}: {refusal}")]
    NotFitted {
        path: String,
        refusal: Box<truerim_analysis::estimate::Refusal>,
    },
    #[error("{path} is not a fit this version can read: {source}")]
    NotAFit { path: String, source: serde_json::Error },
}

impl Problem {
    pub(super) const fn code(&self) -> Exit {
        match self {
            Self::Usage(_) | Self::Session(SessionError::Fault { .. } | SessionError::FaultsElsewhere) => {
                Exit::Usage
            }
            Self::Records(records::RecordsError::Address { .. }) => Exit::Usage,
            Self::Refused(_) => Exit::Rig,
            Self::Session(SessionError::Line(_) | SessionError::NotLookedAt { .. }) => Exit::Rig,
            _ => Exit::File,
        }
    }
}
