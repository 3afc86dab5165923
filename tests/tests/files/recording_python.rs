//! Common readers (h5py, xarray) see named, scaled coordinates, and the seal can be computed by others.
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test ends with the first surprise"
)]

use std::path::Path;

use crate::recording_support as support;
use serde_json::json;
use tempfile::tempdir;
use truerim::recording::{Completion, RecordingWriter, verify};

const ROWS: usize = 6_000;

fn write(path: &Path) -> RecordingWriter {
    let mut writer = RecordingWriter::create(path, &support::header()).unwrap();
    support::write_rows(&mut writer, 0, ROWS, 64).unwrap();
    support::write_notes(&mut writer).unwrap();
    writer.flush().unwrap();
    writer
}

/// What the writer was given, computed from the closed forms and the header alone.
fn truth(directory: &Path, seal: Option<&str>) -> std::path::PathBuf {
    let header = support::header();
    let channels: Vec<_> = header
        .channels
        .iter()
        .enumerate()
        .map(|(c, info)| {
            let counts: Vec<i32> = (0..ROWS).map(|row| support::count(c, row)).collect();
            json!({
                "name": info.name, "units": info.units, "long_name": info.long_name, "scale": info.scale,
                "offset": info.offset, "group_delay_s": info.group_delay_s, "raw_min": info.raw_min,
                "raw_max": info.raw_max, "bytes": info.width.bytes(), "counts": counts,
            })
        })
        .collect();
    let ticks: Vec<u64> = (0..ROWS).map(support::tick).collect();
    let text = json!({
        "ticks": ticks, "channels": channels, "files": header.files, "extra": header.extra, "seal": seal,
        "run_id": header.run_id, "operator": header.operator, "seed": header.seed,
        "segment_names": [support::segment(0).name, support::segment(1).name],
        "segment_to_nm": support::segment(0).to_nm, "event_text": support::event(0).text,
    });
    let path = directory.join("truth.json");
    std::fs::write(&path, serde_json::to_vec(&text).unwrap()).unwrap();
    path
}

fn assert_passes(script: &str, arguments: &[&Path]) {
    let output = support::python(script, arguments);
    let told = String::from_utf8_lossy(&output.stdout);
    assert!(
        output.status.success() && told.contains("all as written"),
        "{told}\n{}",
        String::from_utf8_lossy(&output.stderr)
    );
}

#[test]
fn h5py_and_xarray_open_a_sealed_recording() {
    let directory = tempdir().unwrap();
    let path = directory.path().join("run.h5");
    let seal = write(&path).finish(&Completion::Complete).unwrap();
    assert_passes(
        "open_recording.py",
        &[&path, &truth(directory.path(), Some(&seal.sha256))],
    );
}

#[test]
fn h5py_and_xarray_open_a_recording_left_by_a_dropped_writer() {
    let directory = tempdir().unwrap();
    let path = directory.path().join("run.h5");
    drop(write(&path));
    assert_passes("open_recording.py", &[&path, &truth(directory.path(), None)]);
}

#[test]
fn a_count_edited_by_another_program_is_named() {
    let directory = tempdir().unwrap();
    let path = directory.path().join("run.h5");
    write(&path).finish(&Completion::Complete).unwrap();
    assert_passes("edit_recording.py", &[&path]);
    let verification = verify(&path).unwrap();
    let objects: Vec<&str> = verification
        .differences
        .iter()
        .map(|d| d.object.as_str())
        .collect();
    assert_eq!(objects, ["/torque"], "{verification:?}");
}
