//! Recordings of every schema version are opened for ever after: kept under `tests/data/recordings`, each beside what
//! h5py found in it when it was made.
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a test ends with the first surprise"
)]

use std::path::{Path, PathBuf};
use std::process::Command;

use crate::recording_support as support;
use bench_core::run::Permit;
use tempfile::tempdir;
use truerim::drive::StopFlag;
use truerim::recording::{Recording, RecordingWriter, recover, verify};
use truerim::session::{Bench, SettingsText, plan_for, record};

/// Largest recording that is kept, bytes.
const LARGEST: u64 = 120_000;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("data/recordings")
}

/// Every recording that is kept, in order.
fn kept() -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder())
        .unwrap()
        .map(|entry| entry.unwrap().path());
    let mut files: Vec<PathBuf> = entries
        .filter(|path| path.extension().is_some_and(|e| e == "h5"))
        .collect();
    files.sort();
    files
}

/// Holds one recording against the facts beside it; how many there were.
fn check(recording: &Recording, facts: &str) -> usize {
    let rows = recording.rows();
    let tick = |row: usize| recording.ticks(row..row + 1).unwrap()[0].to_string();
    let mut checked = 0;
    for fact in facts.lines() {
        let (name, rest) = fact.split_once(' ').unwrap();
        let found = match name {
            "schema_version" => continue,
            "state" if recording.is_live() => "live".to_owned(),
            "state" => "sealed".to_owned(),
            "run_id" => recording.header().run_id.clone(),
            "operator" => recording.header().operator.clone(),
            "faults" => recording.header().faults.clone(),
            "rows" => rows.to_string(),
            "first_tick" => tick(0),
            "last_tick" => tick(rows - 1),
            "completion" => recording.completion().unwrap().parts().0.to_owned(),
            "seal" => recording.seal().unwrap().sha256.clone(),
            "table" => {
                let table = rest.split(' ').next().unwrap();
                let length = match table {
                    "segments" => recording.segments().len(),
                    "events" => recording.events().len(),
                    "host" => recording.host().len(),
                    "round_trips" => recording.round_trips().len(),
                    other => panic!("no table {other}"),
                };
                format!("{table} {length}")
            }
            "channel" => {
                let channel = recording.channel(rest.split(' ').next().unwrap()).unwrap();
                let raw = recording.raw(&channel.name, 0..rows).unwrap();
                let sum: i64 = raw.iter().map(|c| i64::from(*c)).sum();
                let (low, high) = (raw.iter().min().unwrap(), raw.iter().max().unwrap());
                format!("{} {} {sum} {low} {high}", channel.name, channel.units)
            }
            "value" => {
                let words: Vec<&str> = rest.split(' ').collect();
                let row: usize = words[1].parse().unwrap();
                let due: f64 = words[2].parse().unwrap();
                let value = recording.values(words[0], row..row + 1).unwrap()[0];
                assert!(
                    (value - due).abs() <= 1e-12 * due.abs().max(1.0),
                    "{fact}: {value}"
                );
                rest.to_owned()
            }
            other => panic!("nothing is known of {other}"),
        };
        assert_eq!(found, rest, "{name}");
        checked += 1;
    }
    checked
}

#[test]
fn every_recording_that_is_kept_opens_with_what_was_in_it() {
    let mut versions = Vec::new();
    let directory = tempdir().unwrap();
    for path in kept() {
        assert!(
            std::fs::metadata(&path).unwrap().len() <= LARGEST,
            "{}",
            path.display()
        );
        let facts = std::fs::read_to_string(path.with_extension("txt")).unwrap();
        let recording = Recording::open(&path).unwrap();
        assert!(check(&recording, &facts) > 15, "{}", path.display());
        let state = if recording.is_live() {
            let before = std::fs::read(&path).unwrap();
            let out = directory.path().join(path.file_name().unwrap());
            let rows = recording.rows() as u64;
            assert_eq!(recover(&path, &out).unwrap().rows, rows);
            assert_eq!(std::fs::read(&path).unwrap(), before);
            assert!(verify(&out).unwrap().is_intact());
            "live"
        } else {
            assert!(verify(&path).unwrap().is_intact(), "{}", path.display());
            "sealed"
        };
        let version = facts
            .lines()
            .find_map(|fact| fact.strip_prefix("schema_version "))
            .unwrap();
        versions.push(format!("{version} {state}"));
    }
    versions.sort();
    versions.dedup();
    let schema = include_str!("../../../bench/src/recording/SCHEMA.md");
    let table = schema.split("| version | what it added |").nth(1).unwrap();
    let rows = table.lines().skip(2).take_while(|line| line.starts_with("| "));
    let listed = rows.filter_map(|line| line.split('|').nth(1)).map(str::trim);
    // Each version that SCHEMA.md lists, in both states.
    let due: Vec<String> = listed
        .flat_map(|v| [format!("{v} live"), format!("{v} sealed")])
        .collect();
    assert_eq!(versions, due);
    assert!(due.len() >= 4);
}

