//! Sealing, opening, reading back and verifying take memory that does not grow with the rows of the tables beside the
//! samples: measured as the process's own greatest resident memory, HDF5's included. One test, in a program of its own.
#![cfg(target_os = "linux")]
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test ends with the first surprise"
)]

mod recording_support;

use std::path::Path;

use acceptance::recording_figures::process;
use recording_support as support;
use tempfile::tempdir;
use truerim::recording::{
    Block, Completion, HostRow, Recording, RecordingWriter, RoundTrip, recover, verify,
};

/// Rows of each table in the short recording; the long one has four times as many.
const ROWS: u64 = 30_000;
/// Growth that is no growth, kB: HDF5 keeps up to 1 MiB of each of the five columns, which only the long recording fills.
/// Held in memory, the rows of the long one would take several times as much.
const SLACK_KB: u64 = 8_000;

/// Greatest resident memory of this process while it works, kB.
fn peak_kb(work: impl FnOnce()) -> u64 {
    process::reset_peak();
    work();
    process::peak_kb()
}

/// Samples of either: they are read in pieces of their own, which a longer recording would fill.
const SAMPLES: u64 = 3_000;

/// A live file with so many host rows and round trips.
fn live(path: &Path, rows: u64) -> RecordingWriter {
    let mut header = support::header();
    header.channels.truncate(1);
    let mut writer = RecordingWriter::create(path, &header).unwrap();
    for row in 0..rows {
        let (first_tick, host_ns) = (row * 250, (row * 250_000).try_into().unwrap());
        if row % (rows / SAMPLES) == 0 {
            let block = Block {
                first_tick,
                rows: 1,
                columns: vec![vec![7]],
            };
            writer.append(&block).unwrap();
        }
        writer.host(&HostRow { first_tick, host_ns }).unwrap();
        let trip = RoundTrip {
            host_send_ns: host_ns,
            host_receive_ns: host_ns + 1,
            rig_tick: first_tick,
        };
        writer.round_trip(&trip).unwrap();
    }
    writer.flush().unwrap();
    writer
}

/// Every row of both tables is there and is the one that was written.
fn read(path: &Path, rows: u64) {
    let recording = Recording::open(path).unwrap();
    assert_eq!(
        (recording.host().len(), recording.round_trips().len()),
        (rows as usize, rows as usize)
    );
    for (row, (host, trip)) in (0..).zip(recording.host().zip(recording.round_trips())) {
        let (host, trip) = (host.unwrap(), trip.unwrap());
        assert_eq!((host.first_tick, trip.rig_tick), (row * 250, row * 250));
    }
}

/// Peaks of each piece of work on a recording of so many rows.
fn peaks(folder: &Path, rows: u64) -> [(&'static str, u64); 5] {
    let path = folder.join(format!("{rows}.h5"));
    let writer = live(&path, rows);
    let opening = peak_kb(|| read(&path, rows));
    let recovering = peak_kb(|| {
        recover(&path, &folder.join(format!("{rows}-saved.h5"))).unwrap();
    });
    let sealing = peak_kb(|| {
        writer.finish(&Completion::Complete).unwrap();
    });
    let verifying = peak_kb(|| assert!(verify(&path).unwrap().is_intact()));
    let reading = peak_kb(|| read(&path, rows));
    [
        ("opening a live file", opening),
        ("recovering", recovering),
        ("sealing", sealing),
        ("verifying", verifying),
        ("reading back", reading),
    ]
}

#[test]
fn memory_does_not_grow_with_the_length_of_a_run() {
    let folder = tempdir().unwrap();
    peaks(folder.path(), ROWS / 4); // what is set up once
    let short = peaks(folder.path(), ROWS);
    let long = peaks(folder.path(), 4 * ROWS);
    println!("{short:?}, {long:?}");
    for ((what, short), (_, long)) in short.into_iter().zip(long) {
        assert!(
            long < short + SLACK_KB,
            "{what}: {short} kB for {ROWS} rows, {long} kB for four times as many"
        );
    }
}
