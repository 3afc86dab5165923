//! What drives a run: a serial port in real time, or a virtual rig in lock-step. Nothing in here decides anything.
//!
//! - [`mod@conduct`] is the one loop that carries bytes between a [`Line`] and a [`bench_core::run::Run`].
//! - [`lockstep`] runs a virtual rig in this process, as fast as the processor allows, on the rig's own clock.
//! - [`serial`] talks to any serial port, a pty included, in real time.
//! - [`sense`] is a torque sensor of its own port, [`force`] a wheelbase that is a force-feedback device, and [`composed`] puts
//!   either or both around the line to a rig controller.
//! - [`ports`] lists ports with what they are, and sets their latency timers.
//! - [`clock`] is the only file that reads the host's clocks.
//! - [`lateness`] counts how late the loop woke.
//! - [`schedule`] asks the system for real-time scheduling and locked memory, and says what was granted.
//! - [`signals`] turns Ctrl-C and the system's requests to end into a stop.

pub mod clock;
pub mod composed;
pub mod conduct;
pub mod force;
pub mod lateness;
pub mod lockstep;
pub mod ports;
pub mod schedule;
pub mod sense;
pub mod serial;
pub mod signals;

pub use composed::Composed;
pub use conduct::{Sink, conduct};
pub use lateness::Lateness;
pub use lockstep::LockStep;
pub use serial::SerialLine;
pub use signals::StopFlag;

use bench_core::time::HostNs;

/// A byte stream to a rig, with the time that belongs to it.
pub trait Line {
    /// The time now: never goes back.
    fn now(&self) -> HostNs;

    /// Waits until bytes came or `until` has come, whichever is first, and appends what came to `inbox`.
    ///
    /// # Errors
    /// [`LineError`] when the line is gone for good.
    fn wait(&mut self, until: HostNs, inbox: &mut Vec<u8>) -> Result<(), LineError>;

    /// Writes all of `bytes`; with `discard_first`, throws away first what is queued unsent.
    ///
    /// # Errors
    /// [`LineError`] when the line is gone or takes nothing any more.
    fn write(&mut self, bytes: &[u8], discard_first: bool) -> Result<(), LineError>;

    /// What the parts of a rig have to say of themselves, for people: a line each.
    fn account(&self) -> Vec<Said> {
        Vec::new()
    }
}

/// What a part of a rig has to say of itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Said {
    /// In words, with numbers.
    pub words: String,
    /// Whether something is not as it should be.
    pub amiss: bool,
}

impl Said {
    /// A plain fact.
    #[must_use]
    pub fn fact(words: impl Into<String>) -> Self {
        let words = words.into();
        Self { words, amiss: false }
    }

    /// Something that somebody should look at.
    #[must_use]
    pub fn amiss(words: impl Into<String>) -> Self {
        let words = words.into();
        Self { words, amiss: true }
    }
}

/// Why a line is no use any more.
#[derive(Debug, thiserror::Error)]
pub enum LineError {
    /// The port cannot be opened.
    #[error(
        "cannot open {port}: {source}; check that it exists, that you may use it, and that nothing else has it open"
    )]
    Open {
        /// Its path.
        port: String,
        /// What the system said.
        source: serialport::Error,
    },
    /// No port is the one that was asked for.
    #[error("{0}")]
    NoSuchPort(String),
    /// A force-feedback device cannot be taken.
    #[error(
        "cannot take the force-feedback device {device}: {source}; check its path, that you may use it, and that nothing else has it"
    )]
    Device {
        /// Its path.
        device: String,
        /// What the system said.
        source: std::io::Error,
    },
    /// A force-feedback device was released, or could not be.
    #[error("{why}")]
    Released {
        /// Why.
        why: String,
    },
    /// Reading or writing failed.
    #[error("{port} failed while {doing}: {source}; check the cable and the rig's supply")]
    Io {
        /// Its path.
        port: String,
        /// Reading or writing.
        doing: &'static str,
        /// What the system said.
        source: std::io::Error,
    },
}
