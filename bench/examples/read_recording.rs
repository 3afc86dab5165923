//! Mean torque of the first repeat in a recording, with this project's reader.
//!
//! `cargo run --release -p truerim --example read_recording -- RECORDING`

#![allow(clippy::print_stdout)] // an example says what it found

use std::error::Error;
use std::path::PathBuf;

use truerim::recording::Recording;

fn main() -> Result<(), Box<dyn Error>> {
    let path: PathBuf = std::env::args_os().nth(1).ok_or("name a recording")?.into();
    let recording = Recording::open(&path)?;
    let first = recording.segments().first().ok_or("no repeat was played")?;
    let rows = recording.rows_between(first.start_tick, first.end_tick)?;
    let torque = recording.values("torque", rows)?;
    println!(
        "{} {} {}",
        recording.header().unit.serial,
        torque.mean().ok_or("the repeat holds no sample")?,
        recording.channel("torque")?.units
    );
    Ok(())
}
