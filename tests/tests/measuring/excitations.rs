//! Multisines, pulses and pseudo-random signals played on the virtual rigs: no trip, whole recordings, and what analysis
//! needs of a multisine read from the recording alone.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of a test may fail it

use std::f64::consts::TAU;
use std::path::PathBuf;

use acceptance::campaign::units::Unit;
use acceptance::recovery::root;
use acceptance::safety::program::{Ended, run};
use bench_core::rig::Mounting;
use bench_core::run::{End, Permit};
use ndarray::ArrayView1;
use truerim::drive::StopFlag;
use truerim::fitting::{FitOptions, Quantity, fit_recording};
use truerim::recording::{Recording, SegmentRow};
use truerim::session::{self, Bench, SettingsText};
use truerim_analysis::frequency::{BandwidthOptions, bandwidth};
use truerim_analysis::multisine::{
    BestLinear, MultisineLines, MultisineOptions, MultisineRecord, best_linear_approximation,
};

/// A run in lock-step; the folder keeps the recording.
fn record(rig: &str, procedure: &SettingsText) -> (tempfile::TempDir, Recording) {
    let rig = root().join(rig);
    let bench = Bench::open(&rig, None, None, 11, "test".to_owned()).unwrap();
    let plan = session::plan_for(procedure, &bench.rig, 11).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let path: PathBuf = folder.path().join("recording.h5");
    let rows_planned = plan.duration_us() / u64::from(plan.sample_period_us());
    let windows = plan.windows().len();
    let (permit, stop) = (Permit::granted("test"), StopFlag::new());
    let session = session::record(&bench, procedure, plan, permit, &path, &stop, &mut |_| {}).unwrap();
    assert_eq!(session.outcome.end, End::Completed, "{}", rig.display());
    assert!(session.seal.is_some() && session.outcome.zero_confirmed);
    assert_eq!(session.outcome.counters.rows_lost, 0);
    let recording = Recording::open(&path).unwrap();
    assert!(recording.rows() as u64 > rows_planned);
    assert_eq!(recording.segments().len(), windows);
    (folder, recording)
}

fn shipped(name: &str) -> SettingsText {
    SettingsText::read(&root().join("procedures").join(name)).unwrap()
}

/// Rows of one segment and repeat: its periods in order.
fn periods(recording: &Recording, segment: u32, repeat: u32) -> Vec<&SegmentRow> {
    let own = |row: &&SegmentRow| (row.segment, row.repeat) == (segment, repeat);
    recording.segments().iter().filter(own).collect()
}

/// The lines of a segment as the recording names them.
fn lines(recording: &Recording, segment: u32) -> Vec<usize> {
    let name = format!("segment_{segment}_lines");
    let extra = &recording.header().extra;
    let (_, text) = extra.iter().find(|(known, _)| *known == name).unwrap();
    text.split(' ').map(|line| line.parse().unwrap()).collect()
}

/// Amplitude of a line of one period.
fn amplitude(x: &[f64], line: usize) -> f64 {
    let (mut re, mut im) = (0.0, 0.0);
    for (n, v) in x.iter().enumerate() {
        let (sin, cos) = (TAU * ((line * n) % x.len()) as f64 / x.len() as f64).sin_cos();
        re += v * cos;
        im -= v * sin;
    }
    2.0 * re.hypot(im) / x.len() as f64
}

/// Where steady sines of 1.4 on 1.5 N·m have fallen by 3 dB, and the gain that they have there: by an independent integration
/// of the unit (tests/reference/plant/belt-1.4-on-1.5-every-250us.json: 0.88752 over the square root of 2). What friction
/// does to the gain at a few hertz is another with many lines at once, so the gain itself is compared, where friction counts
/// for little.
const CORNER_HZ: f64 = 164.47;
const GAIN_AT_CORNER: f64 = 0.6276;

/// Where the gain falls through a level for the last time, between two lines in proportion.
fn passes(found: &BestLinear, level: f64) -> f64 {
    let gain: Vec<f64> = found
        .re
        .iter()
        .zip(&found.im)
        .map(|(re, im)| re.hypot(*im))
        .collect();
    let above = gain.iter().rposition(|gain| *gain > level).unwrap();
    let share = (gain[above] - level) / (gain[above] - gain[above + 1]);
    found.f_hz[above] + share * (found.f_hz[above + 1] - found.f_hz[above])
}

