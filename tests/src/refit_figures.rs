//! An archive of many recordings, fitted again by the program on all cores, which is killed in the middle and begun again.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    reason = "a test, and a program for the developer's desk"
)]

use std::io::{BufRead as _, BufReader};
use std::path::Path;
use std::process::{Command, Stdio};

use records::{Address, Filter, Stamp, Store};
use serde_json::Value;
use truerim::archive::{Given, contents, load};
use truerim::fitting::FitDocument;
use truerim::recording::{Block, Recording, RecordingWriter};

/// A segment with results to record.
pub const STEPS: &str = r#"
[[segment]]
name = "steps"
excitation = "step"
levels = ["25 %", "-25 %"]
repeats = 4
hold = "150 ms"
rest = "120 ms"
dither = "1 ms"
"#;

/// A recording as if it were of another unit: the same samples under a name and with a seal of its own.
fn another(from: &Recording, to: &Path, number: usize) {
    let mut header = from.header().clone();
    header.run_id = format!("{}-{number}", header.run_id);
    header.unit.serial = format!("ARCHIVE-{number:04}");
    let mut writer = RecordingWriter::create(to, &header).unwrap();
    // A copy is of no worth of its own: nothing has to be on the disk before it goes on.
    writer.set_forcing(false);
    for row in from.segments() {
        writer.segment(row).unwrap();
    }
    for row in from.events() {
        writer.event(row).unwrap();
    }
    for row in from.round_trips() {
        writer.round_trip(&row.unwrap()).unwrap();
    }
    for row in from.host() {
        writer.host(&row.unwrap()).unwrap();
    }
    let ticks = from.ticks(0..from.rows()).unwrap();
    let period = u64::from(header.sample_period_ticks);
    let mut first = 0;
    for end in 1..=from.rows() {
        // A gap is the next block starting later.
        if end < from.rows() && ticks[end] == ticks[end - 1] + period {
            continue;
        }
        let columns = header.channels.iter();
        let columns = columns.map(|channel| from.raw(&channel.name, first..end).unwrap().to_vec());
        let block = Block {
            first_tick: ticks[first],
            rows: end - first,
            columns: columns.collect(),
        };
        writer.append(&block).unwrap();
        first = end;
    }
    writer.finish(from.completion().unwrap()).unwrap();
}

/// Makes an archive of `count` results folders from one, each with a recording of its own and no fit.
pub fn archive(from: &Path, into: &Path, count: usize) {
    let from = Recording::open(&from.join("recording.h5")).unwrap();
    for number in 0..count {
        let folder = into.join(format!("{number:04}"));
        std::fs::create_dir_all(&folder).unwrap();
        another(&from, &folder.join("recording.h5"), number);
    }
}

/// Enters every recording of an archive with the fit of one of them, as an earlier version had made it, of which `measurand` was by
/// `by` standard uncertainties higher.
pub fn entered_by_earlier_version(
    store: &mut Store,
    fitted: &Path,
    archive: &Path,
    (measurand, by): (&str, f64),
) {
    let (document, _) = load(fitted).unwrap();
    let mut folders: Vec<_> = std::fs::read_dir(archive)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect();
    folders.sort();
    let all = folders.iter().map(|folder| {
        let path = folder.join("recording.h5");
        let of = Recording::open(&path).unwrap();
        let mut document: FitDocument = document.clone();
        document.recording.seal = Some(of.seal().unwrap().sha256.clone());
        document.recording.run_id.clone_from(&of.header().run_id);
        document
            .recording
            .unit
            .serial
            .clone_from(&of.header().unit.serial);
        document.software.version = "0.0.9".into();
        let place = path.display().to_string();
        let (recording, mut fit) = contents(&document, &place, &Given::default());
        let one = fit.measured.iter_mut().find(|one| one.id == measurand).unwrap();
        one.value = Some(one.value.unwrap() + by * one.u.unwrap());
        (recording, fit, stamp())
    });
    let all: Vec<_> = all.collect();
    store.add_all(all, 100).unwrap();
}

/// Who enters.
#[must_use]
pub fn stamp() -> Stamp {
    Stamp {
        entered: "2026-03-02T10:00:00Z".into(),
        by: "archive".into(),
        software: "earlier".into(),
    }
}

