//! A measurement packed so that a stranger can check it: recording, fit, report, plots and inputs in one archive, described as an
//! RO-Crate 1.1 and listed with their SHA-256.
//!
//! The archive of the same files is the same to the last byte: its order and time stamps are fixed. [`check`] tells every file
//! that was changed, is missing or was added, recomputes the recording's seal, and fits the recording again.

mod archive;
mod check;
mod collect;
mod describe;
mod error;
mod refit;
mod sums;

pub use check::{BundleCheck, Trouble, check};
pub use collect::{Published, publish};
pub use describe::About;
pub use error::PublishError;

/// The description, by the name that RO-Crate gives it.
pub const METADATA: &str = "ro-crate-metadata.json";
/// The list of hashes, as `sha256sum -c` reads it.
pub const SUMS: &str = "SHA256SUMS";
/// The recording.
pub const RECORDING: &str = "recording.h5";
/// The fit.
pub const FIT: &str = "fit.json";
/// The page.
pub const PAGE: &str = "report.html";
/// Folder of the files that the run was made from.
pub const INPUTS: &str = "inputs/";
