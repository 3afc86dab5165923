//! What recording costs, in one run: bytes a sample, speed, processor share, memory, and reading a slice; beside h5py and
//! a plain file.
//!
//! `cargo run --release -p acceptance --bin recording-figures -- [--hours 10]`, with `TRUERIM_PYTHON` as for the tests.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    clippy::disallowed_methods,
    reason = "a program for the developer's desk that measures time"
)]

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

use clap::Parser;
use truerim::recording::{Block, ChannelInfo, Completion, CountWidth, Header, Recording, RecordingWriter};

const RATE_HZ: usize = 4_000;
const BLOCK_ROWS: usize = 100;
/// Bytes of a row as they are in memory: an int64 tick, five channels of 16 bits and three of 32.
const ROW_BYTES: usize = 8 + 5 * 2 + 3 * 4;
const WIDTHS: [CountWidth; 8] = {
    use CountWidth::{I16, I32};
    [I16, I32, I32, I32, I16, I16, I16, I16]
};
/// Length of the comparison with others, s.
const COMPARED_S: usize = 300;

#[derive(Parser)]
struct Arguments {
    /// Length of the long recording
    #[arg(long, default_value_t = 10)]
    hours: usize,
    /// Used by this program itself: records so many seconds there and says what it took
    #[arg(long, num_args = 2, hide = true)]
    write: Option<Vec<String>>,
    /// Used by this program itself: reads a slice
    #[arg(long, hide = true)]
    slice: Option<PathBuf>,
}

/// Row by row the same on every machine: a commanded sine, a response with noise, slow and still channels.
struct Signal {
    state: u64,
    row: u64,
}

impl Signal {
    const fn new() -> Self {
        Self {
            state: 0x9e37_79b9_7f4a_7c15,
            row: 0,
        }
    }

    /// Noise of about a few counts, xorshift64.
    fn noise(&mut self, bits: u32) -> i32 {
        self.state ^= self.state << 13;
        self.state ^= self.state >> 7;
        self.state ^= self.state << 17;
        let masked = (self.state >> 40) & ((1 << bits) - 1);
        masked as i32 - (1 << (bits - 1))
    }

    fn block(&mut self) -> Block {
        let mut columns: Vec<Vec<i32>> = (0..8).map(|_| Vec::with_capacity(BLOCK_ROWS)).collect();
        let first_tick = self.row * 250;
        for _ in 0..BLOCK_ROWS {
            let t = self.row as f64 / RATE_HZ as f64;
            let wave = (std::f64::consts::TAU * 3.0 * t).sin();
            let row = [
                (9_000.0 * (wave * 20.0).round() / 20.0) as i32,
                (400_000.0 * wave) as i32 + self.noise(9),
                (20_000.0 * wave) as i32 + self.noise(3),
                (55_000.0 * wave) as i32 + self.noise(3),
                (2_000.0 * wave) as i32 + self.noise(6),
                2_300 + (t / 60.0) as i32 + self.noise(2),
                24_000 + self.noise(5),
                0,
            ];
            for (column, count) in columns.iter_mut().zip(row) {
                column.push(count);
            }
            self.row += 1;
        }
        Block {
            first_tick,
            rows: BLOCK_ROWS,
            columns,
        }
    }
}

fn header() -> Header {
    let channel = |(index, width): (usize, &CountWidth)| ChannelInfo {
        name: format!("channel_{index}"),
        long_name: format!("channel {index}"),
        units: "1".into(),
        width: *width,
        scale: 0.001,
        offset: 0.0,
        group_delay_s: 0.0,
        raw_min: width.range().0,
        raw_max: width.range().1,
    };
    Header {
        run_id: "figures".into(),
        created: "2026-03-02T10:00:00+01:00".into(),
        sample_period_ticks: 250,
        tick_s: 1e-6,
        channels: WIDTHS.iter().enumerate().map(channel).collect(),
        ..Header::default()
    }
}

