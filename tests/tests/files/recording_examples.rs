//! The examples of `docs/reading-recordings.md`, run from the page, and those in Rust: all find the same torque.
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test ends with the first surprise"
)]

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use crate::recording_support as support;
use tempfile::{TempDir, tempdir};
use truerim::recording::Recording;

/// The blocks of one language, in order.
fn blocks(language: &str) -> Vec<String> {
    let page = include_str!("../../../docs/reading-recordings.md");
    let fence = format!("```{language}\n");
    let rest = page.split(&fence).skip(1);
    rest.map(|text| text.split("```").next().unwrap().to_owned())
        .collect()
}

/// A folder as the page has it: `out/first-run/recording.h5`, and a live file.
fn folder() -> TempDir {
    let kept = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/recordings");
    let directory = tempdir().unwrap();
    std::fs::create_dir_all(directory.path().join("out/first-run")).unwrap();
    let sealed = directory.path().join("out/first-run/recording.h5");
    std::fs::copy(kept.join("schema-1.0-sealed.h5"), sealed).unwrap();
    std::fs::copy(
        kept.join("schema-1.0-killed.h5"),
        directory.path().join("live.h5"),
    )
    .unwrap();
    directory
}

/// Unit, mean torque of the first repeat and its unit, row by row from what h5py found when the file was kept.
fn expected(directory: &TempDir) -> f64 {
    let recording = Recording::open(&directory.path().join("out/first-run/recording.h5")).unwrap();
    let first = &recording.segments()[0];
    let ticks = recording.ticks(0..recording.rows()).unwrap();
    let torque = recording.values("torque", 0..recording.rows()).unwrap();
    let within = ticks
        .iter()
        .zip(&torque)
        .filter(|(t, _)| **t >= first.start_tick && **t < first.end_tick);
    let values: Vec<f64> = within.map(|(_, nm)| *nm).collect();
    assert!(values.len() > 50);
    values.iter().sum::<f64>() / values.len() as f64
}

fn told(output: Output) -> String {
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(
        output.status.success(),
        "{text}{}",
        String::from_utf8_lossy(&output.stderr)
    );
    text.trim().to_owned()
}

/// `SERIAL VALUE UNIT`, the value to a relative 1e-6: some readers scale to 32 bits.
fn check(told: &str, due: f64) {
    let words: Vec<&str> = told.split_whitespace().collect();
    let [serial, value, unit] = words.as_slice() else {
        panic!("{told}")
    };
    assert_eq!((*serial, *unit), ("VB-0001", "N.m"));
    let value: f64 = value.parse().unwrap();
    assert!((value - due).abs() < 1e-6 * due.abs(), "{value}, not {due}");
}

#[test]
fn the_pages_python_finds_what_this_reader_finds() {
    let directory = folder();
    let due = expected(&directory);
    let blocks = blocks("python");
    assert_eq!(blocks.len(), 4);
    for block in blocks {
        let output = Command::new(support::interpreter())
            .args(["-c", &block])
            .current_dir(directory.path())
            .output()
            .unwrap();
        let told = told(output);
        if block.contains("live.h5") {
            assert_eq!(told, "live 2048 2048");
        } else {
            check(&told, due);
        }
    }
}

#[test]
fn the_pages_octave_finds_it_too_where_octave_is() {
    let [block] = &blocks("octave")[..] else {
        panic!("one block")
    };
    let probe = Command::new("octave-cli")
        .args(["--eval", "pkg load netcdf"])
        .output();
    if !probe.is_ok_and(|output| output.status.success()) {
        println!(
            "no Octave with its package netcdf here: its example is not run (apt install octave octave-netcdf)"
        );
        return;
    }
    let directory = folder();
    let due = expected(&directory);
    // Debian's Octave can end with a complaint after all is done, so its words count and not its exit code.
    let output = Command::new("octave-cli")
        .args(["--eval", block])
        .current_dir(directory.path())
        .output()
        .unwrap();
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let value: f64 = text
        .trim()
        .parse()
        .unwrap_or_else(|_| panic!("{text}{}", String::from_utf8_lossy(&output.stderr)));
    assert!((value - due).abs() < 1e-9, "{value}, not {due}");
}

/// An example of the library: tests of the whole workspace have built it, those of this package alone have not.
fn built(example: &str) -> PathBuf {
    let own = std::env::current_exe().unwrap();
    let path = own.ancestors().nth(2).unwrap().join("examples").join(example);
    if !path.is_file() {
        let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".to_owned());
        let status = Command::new(cargo)
            .args([
                "build",
                "--quiet",
                "--locked",
                "--package",
                "truerim",
                "--example",
                example,
            ])
            .current_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join(".."))
            .status()
            .unwrap();
        assert!(status.success(), "{example} does not build");
    }
    path
}

#[test]
fn the_examples_in_rust_find_it() {
    let directory = folder();
    let due = expected(&directory);
    for example in ["read_recording", "read_hdf5"] {
        let output = Command::new(built(example))
            .arg(directory.path().join("out/first-run/recording.h5"))
            .output()
            .unwrap();
        check(&told(output), due);
    }
}
