//! Mean torque of the first repeat in a recording, with the crate `hdf5-metno` alone.
//!
//! `cargo run --release -p truerim --example read_hdf5 -- RECORDING`

#![allow(clippy::print_stdout)] // an example says what it found

use std::error::Error;

use hdf5_metno::{File, types::VarLenUnicode};

fn main() -> Result<(), Box<dyn Error>> {
    let path = std::env::args_os().nth(1).ok_or("name a recording")?;
    let recording = File::open(path)?;
    let start: i64 = recording.dataset("segments/start_tick")?.read_slice_1d(0..1)?[0];
    let end: i64 = recording.dataset("segments/end_tick")?.read_slice_1d(0..1)?[0];
    let ticks = recording.dataset("time")?.read_1d::<i64>()?;
    let first = ticks.iter().take_while(|tick| **tick < start).count();
    let last = ticks.iter().take_while(|tick| **tick < end).count();
    let torque = recording.dataset("torque")?;
    let scale: f64 = torque.attr("scale_factor")?.read_scalar()?;
    let offset: f64 = torque.attr("add_offset")?.read_scalar()?;
    let units: VarLenUnicode = torque.attr("units")?.read_scalar()?;
    let serial: VarLenUnicode = recording.attr("unit_serial")?.read_scalar()?;
    let counts = torque.read_slice_1d::<f64, _>(first..last)?;
    let values = counts.mapv(|count| scale * count + offset);
    println!(
        "{serial} {} {units}",
        values.mean().ok_or("the repeat holds no sample")?
    );
    Ok(())
}