/// The system's `h5dump` reads what this program writes, with the system's HDF5 and with a newer one inside.
#[test]
fn h5dump_reads_every_sealed_recording_that_is_kept() {
    let of_newer = |path: &PathBuf| path.display().to_string().contains("hdf5-2.2");
    assert!(kept().iter().any(of_newer));
    for path in kept() {
        if Recording::open(&path).unwrap().is_live() {
            continue;
        }
        let facts = std::fs::read_to_string(path.with_extension("txt")).unwrap();
        for channel in facts.lines().filter_map(|fact| fact.strip_prefix("channel ")) {
            let words: Vec<&str> = channel.split(' ').collect();
            let output = Command::new("h5dump")
                .args(["-y", "-w", "1", "-d", &format!("/{}", words[0])])
                .arg(&path)
                .output()
                .unwrap_or_else(|e| panic!("cannot start h5dump ({e}); `tools/prepare tests` installs it"));
            let told = String::from_utf8(output.stdout).unwrap();
            assert!(
                output.status.success(),
                "{}",
                String::from_utf8_lossy(&output.stderr)
            );
            let data = told.split("DATA {").nth(1).unwrap().split('}').next().unwrap();
            let counts: Vec<i64> = data
                .split(',')
                .filter_map(|word| word.trim().parse().ok())
                .collect();
            let sum: i64 = counts.iter().sum();
            assert_eq!(sum.to_string(), words[2], "{} {}", path.display(), words[0]);
        }
    }
}

/// Makes the two recordings of a new version, of the shipped belt unit and the procedure of those before:
/// `TRUERIM_KEEP_IN=FOLDER cargo test -p acceptance --test files recording_kept -- --ignored`. What is laid beside them is what
/// h5py says: `tests/python/recording_facts.py RECORDING > FACTS`.
#[test]
#[ignore = "makes files to keep, once a version"]
fn make_the_recordings_of_this_version() {
    let into = PathBuf::from(std::env::var("TRUERIM_KEEP_IN").unwrap());
    // A writer that is never dropped leaves the file as a killed program does.
    let mut writer = RecordingWriter::create(&into.join("killed.h5"), &support::header()).unwrap();
    support::write_notes(&mut writer).unwrap();
    support::write_rows(&mut writer, 0, 512, 64).unwrap();
    writer.flush().unwrap();
    std::mem::forget(writer);

    let before = Recording::open(&folder().join("schema-1.1-sealed.h5")).unwrap();
    let [_, (_, procedure)] = &before.header().files[..] else {
        panic!("a rig file and a procedure")
    };
    let (rig_file, seed) = (into.join("rig.toml"), before.header().seed);
    // Without its comments, which would take more room than the samples.
    let rig = include_str!("../../../rigs/belt.toml").lines();
    let rig: Vec<&str> = rig.map(|line| line.split(" #").next().unwrap().trim()).collect();
    let rig = rig
        .into_iter()
        .filter(|line| !line.is_empty() && !line.starts_with('#'));
    std::fs::write(&rig_file, rig.collect::<Vec<_>>().join("\n")).unwrap();
    let bench = Bench::open(&rig_file, None, None, seed, "Ada Reader".to_owned()).unwrap();
    let bench = bench
        .with_faults(&["temperature-climb at 100 s size 1 K".to_owned()])
        .unwrap();
    let procedure = SettingsText {
        file: "procedure.toml".to_owned(),
        text: procedure.clone(),
    };
    let plan = plan_for(&procedure, &bench.rig, seed).unwrap();
    let permit = Permit::granted("--yes");
    let path = into.join("sealed.h5");
    let stop = StopFlag::new();
    let session = record(&bench, &procedure, plan, permit, &path, &stop, &mut |_| {}).unwrap();
    assert!(session.seal.is_some(), "{}", session.outcome.end);
}
