//! The pieces of work, each done by a process of its own that prints its figures as `NAME VALUE`.

use std::io::Write;
use std::path::Path;
use std::time::{Duration, Instant};

use truerim::recording::{Block, Completion, CountWidth, Recording, RecordingError, RecordingWriter, verify};

use super::process::{number, peak_kb, processor_s, reset_peak};
use super::signal::{BLOCK_ROWS, RATE_HZ, ROW_BYTES, Signal, WIDTHS, arrivals, header, round_trips};

fn take(writer: &mut RecordingWriter, block: &Block) -> Result<(), RecordingError> {
    writer.append(block)?;
    arrivals(block).try_for_each(|row| writer.host(&row))?;
    round_trips(block).try_for_each(|row| writer.round_trip(&row))
}

/// Records `seconds` to `path` as fast as it goes, opens what is there, and seals it.
pub fn write(seconds: usize, path: &Path) {
    let mut writer = RecordingWriter::create(path, &header()).unwrap();
    let mut signal = Signal::from_the_start();
    let mut making_s = 0.0;
    let began = Instant::now();
    for _ in 0..seconds * RATE_HZ / BLOCK_ROWS {
        let start = Instant::now();
        let block = signal.block();
        making_s += start.elapsed().as_secs_f64();
        take(&mut writer, &block).unwrap();
    }
    writer.flush().unwrap();
    println!("writing_s {}", began.elapsed().as_secs_f64() - making_s);
    println!("processor_s {}", processor_s() - making_s);
    println!("live_bytes {}", std::fs::metadata(path).unwrap().len());
    println!("memory_kb {}", peak_kb());
    reset_peak();
    drop(Recording::open(path).unwrap());
    println!("memory_open_live_kb {}", peak_kb());
    reset_peak();
    let began = Instant::now();
    writer.finish(&Completion::Complete).unwrap();
    println!("sealing_s {}", began.elapsed().as_secs_f64());
    println!("sealed_bytes {}", std::fs::metadata(path).unwrap().len());
    println!("memory_sealing_kb {}", peak_kb());
}

/// Records `seconds` in real time, forced to the disk each second or not.
pub fn paced(seconds: usize, path: &Path, forcing: bool) {
    let mut writer = RecordingWriter::create(path, &header()).unwrap();
    writer.set_forcing(forcing);
    let mut signal = Signal::from_the_start();
    let (mut making_s, mut longest_s) = (0.0, 0.0_f64);
    let (began, before_s) = (Instant::now(), processor_s());
    let blocks = seconds * RATE_HZ / BLOCK_ROWS;
    for number in 1..=blocks {
        let start = processor_s();
        let block = signal.block();
        making_s += processor_s() - start;
        let start = Instant::now();
        take(&mut writer, &block).unwrap();
        longest_s = longest_s.max(start.elapsed().as_secs_f64());
        let due = Duration::from_secs_f64((number * BLOCK_ROWS) as f64 / RATE_HZ as f64);
        std::thread::sleep(due.saturating_sub(began.elapsed()));
    }
    println!("processor_s {}", processor_s() - before_s - making_s);
    println!("longest_s {longest_s}");
    println!("written_bytes {}", number("io", "write_bytes:"));
}

/// Opens a sealed recording and goes through all rows of its tables.
pub fn open(path: &Path) {
    let began = Instant::now();
    let recording = Recording::open(path).unwrap();
    println!("open_s {}", began.elapsed().as_secs_f64());
    println!("memory_open_kb {}", peak_kb());
    reset_peak();
    let last = recording.host().last().unwrap().unwrap().first_tick;
    let trip = recording.round_trips().last().unwrap().unwrap().rig_tick;
    assert!(last.abs_diff(trip) < 10_000, "{last} {trip}");
    println!("notes {}", recording.host().len() + recording.round_trips().len());
    println!("memory_tables_kb {}", peak_kb());
}

/// Checks the seal.
pub fn check(path: &Path) {
    let began = Instant::now();
    assert!(verify(path).unwrap().is_intact());
    println!("verify_s {}", began.elapsed().as_secs_f64());
    println!("memory_verify_kb {}", peak_kb());
}

/// Reads 10 s in the middle, by time.
pub fn slice(path: &Path) {
    let began = Instant::now();
    let before = number("io", "rchar:");
    let recording = Recording::open_part(path).unwrap();
    let middle = recording.rows() as u64 / 2 * 250;
    let rows = recording.rows_between(middle, middle + 10_000_000).unwrap();
    assert_eq!(rows.len(), 40_000);
    for channel in &recording.header().channels {
        recording.values(&channel.name, rows.clone()).unwrap();
    }
    println!("slice_s {}", began.elapsed().as_secs_f64());
    println!("slice_bytes {}", number("io", "rchar:") - before);
    println!("slice_kb {}", peak_kb());
}

/// The same rows as bytes in a plain file, forced to the disk at the end or not at all; MB/s.
#[must_use]
pub fn plain(path: &Path, rows: usize, forced: bool) -> f64 {
    let mut signal = Signal::from_the_start();
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
    let began = Instant::now();
    if forced {
        file.sync_data().unwrap();
    }
    (rows * ROW_BYTES) as f64 / (spent_s + began.elapsed().as_secs_f64()) / 1e6
}
