//! A recording followed by other processes while it is written: what they see is never older than it may be.
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test ends with the first surprise"
)]

use std::io::{BufRead, BufReader, Lines, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

use crate::recording_support as support;
use tempfile::tempdir;
use truerim::recording::{Block, EventRow, Header, Recording, RecordingWriter, Source};

/// What may be lost at most, µs.
const OLDEST_US: u64 = 250_000;
/// Samples a second that are tried: slow, ordinary, fast, and one that does not divide.
const PERIODS_US: [u32; 5] = [20_000, 1_000, 250, 50, 333];
/// Longest stretch that the run's side gathers before it hands over, µs.
const BLOCK_US: u64 = 25_000;

fn header(period_us: u32) -> Header {
    Header {
        sample_period_ticks: period_us,
        ..support::header()
    }
}

/// Not a test by itself: writes one block a line of its input, and tells what was taken and what is safe.
#[test]
fn child_that_writes_a_block_when_told() {
    let Some(path) = std::env::var_os("TRUERIM_TEST_FOLLOWED") else {
        return;
    };
    let period_us: u32 = std::env::var("TRUERIM_TEST_PERIOD").unwrap().parse().unwrap();
    let mut writer = RecordingWriter::create(Path::new(&path), &header(period_us)).unwrap();
    let safe = writer.safe();
    let rows = usize::try_from((BLOCK_US / u64::from(period_us)).max(1)).unwrap();
    let mut row = 0;
    println!("begun");
    for _ in std::io::stdin().lines() {
        let first_tick = row as u64 * u64::from(period_us);
        let columns = (0..4).map(|c| (row..row + rows).map(|r| support::count(c, r)).collect());
        let columns = columns.collect();
        writer
            .append(&Block {
                first_tick,
                rows,
                columns,
            })
            .unwrap();
        row += rows;
        println!(
            "taken {} safe {} {}",
            row as u64 * u64::from(period_us),
            safe.rows(),
            safe.end_tick()
        );
    }
    // Killed by the parent, or its end: the file stays live.
}

/// The writing process, in step with the test.
struct Followed {
    child: Child,
    go: ChildStdin,
    told: Lines<BufReader<ChildStdout>>,
}

impl Followed {
    fn start(path: &Path, period_us: u32) -> Self {
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args([
                "--exact",
                "recording_following::child_that_writes_a_block_when_told",
                "--nocapture",
            ])
            .env("TRUERIM_TEST_FOLLOWED", path)
            .env("TRUERIM_TEST_PERIOD", period_us.to_string())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let go = child.stdin.take().unwrap();
        let mut told = BufReader::new(child.stdout.take().unwrap()).lines();
        while !told.next().unwrap().unwrap().contains("begun") {}
        Self { child, go, told }
    }

    /// One block more: the end of what was taken, safe rows, the end of what is safe.
    fn step(&mut self) -> (u64, usize, u64) {
        writeln!(self.go).unwrap();
        let line = self.told.next().unwrap().unwrap();
        let words: Vec<&str> = line.split_whitespace().collect();
        let ["taken", taken, "safe", rows, safe] = words.as_slice() else {
            panic!("{line}")
        };
        (
            taken.parse().unwrap(),
            rows.parse().unwrap(),
            safe.parse().unwrap(),
        )
    }
}

impl Drop for Followed {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn a_reader_sees_all_but_the_last_quarter_of_a_second() {
    let directory = tempdir().unwrap();
    for period_us in PERIODS_US {
        let path = directory.path().join(format!("run{period_us}.h5"));
        let mut followed = Followed::start(&path, period_us);
        let mut seen = 0;
        // Two seconds of samples: 10 flushes and more.
        while seen < 2_000_000 {
            let (taken, safe_rows, safe) = followed.step();
            seen = taken;
            // What waits here, a block that is being gathered, and 50 ms for writing it, are less than may be lost.
            assert!(
                taken - safe + BLOCK_US.max(u64::from(period_us)) + 50_000 <= OLDEST_US,
                "{period_us}: {taken} {safe}"
            );
            let recording = Recording::open(&path).unwrap();
            assert!(recording.is_live());
            assert_eq!(
                recording.rows(),
                safe_rows,
                "what the writer calls safe is what a reader sees"
            );
            if let Some(last) = safe_rows.checked_sub(1) {
                let last_tick = recording.ticks(last..safe_rows).unwrap()[0];
                assert_eq!(last_tick + u64::from(period_us), safe);
                support::check_counts(&recording, safe_rows);
            }
        }
    }
}

/// h5py holds the file open all the time and refreshes.
#[test]
fn h5py_follows_a_run_while_it_is_written() {
    let directory = tempdir().unwrap();
    let path = directory.path().join("run.h5");
    let mut followed = Followed::start(&path, 250);
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("python/follow_recording.py");
    let mut python = Command::new(support::interpreter())
        .arg(script)
        .arg(&path)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let mut ask = python.stdin.take().unwrap();
    let mut answers = BufReader::new(python.stdout.take().unwrap()).lines();
    for _ in 0..60 {
        let (_, safe_rows, safe) = followed.step();
        writeln!(ask).unwrap();
        let answer = answers.next().unwrap().unwrap();
        let expected: i64 = (0..safe_rows).map(|row| i64::from(support::count(1, row))).sum();
        assert_eq!(answer, format!("{safe_rows} {safe} {expected}"));
    }
    drop(ask);
    assert!(python.wait().unwrap().success());
}

/// Rows beside the samples are flushed by host time, samples or not.
#[test]
fn events_do_not_wait_for_samples() {
    let directory = tempdir().unwrap();
    let path = directory.path().join("run.h5");
    let mut writer = RecordingWriter::create(&path, &header(250)).unwrap();
    let mut copy = 0;
    for ms in 0..2_000_i64 {
        let event = EventRow {
            tick: 0,
            host_ns: 7_000_000_000 + ms * 1_000_000,
            source: Source::Bench,
            code: "ms".into(),
            text: ms.to_string(),
        };
        writer.event(&event).unwrap();
        if ms % 333 == 0 {
            // What a reader in another process finds.
            copy += 1;
            let there = directory.path().join(format!("copy{copy}.h5"));
            std::fs::copy(&path, &there).unwrap();
            let noted = Recording::open(&there)
                .unwrap()
                .events()
                .last()
                .map_or(-1, |e| e.text.parse().unwrap());
            assert!(ms - noted <= 150, "{ms} {noted}");
        }
    }
}