/// Whole periods of one realisation as recorded: the setpoint of one, the torque of all, the age of the first value.
fn realisation(recording: &Recording, segment: u32, repeat: u32) -> (Vec<f64>, Vec<f64>, f64) {
    let rows = periods(recording, segment, repeat);
    assert_eq!(rows.len(), 3);
    let roles: Vec<&str> = rows.iter().map(|row| row.role.as_str()).collect();
    assert_eq!(roles, ["transient", "excitation", "excitation"]);
    let (first, last) = (rows[0], rows[2]);
    let range = recording.rows_between(first.start_tick, last.end_tick).unwrap();
    let age_s = (recording.ticks(range.clone()).unwrap()[0] - first.start_tick) as f64 * 1e-6;
    let setpoint = recording.values("setpoint", range.clone()).unwrap().to_vec();
    let torque = recording.values("torque", range).unwrap().to_vec();
    // Whole periods of whole samples, each the same to the last count.
    let samples = ((first.end_tick - first.start_tick) / 250) as usize;
    assert_eq!(
        (first.end_tick - first.start_tick, setpoint.len()),
        (2_000_000, 3 * samples)
    );
    for row in &rows {
        assert_eq!(row.end_tick - row.start_tick, 2_000_000);
    }
    for period in setpoint.chunks(samples) {
        assert_eq!(period, &setpoint[..samples]);
    }
    (setpoint[..samples].to_vec(), torque, age_s)
}

#[test]
fn a_multisine_is_analysed_from_its_recording_alone() {
    let (_folder, recording) = record("rigs/belt.toml", &shipped("response.toml"));
    let delay_s = recording.channel("torque").unwrap().group_delay_s;
    for segment in [1, 2] {
        let lines = lines(&recording, segment);
        let played: Vec<_> = (0..7)
            .map(|repeat| realisation(&recording, segment, repeat))
            .collect();
        // A count is 0.24 mN·m; its rounding is spread over 4000 lines.
        let row = periods(&recording, segment, 0)[1];
        assert!((row.f_start_hz - 0.5 * lines[0] as f64).abs() < 1e-9);
        let all: Vec<f64> = (1..=600).map(|k| amplitude(&played[0].0, k)).collect();
        let least = lines.iter().map(|k| all[k - 1]).fold(f64::INFINITY, f64::min);
        for (k, found) in (1..).zip(&all) {
            let is_excited = lines.binary_search(&k).is_ok();
            assert!(
                if is_excited {
                    *found > 0.99 * least
                } else {
                    *found < 1e-5
                },
                "{k}: {found}"
            );
        }
        let records: Vec<MultisineRecord<'_>> = played
            .iter()
            .map(|(input, output, age_s)| MultisineRecord {
                fs_hz: 4000.0,
                input_nm: ArrayView1::from(input),
                output_nm: ArrayView1::from(output),
                input_age_s: *age_s,
            })
            .collect();
        let last = lines.last().copied().unwrap();
        let options = MultisineOptions {
            output_delay_s: delay_s,
            ..MultisineOptions::new(MultisineLines::of(&lines, last))
        };
        let found = best_linear_approximation(&records, &options).unwrap();
        let width = bandwidth(&found.response(), &BandwidthOptions::default());
        assert!(width.estimate().is_some(), "{segment}: {width:?}");
        let passes_hz = passes(&found, GAIN_AT_CORNER);
        println!(
            "segment {segment}: gain of {GAIN_AT_CORNER} at {passes_hz:.2} Hz, odd distortion {:?}, even {:?}",
            found.distortion.odd.estimate().map(|e| e.value),
            found.distortion.even.estimate().map(|e| e.value)
        );
        assert!(
            found.checks.iter().all(|check| check.passed),
            "{:?}",
            found.checks
        );
        assert!((passes_hz - CORNER_HZ).abs() < 3.0, "{passes_hz}");
    }
}

