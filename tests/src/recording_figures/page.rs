//! The figures as a page in Markdown.

use std::fmt::Write as _;
use std::path::Path;
use std::process::Command;

use truerim::drive::clock::today;

use super::jobs::plain;
use super::process::Figures;
use super::signal::{RATE_HZ, ROW_BYTES};
use crate::pty_figures::host::Host;

/// Length of the comparison with others, s.
const COMPARED_S: usize = 300;
/// Length of the recordings in real time, s.
const PACED_S: usize = 30;

/// Runs this program again for one job.
fn job(words: &[&str]) -> Figures {
    let mut command = Command::new(std::env::current_exe().unwrap());
    Figures::of(command.arg("--job").args(words))
}

fn word(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// Memory and processor of this computer.
fn machine() -> String {
    let of = |file: &str, name: &str| {
        let text = std::fs::read_to_string(file).unwrap_or_default();
        let line = text.lines().find(|line| line.starts_with(name));
        line.and_then(|line| line.split_once(':'))
            .map_or("unknown".to_owned(), |(_, v)| v.trim().to_owned())
    };
    let Host { kernel, processors } = Host::read();
    format!(
        "{kernel}, {processors} processors ({}), memory {}",
        of("/proc/cpuinfo", "model name"),
        of("/proc/meminfo", "MemTotal")
    )
}

/// Measures, with recordings of 1 h and of `hours`, in `folder`, and tells.
#[must_use]
pub fn measure(hours: usize, folder: &Path) -> String {
    let command = format!(
        "cargo run --release -p acceptance --bin recording-figures -- --hours {hours} --markdown docs/recording-figures.md"
    );
    let mut text = format!(
        "# What recording costs\n\nWritten by `{command}`\non {}: {}; others were at work on it too.\n\nA sine with \
         noise, slow and still channels: {RATE_HZ} samples/s of 8 channels, {ROW_BYTES} bytes a row in memory, 250 \
         arrivals and 200 round trips a second beside them. Each piece of work is done by a process of its own; memory is \
         its greatest resident memory (`VmHWM`), HDF5's included.\n",
        today(),
        machine()
    );
    text += &compared(folder);
    text += &paced(folder);
    text += &long(hours, folder);
    text
}

fn compared(folder: &Path) -> String {
    let at = |name: &str| folder.join(name);
    let rows = COMPARED_S * RATE_HZ;
    let megabytes = (rows * ROW_BYTES) as f64 / 1e6;
    let share = |s: f64| format!("{:.2} %", 100.0 * s / COMPARED_S as f64);
    let mut text = format!(
        "\n## Size, speed and processor: {COMPARED_S} s, as fast as it goes\n\nMB are those of the rows in memory. The \
         processor's share is what the same work takes of one processor in real time.\n\n\
         | written by | bytes a row | MB/s | processor |\n| --- | --- | --- | --- |\n"
    );
    let mut line = |who: &str, bytes: f64, speed: f64, share: &str| {
        let _ = writeln!(
            text,
            "| {who} | {:.2} | {speed:.0} | {share} |",
            bytes / rows as f64
        );
    };
    let ours = job(&["write", &COMPARED_S.to_string(), word(&at("ours.h5"))]);
    let (live, sealed) = (ours.get("live_bytes"), ours.get("sealed_bytes"));
    let processor = share(ours.get("processor_s"));
    line(
        "a recording, live",
        live,
        megabytes / ours.get("writing_s"),
        &processor,
    );
    line(
        "… sealed",
        sealed,
        megabytes / ours.get("sealing_s"),
        "after the run",
    );
    let raw = at("plain.bin");
    let bytes = (rows * ROW_BYTES) as f64;
    line(
        "a plain file, not forced to the disk",
        bytes,
        plain(&raw, rows, false),
        "–",
    );
    line(
        "a plain file, forced at its end",
        bytes,
        plain(&raw, rows, true),
        "–",
    );
    let python = std::env::var("TRUERIM_PYTHON").unwrap_or_else(|_| "python3".into());
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("python/write_with_h5py.py");
    for (how, chunk) in [
        ("flushed every 512 rows", "512"),
        ("chunks of 16,384, not flushed", "16384"),
    ] {
        let theirs = at("theirs.h5");
        let said = Figures::of(
            Command::new(&python)
                .arg(&script)
                .args([&raw, &theirs])
                .arg(chunk),
        );
        let (speed, processor) = (megabytes / said.get("writing_s"), share(said.get("processor_s")));
        line(
            &format!("h5py, {how}, without arrivals and round trips"),
            said.get("bytes"),
            speed,
            &processor,
        );
        std::fs::remove_file(theirs).unwrap();
    }
    std::fs::remove_file(raw).unwrap();
    std::fs::remove_file(at("ours.h5")).unwrap();
    text
}

fn paced(folder: &Path) -> String {
    let mut text = format!(
        "\n## Forcing to the disk each second: {PACED_S} s in real time\n\nThe recorder's thread takes blocks of 25 ms and \
         flushes; forcing (`fdatasync`) has a thread of its own.\n\n\
         | forced | processor, all threads | longest call of the writer | written to the disk |\n| --- | --- | --- | --- |\n"
    );
    for forced in ["yes", "no", "yes", "no"] {
        let path = folder.join("paced.h5");
        let told = job(&["paced", &PACED_S.to_string(), word(&path), forced]);
        let _ = writeln!(
            text,
            "| {forced} | {:.2} % | {:.1} ms | {:.1} MB |",
            100.0 * told.get("processor_s") / PACED_S as f64,
            1e3 * told.get("longest_s"),
            told.get("written_bytes") / 1e6
        );
        std::fs::remove_file(path).unwrap();
    }
    text
}

fn long(hours: usize, folder: &Path) -> String {
    let mut memory = String::from(
        "\n## Memory and the length of a recording\n\nGreatest resident memory of each piece of work, MB:\n\n\
         | length | rows of arrivals and round trips | recording | opening, live | sealing | opening, sealed | reading all \
         arrivals and round trips | verifying | a slice |\n| --- | --- | --- | --- | --- | --- | --- | --- | --- |\n",
    );
    let mut time = String::from(
        "\nTime of each, and reading 10 s of all channels from the middle without the rest (`Recording::open_part`):\n\n\
         | length | live file | sealed file | recorded in | sealed in | opened in | verified in | slice: read | slice: time |\n\
         | --- | --- | --- | --- | --- | --- | --- | --- | --- |\n",
    );
    let lengths = if hours > 1 { vec![1, hours] } else { vec![1] };
    for hours in lengths {
        let path = folder.join("long.h5");
        let file = word(&path);
        let wrote = job(&["write", &(hours * 3600).to_string(), file]);
        let [opened, verified, part] = ["open", "check", "slice"].map(|what| job(&[what, file]));
        let mb = |told: &Figures, name: &str| told.get(name) / 1e3;
        let _ = writeln!(
            memory,
            "| {hours} h | {:.0} | {:.1} | {:.1} | {:.1} | {:.1} | {:.1} | {:.1} | {:.1} |",
            opened.get("notes"),
            mb(&wrote, "memory_kb"),
            mb(&wrote, "memory_open_live_kb"),
            mb(&wrote, "memory_sealing_kb"),
            mb(&opened, "memory_open_kb"),
            mb(&opened, "memory_tables_kb"),
            mb(&verified, "memory_verify_kb"),
            mb(&part, "slice_kb"),
        );
        let _ = writeln!(
            time,
            "| {hours} h | {:.0} MB | {:.0} MB | {:.0} s | {:.0} s | {:.1} s | {:.0} s | {:.1} MB | {:.0} ms |",
            wrote.get("live_bytes") / 1e6,
            wrote.get("sealed_bytes") / 1e6,
            wrote.get("writing_s"),
            wrote.get("sealing_s"),
            opened.get("open_s"),
            verified.get("verify_s"),
            part.get("slice_bytes") / 1e6,
            1e3 * part.get("slice_s"),
        );
        std::fs::remove_file(path).unwrap();
    }
    memory + &time
}
