//! What the bench does in real time over a pseudo-terminal: figures, never bounds.
//!
//! - [`minute`] plays a run of a minute against the virtual rig, served by a process of its own, and counts.
//! - [`endurance`] runs the real program ([`program`]) for as long as is asked, and [`load`] keeps the computer busy.
//! - [`stops`] measures the time from a violating sample's bytes to the stop frame, many times, beside a bare echo.
//! - [`wakes`] measures how late the bench's line wakes when no bytes come.
//! - [`pty`], [`device`], [`swap`] are the far side, its thread, and the line that changes sides in the middle of a run.
//! - [`rig_process`] is the far side of the minute.
//! - [`spread`], [`host`], [`table`] and [`markdown`] are what is said about it.
//!
//! A general-purpose kernel promises nothing about time, and a pseudo-terminal hands bytes over by a worker of
//! ordinary priority. So the numbers describe one computer on one day; bounds are tested in virtual time.

pub mod device;
pub mod endurance;
pub mod host;
pub mod load;
pub mod markdown;
pub mod minute;
pub mod program;
pub mod pty;
pub mod rig_process;
pub mod spread;
pub mod stops;
pub mod swap;
pub mod table;
pub mod wakes;

/// Why no figure can be given.
#[derive(Debug)]
pub struct Unmeasured(pub String);

impl std::fmt::Display for Unmeasured {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for Unmeasured {}

impl Unmeasured {
    /// What was being done, and what the system said.
    pub fn from_error(doing: &str, error: &dyn std::fmt::Display) -> Self {
        Self(format!("{doing}: {error}"))
    }
}
