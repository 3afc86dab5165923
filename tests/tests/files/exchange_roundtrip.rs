//! A recording of the bench, exported, imported again and fitted: the same numbers, whatever the format between.
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    reason = "a test ends with the first surprise"
)]

use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use acceptance::recovery::root;
use bench_core::run::{End, Permit};
use truerim::drive::StopFlag;
use truerim::exchange::{Format, Imported, Map, Repairs, Selection, export, import, write_map};
use truerim::fitting::{FitDocument, FitOptions, Quantity, fit_recording};
use truerim::recording::{Recording, verify};
use truerim::session::{self, Bench, SettingsText};
use truerim_analysis::estimate::{Estimate, Outcome};

/// One recorded run and its fit, shared by all tests here.
struct Original {
    path: PathBuf,
    fit: FitDocument,
    _folder: tempfile::TempDir,
}

fn original() -> &'static Original {
    static ONE: OnceLock<Original> = OnceLock::new();
    ONE.get_or_init(|| recorded(&SettingsText::read(&root().join("procedures/quick.toml")).unwrap()))
}

fn recorded(procedure: &SettingsText) -> Original {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("run.h5");
    let bench = Bench::open(&root().join("rigs/belt.toml"), None, None, 7, "round trip".into()).unwrap();
    let plan = session::plan_for(procedure, &bench.rig, 7).unwrap();
    let permit = Permit::granted("round trip");
    let stop = StopFlag::new();
    let done = session::record(&bench, procedure, plan, permit, &path, &stop, &mut |_| {}).unwrap();
    assert_eq!(done.outcome.end, End::Completed);
    let fit = fit(&path);
    Original {
        path,
        fit,
        _folder: folder,
    }
}

fn fit(path: &Path) -> FitDocument {
    fit_recording(&Recording::open(path).unwrap(), &FitOptions::default()).unwrap()
}

fn headline(document: &FitDocument, quantity: Quantity) -> &Estimate {
    match &document.headline(quantity).unwrap().result {
        Outcome::Estimate(estimate) => estimate,
        Outcome::Refused(refused) => panic!("{quantity:?} is refused: {}", refused.message),
    }
}

/// Every result of the two documents, refusals included, is the same to the rounding of double precision carried through
/// the fits. Gives how many estimates there are.
fn same(found: &FitDocument, due: &FitDocument) -> usize {
    assert_eq!(found.measurands.len(), due.measurands.len());
    let mut estimates = 0;
    for (a, b) in found.measurands.iter().zip(&due.measurands) {
        assert_eq!(a.id, b.id);
        match (&a.result, &b.result) {
            (Outcome::Estimate(a_), Outcome::Estimate(b_)) => {
                estimates += 1;
                assert_eq!(a_.n, b_.n, "{}", a.id);
                let close = |x: f64, y: f64| (x - y).abs() <= 1e-6 * b_.std_uncertainty + 1e-12;
                assert!(
                    close(a_.value, b_.value),
                    "{}: {} for {}",
                    a.id,
                    a_.value,
                    b_.value
                );
                let ratio = a_.std_uncertainty / b_.std_uncertainty;
                assert!((ratio - 1.0).abs() < 1e-6, "{}: u is {ratio} times", a.id);
            }
            (Outcome::Refused(a_), Outcome::Refused(b_)) => assert_eq!(a_.code, b_.code),
            _ => panic!("{}: an estimate on one side, a refusal on the other", a.id),
        }
    }
    estimates
}

/// Imports `data` by the map at `map` beside it, changed by `change`.
fn bring(data: &Path, map: &str, repairs: Repairs) -> (PathBuf, Imported) {
    let out = data.with_extension("imported.h5");
    let map = Map::from_toml("map.toml", map).unwrap_or_else(|findings| panic!("{findings}"));
    let done = import(data, &map, repairs, &out).unwrap_or_else(|error| panic!("{error}"));
    assert!(verify(&out).unwrap().is_intact());
    (out, done)
}

fn exported(original: &Original, format: Format, name: &str) -> (tempfile::TempDir, PathBuf, String) {
    let folder = tempfile::tempdir().unwrap();
    let (data, map) = (folder.path().join(name), folder.path().join("map.toml"));
    let recording = Recording::open(&original.path).unwrap();
    let done = export(&recording, format, &Selection::default(), &data).unwrap();
    assert_eq!(done.rows, recording.rows() as u64);
    write_map(&recording, format, &map).unwrap();
    let text = std::fs::read_to_string(map).unwrap();
    (folder, data, text)
}