fn refit(program: &Path, archive: &Path, records: &str) -> Command {
    let mut command = Command::new(program);
    command.args(["records", "refit", "--json", "--archive"]);
    command
        .arg(archive)
        .args(["--records", records, "--by", "archive"]);
    command.stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

/// What came of it.
#[derive(Debug)]
pub struct Came {
    /// Fits in the records when the program was killed.
    pub at_kill: usize,
    /// What the second run says.
    pub told: Value,
}

/// Begins to fit an archive of `count` recordings, kills the program with a signal that cannot be caught once it has said `said` times
/// that one is done, and lets another finish. Checks that nothing was fitted twice and nothing lost.
pub fn killed_and_begun_again(
    program: &Path,
    archive: &Path,
    records: &Address,
    count: usize,
    said: usize,
) -> Came {
    let url = match records {
        Address::File(path) => path.display().to_string(),
        Address::Server(url) => url.clone(),
    };
    let mut child = refit(program, archive, &url).spawn().unwrap();
    let lines = BufReader::new(child.stderr.take().unwrap()).lines();
    let seen = lines
        .map_while(Result::ok)
        .filter(|line| line.starts_with("fitted "))
        .take(said)
        .count();
    child.kill().unwrap();
    child.wait().unwrap();
    assert_eq!(seen, said, "it ended before it could be killed");
    let mut store = Store::open(records, false, &stamp()).unwrap();
    let fitted_now = |store: &mut Store| {
        let all = store.measurements(&Filter::default()).unwrap();
        let fits = all.iter().filter_map(|m| store.entry(m.fit?).unwrap());
        let newest = fits.map(|entry| entry.content::<records::content::Fit>().unwrap());
        newest.filter(|fit| fit.software.version != "0.0.9").count()
    };
    let at_kill = fitted_now(&mut store);
    assert!(
        at_kill >= said && at_kill < count,
        "{at_kill} of {count} were there when it was killed"
    );

    let ended = refit(program, archive, &url).output().unwrap();
    assert!(
        ended.status.success(),
        "{}",
        String::from_utf8_lossy(&ended.stderr)
    );
    let told: Value = serde_json::from_slice(&ended.stdout).unwrap();
    let done = |word: &str| told["done"][word].as_u64().unwrap() as usize;
    assert_eq!(
        (done("recordings"), done("before"), done("now")),
        (count, at_kill, count - at_kill)
    );
    assert_eq!(fitted_now(&mut store), count);
    // A recording, an earlier fit and one by this version of each: nothing is there twice.
    let (end, _) = store.end().unwrap();
    assert_eq!(end as usize, 3 * count);
    assert_eq!(store.verify(&[]).unwrap().findings, []);
    Came { at_kill, told }
}

/// Measures a unit shortly, makes an archive of `count` recordings of it, enters each with an earlier fit, and fits all again with the
/// program, killed once. Tells as a chapter.
#[must_use]
pub fn measure(count: usize, program: &Path, folder: &Path, about: &str) -> String {
    let at = |name: &str| folder.join(name).display().to_string();
    let rig = crate::recovery::root().join("rigs/belt.toml");
    let procedure = at("procedure.toml");
    std::fs::write(&procedure, format!("{}{STEPS}", crate::safety::scene::PROCEDURE)).unwrap();
    let fitted = folder.join("run");
    let mut one = Command::new(program);
    one.args(["measure", "--yes", "--quiet", "--rig"]).arg(rig);
    one.args(["--procedure", &procedure, "--out"]).arg(&fitted);
    assert!(one.stdout(Stdio::null()).status().unwrap().success());
    let recordings = folder.join("archive");
    archive(&fitted, &recordings, count);
    let of = Recording::open(&fitted.join("recording.h5")).unwrap();
    let (rows, seconds) = (of.rows(), of.rows() as f64 / of.header().sample_rate_hz());
    let address: Address = at("archive.db").parse().unwrap();
    let mut store = Store::open(&address, true, &stamp()).unwrap();
    entered_by_earlier_version(&mut store, &fitted, &recordings, ("latency", 3.0));
    drop(store);
    let Came { at_kill, told } = killed_and_begun_again(program, &recordings, &address, count, count / 3);
    let number = |word: &str| told[word].as_f64().unwrap();
    let changed = told["done"]["changed"].as_array().unwrap().len();
    format!(
        "# Fitting an archive again\n\n{about}\n\n{count} recordings of {seconds:.1} s ({rows} samples) each. Killed after {at_kill} were \
         fitted, and begun again: the other {} were fitted in {:.1} s on {} threads, {:.2} recordings a second; none twice, none lost. \
         {changed} of them say something else than the earlier fit, whose latency was entered three standard uncertainties too high.\n",
        count - at_kill,
        number("seconds"),
        number("threads"),
        number("recordings_per_second")
    )
}
