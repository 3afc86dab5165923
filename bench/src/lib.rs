//! A test bench for the motorised base of a driving-simulator wheel.
//!
//! The near side of the line: [`drive`] carries bytes between a port and the run of `bench-core`, [`session`] turns
//! files into a sealed [`recording`], [`fitting`] turns a recording into estimates, [`compare`] holds fits against each other,
//! [`report`] shows them, [`publish`] packs them for strangers, [`archive`] takes them into the records, [`exchange`] imports
//! data of other programs as a recording and exports them. Nothing right of the recording can move the motor; nothing left
//! of it computes a result.

pub mod archive;
pub mod calibration;
pub mod cli;
pub mod compare;
pub mod drive;
pub mod exchange;
pub mod fitting;
mod platform;
pub mod publish;
pub mod recording;
pub mod report;
pub mod session;

/// This program, for recordings and reports.
#[must_use]
pub fn software() -> recording::Software {
    recording::Software {
        name: env!("CARGO_PKG_NAME").to_owned(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        build: if cfg!(debug_assertions) {
            "debug"
        } else {
            "release"
        }
        .to_owned(),
    }
}
