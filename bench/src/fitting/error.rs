//! Why a recording cannot be fitted at all.

use crate::recording::RecordingError;

/// An error of fitting. Data that cannot support one result give a refusal in the document, not this.
#[derive(Debug, thiserror::Error)]
pub enum FittingError {
    /// The recording cannot be read.
    #[error("{0}")]
    Recording(#[from] RecordingError),
    /// A channel that every fit needs is missing.
    #[error(
        "{file}: the recording has no channel called {channel}, so nothing can be fitted; it was not made by a rig with torque sensor and setpoint read-back"
    )]
    NoChannel {
        /// The file.
        file: String,
        /// The channel's name.
        channel: &'static str,
    },
    /// A header value without which time or torque have no meaning.
    #[error("{file}: {what} is {value}, it must be above 0: the header is damaged, nothing can be fitted")]
    Header {
        /// The file.
        file: String,
        /// Which value.
        what: &'static str,
        /// What it is.
        value: f64,
    },
}