fn there_and_back(format: Format, name: &str) {
    let (_folder, data, map) = exported(original(), format, name);
    let (path, done) = bring(&data, &map, Repairs::default());
    assert!(done.notes.is_empty(), "{:?}", done.notes);
    let (before, after) = (
        Recording::open(&original().path).unwrap(),
        Recording::open(&path).unwrap(),
    );
    let all = 0..before.rows();
    assert_eq!(
        after.ticks(all.clone()).unwrap(),
        before.ticks(all.clone()).unwrap()
    );
    for channel in &before.header().channels {
        let counts = after.raw(&channel.name, all.clone()).unwrap();
        let scale = after.channel(&channel.name).unwrap().scale;
        assert_eq!(
            counts,
            before.raw(&channel.name, all.clone()).unwrap(),
            "{}",
            channel.name
        );
        assert!((scale / channel.scale - 1.0).abs() < 1e-12, "{}", channel.name);
    }
    assert_eq!(after.header().rig.kind, "imported");
    let extra = |name: &str| {
        let found = after.header().extra.iter().find(|(n, _)| n == name);
        found.map(|(_, value)| value.clone()).unwrap_or_default()
    };
    assert_eq!(extra("origin"), "imported");
    assert_eq!(extra("imported_repairs"), "none");
    assert_eq!(
        extra("imported_file_bytes"),
        std::fs::metadata(&data).unwrap().len().to_string()
    );
    assert_eq!(after.header().files, [("map.toml".to_owned(), map)]);
    assert!(same(&fit(&path), &original().fit) > 30);
}

/// A multisine and a pseudo-random signal, twice each.
const PERIODIC: &str = r#"
[procedure]
name = "periodic"
purpose = "whole periods there and back"
mounting = "clamped"
sample_rate = "4 kHz"
ramp = "0.05 N·m/ms"
[approach]
level = "5 %"
hold = "300 ms"
rest = "400 ms"
gain = ["40 %", "160 %"]
[[segment]]
name = "sines"
excitation = "multisine"
lines = "odd-random"
from = "1 Hz"
to = "300 Hz"
group = 4
period = "1 s"
phases = "optimised"
amplitude = "12 %"
preload = "20 %"
realisations = 3
periods = 3
transient = 1
rest = "60 ms"
settle = "300 ms"
dither = "1 ms"
taper = "50 ms"
[[segment]]
name = "sequence"
excitation = "pseudo-random"
order = 7
clock = "4 ms"
amplitude = "8 %"
preload = "20 %"
periods = 3
repeats = 2
rest = "60 ms"
settle = "300 ms"
"#;

/// What is played in whole periods comes back as it was: declared whole, or with torque read off the command and lines by
/// their power, which the odd distortion at silent lines does not get into.
#[test]
fn whole_periods() {
    let folder = tempfile::tempdir().unwrap();
    let procedure = folder.path().join("periodic.toml");
    std::fs::write(&procedure, PERIODIC).unwrap();
    let original = recorded(&SettingsText::read(&procedure).unwrap());
    let (_folder, data, map) = exported(&original, Format::Parquet, "run.parquet");
    let (path, done) = bring(&data, &map, Repairs::default());
    assert_eq!(done.segments, 5, "three realisations and two repeats");
    assert!(
        done.fits.contains("multisines") && done.fits.contains("pseudo-random"),
        "{}",
        done.fits
    );
    let found = fit(&path);
    let estimates = same(&found, &original.fit);
    assert!(estimates > 8, "{estimates}");
    assert!(headline(&found, Quantity::OddDistortion).value > 0.0);
    std::fs::remove_file(&path).unwrap();
    let left_out = ["amplitude", "preload", "lines"].map(|key| format!("{key} = "));
    let bare: Vec<&str> = map
        .lines()
        .filter(|line| !left_out.iter().any(|key| line.starts_with(key)))
        .collect();
    let (path, _) = bring(&data, &bare.join("\n"), Repairs::default());
    let bare = fit(&path);
    for quantity in [
        Quantity::Bandwidth,
        Quantity::OddDistortion,
        Quantity::PeriodNoise,
    ] {
        let (a, b) = (headline(&bare, quantity), headline(&found, quantity));
        assert!(
            (a.value - b.value).abs() < 0.1 * b.std_uncertainty + 1e-9,
            "{quantity:?}: {a:?} for {b:?}"
        );
    }
}