#[test]
fn pulses_are_recorded_one_by_one() {
    let (_folder, recording) = record("rigs/belt.toml", &shipped("pulses.toml"));
    for row in recording.segments() {
        assert_eq!(
            (row.excitation.as_str(), row.role.as_str()),
            ("half-sine", "excitation")
        );
        // Its crest in the middle, from and to its preload.
        let middle = (row.start_tick + row.end_tick) / 2;
        let range = recording.rows_between(middle - 125, middle + 126).unwrap();
        let crest = recording.values("setpoint", range).unwrap()[0] - row.preload_nm;
        let share = crest / row.amplitude_nm;
        // The widest step from a sample to the crest is an eighth of the narrowest pulse.
        assert!((0.97..1.001).contains(&share), "{row:?}: {share}");
    }
    let widths: std::collections::BTreeSet<u64> = recording
        .segments()
        .iter()
        .map(|row| row.end_tick - row.start_tick)
        .collect();
    assert_eq!(Vec::from_iter(widths), [4_000, 8_000, 15_000, 30_000, 60_000]);
    let train = periods(&recording, 3, 0);
    assert_eq!(train.len(), 5);
    for pair in train.windows(2) {
        assert_eq!(pair[1].start_tick - pair[0].start_tick, 80_000);
        assert!(pair[1].amplitude_nm * pair[0].amplitude_nm < 0.0);
    }
}

/// One period of 127 bits of 4 ms settles, two count.
const BINARY: &str = r#"
[procedure]
name = "binary"
purpose = "edges in random order"
mounting = "clamped"
sample_rate = "4 kHz"
ramp = "0.05 N·m/ms"
[approach]
level = "5 %"
hold = "300 ms"
rest = "400 ms"
gain = ["40 %", "160 %"]
[[segment]]
name = "sequence"
excitation = "pseudo-random"
order = 7
clock = "4 ms"
amplitude = "8 %"
preload = "20 %"
periods = 3
repeats = 1
rest = "60 ms"
settle = "300 ms"
"#;

#[test]
fn a_pseudo_random_signal_goes_through_on_every_unit() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("binary.toml");
    std::fs::write(&file, BINARY).unwrap();
    let procedure = SettingsText::read(&file).unwrap();
    for rig in ["rigs/geared.toml", "rigs/belt.toml", "rigs/direct.toml"] {
        let (_folder, recording) = record(rig, &procedure);
        let rows = periods(&recording, 1, 0);
        let roles: Vec<&str> = rows.iter().map(|row| row.role.as_str()).collect();
        assert_eq!(roles, ["transient", "excitation", "excitation"]);
        assert!(
            rows.iter()
                .all(|row| row.end_tick - row.start_tick == 127 * 4_000)
        );
    }
}

/// `truerim check --signals` of a shipped procedure on the belt unit; the port is not there.
fn told(procedure: &str, more: &[&str]) -> Ended {
    let file = |name: String| root().join(name).display().to_string();
    let (rig, procedure) = (
        file("rigs/belt.toml".into()),
        file(format!("procedures/{procedure}")),
    );
    let mut all = vec!["check", "--signals", "--port", "/nowhere/port", "--rig", &rig];
    all.extend(["--procedure", &procedure, "--seed", "11"]);
    all.extend(more);
    run(all)
}

#[test]
fn what_is_played_is_told_before_the_run() {
    let text = told("pulses.toml", &[]);
    assert_eq!(text.code, Some(0), "{text:?}");
    for part in [
        "1. pulses from zero: 40 × half-sine",
        "crest factor",
        "RMS, 64 to 128 Hz",
        "5 pulses in a row",
    ] {
        assert!(text.out.contains(part), "{part}: {}", text.out);
    }
    let json = told("response.toml", &["--json"]);
    assert_eq!(json.code, Some(0), "{json:?}");
    let json: serde_json::Value = serde_json::from_str(&json.out).unwrap();
    let segment = &json["segments"][0];
    let lines = segment["lines"].as_array().unwrap().len() as f64;
    let signal = &segment["signals"][0];
    // Lines of one amplitude: root mean square by their number; 12 % of 7 N·m is the peak.
    let amplitude_nm = segment["line_amplitude_nm"].as_f64().unwrap();
    let rms_nm = signal["rms_nm"].as_f64().unwrap();
    assert!((rms_nm - amplitude_nm * (lines / 2.0).sqrt()).abs() < 1e-9);
    assert!((signal["peak_nm"].as_f64().unwrap() - 0.84).abs() < 1e-9);
    let crest = &signal["crest_factor"];
    assert!(
        crest[0].as_f64().unwrap() > 1.4 && crest[1].as_f64().unwrap() < 1.9,
        "{crest}"
    );
    assert_eq!((&segment["parts"], &segment["transient"]), (&3.into(), &1.into()));
    assert_eq!(segment["signals"][0]["length_us"], 2_000_000);
    // Nothing to tell without a procedure.
    let rig = root().join("rigs/belt.toml").display().to_string();
    assert_eq!(run(["check", "--signals", "--rig", &rig]).code, Some(2));
}

