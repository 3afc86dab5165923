//! Recordings: the HDF5 file of one run, raw counts, written once and sealed.
//!
//! [`RecordingWriter`] writes one, [`RecorderThread`] puts a bounded queue and a thread in front of it, [`Recording`]
//! reads one, [`verify`] checks its seal, and [`recover`] seals what a program that died left behind. `SCHEMA.md`
//! beside this file documents every dataset and attribute.
//!
//! ```
//! use truerim::recording::{Block, ChannelInfo, Completion, CountWidth, Header, Recording, RecordingWriter};
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! let directory = tempfile::tempdir()?;
//! let path = directory.path().join("run.h5");
//! let torque = ChannelInfo {
//!     name: "torque".into(),
//!     long_name: "rim torque".into(),
//!     units: "N.m".into(),
//!     width: CountWidth::I16,
//!     scale: 0.001,
//!     offset: 0.5,
//!     group_delay_s: 160e-6,
//!     raw_min: -32000,
//!     raw_max: 32000,
//! };
//! let header = Header {
//!     run_id: "0001".into(),
//!     created: "2026-03-02T10:00:00+01:00".into(),
//!     sample_period_ticks: 250,
//!     tick_s: 1e-6,
//!     channels: vec![torque],
//!     ..Header::default()
//! };
//! let mut writer = RecordingWriter::create(&path, &header)?;
//! writer.append(&Block { first_tick: 1_000, rows: 3, columns: vec![vec![0, 1500, -500]] })?;
//! writer.finish(&Completion::Complete)?;
//!
//! let recording = Recording::open(&path)?;
//! assert_eq!(recording.values("torque", 0..3)?.to_vec(), [0.5, 2.0, 0.0]);
//! assert_eq!(recording.ticks(0..3)?.to_vec(), [1_000, 1_250, 1_500]);
//! # Ok(())
//! # }
//! ```

mod attributes;
mod check;
mod columns;
mod declared;
mod digest;
mod error;
mod force;
mod h5;
mod header;
mod journal;
mod layout;
mod notes;
mod pace;
mod progress;
mod queue;
mod reader;
mod recovery;
mod rows;
mod safe;
mod scales;
mod sealing;
mod space;
mod table;
#[cfg(test)]
mod tests;
mod trailer;
mod writer;

pub(crate) use declared::Declared;
pub(crate) use digest::hexadecimal;
pub use error::RecordingError;
pub use header::{CLAMPING, ChannelInfo, CountWidth, Header, RigInfo, Sensor, Software, Unit};
pub use queue::{Entry, RecorderThread, WhenFull};
pub use reader::Recording;
pub use recovery::{Recovered, recover};
pub use rows::{Block, Completion, EventRow, HostRow, RoundTrip, Seal, SegmentRow, Source};
pub(crate) use rows::{MULTISINE, PSEUDO_RANDOM, lines_name};
pub use safe::Safe;
pub use sealing::{Difference, Verification, verify};
pub use writer::{RESERVE_BYTES, RecordingWriter};