#[test]
fn by_csv() {
    there_and_back(Format::Csv, "run.csv");
}

#[test]
fn by_parquet() {
    there_and_back(Format::Parquet, "run.parquet");
}

#[test]
fn by_npz() {
    there_and_back(Format::Npz, "run.npz");
}

/// The recording itself read as a foreign HDF5 file: packed counts with scale and offset attributes.
#[test]
fn by_hdf5_as_it_is() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("run.h5");
    std::fs::copy(&original().path, &data).unwrap();
    let map_path = folder.path().join("map.toml");
    write_map(&Recording::open(&data).unwrap(), Format::Npz, &map_path).unwrap();
    let mut map = std::fs::read_to_string(map_path).unwrap();
    for (column, dataset) in [
        ("time_s", "time"),
        ("setpoint_nm", "setpoint"),
        ("torque_nm", "torque"),
        ("rim_angle_rad", "rim_angle"),
        ("motor_angle_rad", "motor_angle"),
        ("current_a", "current"),
        ("temperature_degc", "temperature"),
        ("supply_v", "supply"),
    ] {
        map = map.replace(&format!("\"{column}\""), &format!("\"{dataset}\""));
    }
    let (path, _) = bring(&data, &map, Repairs::default());
    assert!(same(&fit(&path), &original().fit) > 30);
}

/// The part of a map before its segments.
fn without_segments(map: &str) -> String {
    map.split("\n[[segment]]").next().unwrap().to_owned()
}

/// Without a plan steps are found in the command: as many, and the latency within half a sample period of the one from
/// the plan, which its uncertainty covers.
#[test]
fn steps_found_in_the_command_give_the_latency() {
    let (_folder, data, map) = exported(original(), Format::Parquet, "run.parquet");
    let map = without_segments(&map) + "\n[steps]\nleast_change = \"0.2 N·m\"\nrest = \"50 ms\"\n";
    let (path, done) = bring(&data, &map, Repairs::default());
    // The approach before the procedure, and the way to and from preloads, are steps too.
    assert!(done.steps_found >= 96, "{}", done.steps_found);
    let found = fit(&path);
    let (a, b) = (
        headline(&found, Quantity::Latency),
        headline(&original().fit, Quantity::Latency),
    );
    let apart_s = (a.value - b.value).abs();
    assert!(apart_s < 125e-6 + 20e-6, "{apart_s}");
    assert!(
        a.std_uncertainty > 250e-6 / 12_f64.sqrt(),
        "{}",
        a.std_uncertainty
    );
    assert!(apart_s < 2.0 * a.std_uncertainty.hypot(b.std_uncertainty));
}

/// A part of the channels and of the time.
#[test]
fn a_selection_is_exported() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("part.csv");
    let recording = Recording::open(&original().path).unwrap();
    let selection = Selection {
        channels: vec!["torque".into()],
        from_s: Some(12.0),
        to_s: Some(12.01),
    };
    let done = export(&recording, Format::Csv, &selection, &out).unwrap();
    assert_eq!((done.rows, done.columns.len()), (40, 2));
    let text = std::fs::read_to_string(&out).unwrap();
    let mut lines = text.lines();
    assert_eq!(lines.next(), Some("time_s,torque_nm"));
    let rows = recording.rows_between(12_000_000, 12_010_000).unwrap();
    let values = recording.values("torque", rows).unwrap();
    for (i, (line, value)) in lines.zip(&values).enumerate() {
        let (time, torque) = line.split_once(',').unwrap();
        assert_eq!(
            time.parse::<f64>().unwrap().to_bits(),
            (12.0 + i as f64 / 4000.0).to_bits()
        );
        assert_eq!(torque.parse::<f64>().unwrap().to_bits(), value.to_bits());
    }
    // Nothing is overwritten, and a channel that is not there is named.
    assert!(export(&recording, Format::Csv, &selection, &out).is_err());
    let other = Selection {
        channels: vec!["torqe".into()],
        ..Selection::default()
    };
    let error = export(&recording, Format::Csv, &other, &folder.path().join("x.csv")).unwrap_err();
    assert!(error.to_string().contains("torque"), "{error}");
}