/// A staircase on the belt unit: its map by the program, and by this test from the recording's own rows. What the ways up and down
/// differ by is friction of the motor's side, less what ringing behind every ramp shakes out of it: some of it, and at most twice the
/// breakaway torque of the rig file.
#[test]
fn a_staircase_becomes_a_static_map() {
    let (_folder, recording) = record("rigs/belt.toml", &shipped("static.toml"));
    let document = fit_recording(&recording, &FitOptions::default()).unwrap();
    let found = |quantity| document.headline(quantity).unwrap();
    let value = |quantity| {
        let estimate = found(quantity).estimate().unwrap();
        assert!(estimate.all_checks_passed(), "{estimate:?}");
        estimate.value
    };
    let tips: Vec<f64> = recording
        .segments()
        .iter()
        .filter(|row| row.is_excitation() && row.to_nm > 4.19)
        .map(|row| {
            let late = row.end_tick - (row.end_tick - row.start_tick) / 4;
            let rows = recording.rows_between(late, row.end_tick).unwrap();
            recording.values("torque", rows).unwrap().mean().unwrap()
        })
        .collect();
    assert_eq!(tips.len(), 3, "the first cycle is left out");
    let tip = tips.iter().sum::<f64>() / 3.0;
    assert!((value(Quantity::TorquePositive) - tip).abs() < 1e-3);
    let unit = Unit::Belt;
    let friction = unit
        .parameters(unit.text(), Mounting::Clamped, 1)
        .plant
        .motor_friction;
    let width = value(Quantity::StaticHysteresis);
    assert!((0.05..2.0 * friction.breakaway_nm).contains(&width), "{width}");
    // The rig file's gain and offset are 1 and 0; ripple under load bends both a little at one angle.
    assert!((value(Quantity::StaticGain) - 1.0).abs() < 0.02);
    assert!(value(Quantity::StaticOffset).abs() < 0.06);
    assert_eq!(
        found(Quantity::SaturationKnee).result.refused().unwrap().code,
        "no_saturation"
    );
    assert_eq!(document.curves.static_map.unwrap().command_nm.len(), 41);
}

/// A recording of steering traces holds all that its plan was made from: made again from it alone, the plan is the same, setpoint by
/// setpoint, though the trace files are not at hand.
#[test]
fn a_plan_with_traces_is_made_again_from_its_recording() {
    let procedure = shipped("limit.toml");
    let (_folder, recording) = record("rigs/belt.toml", &procedure);
    let rig = Bench::open(&root().join("rigs/belt.toml"), None, None, 11, "test".to_owned())
        .unwrap()
        .rig;
    let planned = session::plan_for(&procedure, &rig, 11).unwrap();
    let again = session::plan_of(&recording).unwrap();
    assert_eq!(planned.duration_us(), again.duration_us());
    for t_us in (0..planned.duration_us()).step_by(1_750) {
        assert!(
            (planned.setpoint_nm(t_us) - again.setpoint_nm(t_us)).abs() < 1e-12,
            "{t_us}"
        );
    }
    // The same procedure without its files beside it is refused before anything moves, with the file that is missing.
    let elsewhere = SettingsText {
        file: "elsewhere/limit.toml".into(),
        text: procedure.text.clone(),
    };
    let refused = session::plan_for(&elsewhere, &rig, 11).unwrap_err().to_string();
    assert!(
        refused.contains("corner.csv cannot be read") && refused.contains("limit.toml:24: segment[1].file"),
        "{refused}"
    );
}