/// A number from a file of `/proc/self`: the one behind `name`.
fn proc_number(file: &str, name: &str) -> u64 {
    let text = std::fs::read_to_string(format!("/proc/self/{file}")).unwrap();
    let line = text.lines().find(|line| line.starts_with(name)).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

/// Processor time of this process, s.
fn processor_s() -> f64 {
    let text = std::fs::read_to_string("/proc/self/stat").unwrap();
    let fields: Vec<&str> = text.rsplit(')').next().unwrap().split_whitespace().collect();
    // utime and stime are fields 14 and 15 of proc(5), in hundredths of a second on Linux.
    (fields[11].parse::<f64>().unwrap() + fields[12].parse::<f64>().unwrap()) / 100.0
}

/// Records `seconds` to `path` and prints figures as `NAME VALUE`.
fn write(seconds: usize, path: &Path) {
    let mut writer = RecordingWriter::create(path, &header()).unwrap();
    let mut signal = Signal::new();
    let mut making_s = 0.0;
    let began = Instant::now();
    for _ in 0..seconds * RATE_HZ / BLOCK_ROWS {
        let start = Instant::now();
        let block = signal.block();
        making_s += start.elapsed().as_secs_f64();
        writer.append(&block).unwrap();
    }
    writer.flush().unwrap();
    println!("writing_s {}", began.elapsed().as_secs_f64() - making_s);
    println!("processor_s {}", processor_s() - making_s);
    println!("live_bytes {}", std::fs::metadata(path).unwrap().len());
    println!("memory_kb {}", proc_number("status", "VmHWM:"));
    let began = Instant::now();
    writer.finish(&Completion::Complete).unwrap();
    println!("sealing_s {}", began.elapsed().as_secs_f64());
    println!("sealed_bytes {}", std::fs::metadata(path).unwrap().len());
    println!("memory_sealed_kb {}", proc_number("status", "VmHWM:"));
}

/// Reads 10 s in the middle, by time.
fn slice(path: &Path) {
    let began = Instant::now();
    let before = proc_number("io", "rchar:");
    let recording = Recording::open_part(path).unwrap();
    let middle = recording.rows() as u64 / 2 * 250;
    let rows = recording.rows_between(middle, middle + 10_000_000).unwrap();
    assert_eq!(rows.len(), 40_000);
    for channel in &recording.header().channels {
        recording.values(&channel.name, rows.clone()).unwrap();
    }
    println!("slice_s {}", began.elapsed().as_secs_f64());
    println!("slice_bytes {}", proc_number("io", "rchar:") - before);
    println!("slice_kb {}", proc_number("status", "VmHWM:"));
}

/// Runs this program again and returns what it says of `name`.
struct Figures(Vec<(String, f64)>);

impl Figures {
    fn of(command: &mut Command) -> Self {
        let output = command.output().unwrap();
        let told = String::from_utf8_lossy(&output.stdout).into_owned();
        assert!(
            output.status.success(),
            "{told}{}",
            String::from_utf8_lossy(&output.stderr)
        );
        let pair = |line: &str| {
            let (name, value) = line.split_once(' ')?;
            Some((name.to_owned(), value.parse().ok()?))
        };
        Self(told.lines().filter_map(pair).collect())
    }

    fn get(&self, name: &str) -> f64 {
        self.0
            .iter()
            .find(|(n, _)| n == name)
            .unwrap_or_else(|| panic!("no {name}"))
            .1
    }
}

fn again(arguments: &[&str]) -> Command {
    let mut command = Command::new(std::env::current_exe().unwrap());
    command.args(arguments);
    command
}

fn record(seconds: usize, path: &Path) -> Figures {
    Figures::of(&mut again(&[
        "--write",
        &seconds.to_string(),
        path.to_str().unwrap(),
    ]))
}

/// The same rows as bytes in a plain file; MB/s.
fn plain(path: &Path, rows: usize) -> f64 {
    let mut signal = Signal::new();
    let mut file = std::fs::File::create(path).unwrap();
    let mut spent_s = 0.0;
    for _ in 0..rows / BLOCK_ROWS {
        let block = signal.block();
        let mut bytes = Vec::with_capacity(BLOCK_ROWS * ROW_BYTES);
        for row in 0..BLOCK_ROWS {
            bytes.extend_from_slice(&(block.first_tick as i64 + 250 * row as i64).to_le_bytes());
            for (column, width) in block.columns.iter().zip(WIDTHS) {
                match width {
                    CountWidth::I16 => bytes.extend_from_slice(&(column[row] as i16).to_le_bytes()),
                    CountWidth::I32 => bytes.extend_from_slice(&column[row].to_le_bytes()),
                }
            }
        }
        let began = Instant::now();
        file.write_all(&bytes).unwrap();
        spent_s += began.elapsed().as_secs_f64();
    }
    (rows * ROW_BYTES) as f64 / spent_s / 1e6
}

fn main() {
    let arguments = Arguments::parse();
    if let Some(words) = &arguments.write {
        return write(words[0].parse().unwrap(), Path::new(&words[1]));
    }
    if let Some(path) = &arguments.slice {
        return slice(path);
    }
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let rows = COMPARED_S * RATE_HZ;
    let megabytes = (rows * ROW_BYTES) as f64 / 1e6;
    let ours = record(COMPARED_S, &at("ours.h5"));
    println!("{COMPARED_S} s at {RATE_HZ} samples/s x 8 channels, {ROW_BYTES} bytes a row in memory");
    println!();
    println!("| written by | bytes a row | MB/s | processor share in real time |");
    println!("| --- | --- | --- | --- |");
    let share = |s: f64| format!("{:.2} %", 100.0 * s / COMPARED_S as f64);
    let line = |who: &str, bytes: f64, speed: f64, share: &str| {
        println!("| {who} | {:.2} | {speed:.0} | {share} |", bytes / rows as f64);
    };
    line(
        "a recording, live",
        ours.get("live_bytes"),
        megabytes / ours.get("writing_s"),
        &share(ours.get("processor_s")),
    );
    line(
        "… sealed",
        ours.get("sealed_bytes"),
        megabytes / ours.get("sealing_s"),
        "after the run",
    );
    let raw = at("plain.bin");
    let speed = plain(&raw, rows);
    line("a plain file", (rows * ROW_BYTES) as f64, speed, "–");
    let python = std::env::var("TRUERIM_PYTHON").unwrap_or_else(|_| "python3".into());
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("python/write_with_h5py.py");
    for (how, chunk) in [
        ("flushed every 512 rows", "512"),
        ("chunks of 16,384, not flushed", "16384"),
    ] {
        let theirs = Figures::of(
            Command::new(&python)
                .arg(&script)
                .args([&raw, &at("theirs.h5")])
                .arg(chunk),
        );
        let who = format!("h5py, {how}");
        line(
            &who,
            theirs.get("bytes"),
            megabytes / theirs.get("writing_s"),
            &share(theirs.get("processor_s")),
        );
        std::fs::remove_file(at("theirs.h5")).unwrap();
    }
    std::fs::remove_file(raw).unwrap();
    println!();
    println!(
        "| length | memory recording | memory sealing | file | 10 s from the middle: read | time | memory |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- |");
    for hours in [1, arguments.hours] {
        let path = at("long.h5");
        let long = record(hours * 3600, &path);
        let part = Figures::of(&mut again(&["--slice", path.to_str().unwrap()]));
        println!(
            "| {hours} h | {:.0} MB | {:.0} MB | {:.0} MB | {:.1} MB | {:.0} ms | {:.0} MB |",
            long.get("memory_kb") / 1e3,
            long.get("memory_sealed_kb") / 1e3,
            long.get("sealed_bytes") / 1e6,
            part.get("slice_bytes") / 1e6,
            1e3 * part.get("slice_s"),
            part.get("slice_kb") / 1e3
        );
        std::fs::remove_file(path).unwrap();
    }
}
