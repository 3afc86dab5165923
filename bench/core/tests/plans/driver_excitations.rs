//! Increments, sines and corrected staircases: read with one mistake each, laid out, and held against a rig and what it holds for
//! good.

#![allow(clippy::panic, clippy::unwrap_used)] // the helpers of a test may fail it

use crate::common;
use std::sync::Arc;

use bench_core::bounds::Bounds;
use bench_core::excitation::{Correction, CorrectionCurve, ExcitationKind};
use bench_core::plan::{Plan, Role};
use bench_core::procedure::Procedure;
use bench_core::rig::{Mounting, Rig};
use common::signals::{plan, rig, text};
use common::{RIG, Row, run};

const SMALL: &str = "excitation = \"increment\"\npreloads = [\"0 N·m\", \"2 N·m\", \"-1 N·m\"]\nsizes = [\"0.02 N·m\", \"0.1 N·m\"]\n\
     hold = \"240 ms\"\nrepeats = 3\n";
const SINES: &str = "excitation = \"sine\"\namplitudes = [\"0.05 N·m\", \"0.2 N·m\"]\nfrequency = \"5 Hz\"\nperiods = 4\n\
     preload = \"2 N·m\"\nrepeats = 2\n";
const STAIRS: &str = "excitation = \"staircase\"\nto = \"2 N·m\"\nsteps = 4\ndwell = \"400 ms\"\nrepeats = 2\n\
     correction = \"curve.csv\"\n";

fn rows(segment: &str, rows: &[Row]) {
    let rig = rig();
    run(&text(segment), rows, |text| {
        Procedure::from_toml("p.toml", text)?.plan(&rig, 1).map(|_| ())
    });
}

#[test]
fn increments() {
    rows(
        SMALL,
        &[
            (
                "hold = \"240 ms\"",
                "hold = \"10 ms\"",
                &["segment[1].hold", "too small", "20 ms"],
            ),
            (
                "\"0.02 N·m\"",
                "\"-0.02 N·m\"",
                &["segment[1].sizes[1]", "too small"],
            ),
            (
                "\"2 N·m\"",
                "\"5.95 N·m\"",
                &[
                    "segment[1].preloads[2]",
                    "a setpoint of 6.05 N·m",
                    "at most 6 N·m",
                ],
            ),
        ],
    );
}

/// Each preload has every size both ways and one trial without; all begin and end at zero, are read as long before as behind, and
/// go away from zero where they go up.
#[test]
fn an_increment_goes_both_ways_from_each_preload() {
    let plan = plan(SMALL, 5);
    let windows = plan.windows();
    assert_eq!(windows.len(), 3 * 3 * 5);
    for (level, preload_nm) in [0.0, 2.0, -1.0].into_iter().enumerate() {
        let mut changes: Vec<f64> = windows
            .iter()
            .filter(|w| w.level == level && w.repeat == 1)
            .map(|w| {
                assert_eq!(w.kind, ExcitationKind::Increment);
                assert!((w.preload_nm - preload_nm).abs() < 1e-12);
                assert!((w.to_nm - w.from_nm - w.amplitude_nm).abs() < 1e-12);
                assert_eq!(w.end_us - w.start_us, 240_000);
                for before_us in [1, 239_999] {
                    assert!((plan.setpoint_nm(w.start_us - before_us) - preload_nm).abs() < 1e-12);
                }
                w.amplitude_nm
            })
            .collect();
        changes.sort_by(f64::total_cmp);
        let wanted = [-0.1, -0.02, 0.0, 0.02, 0.1];
        assert!(
            changes.iter().zip(wanted).all(|(a, b)| (a - b).abs() < 1e-12),
            "{changes:?}"
        );
    }
    // Behind another preload the way there comes once more than it is read.
    for pair in windows.windows(2) {
        let [before, after] = pair else { continue };
        let (mut stays, mut held_ms) = (0, 0);
        for at_us in (before.end_us..=after.start_us).step_by(1000) {
            let there = (plan.setpoint_nm(at_us) - after.preload_nm).abs() < 1e-12;
            held_ms = if there { held_ms + 1 } else { 0 };
            stays += usize::from(held_ms == 200);
        }
        let wanted = if before.level == after.level { 1 } else { 2 };
        // At no preload the rests between are stays too.
        assert!(stays == wanted || after.preload_nm == 0.0, "{stays} {after:?}");
    }
    // The order is drawn by the seed.
    let order = |plan: &Plan| plan.windows().iter().map(|w| w.amplitude_nm).collect::<Vec<_>>();
    assert_ne!(order(&plan), order(&common::signals::plan(SMALL, 6)));
}

#[test]
fn sines() {
    rows(
        SINES,
        &[
            (
                "periods = 4",
                "periods = 0",
                &["segment[1].periods = 0: too small"],
            ),
            (
                "frequency = \"5 Hz\"",
                "frequency = \"0.05 Hz\"",
                &["segment[1].frequency", "too small"],
            ),
            (
                "\"0.2 N·m\"",
                "\"4.5 N·m\"",
                &["segment[1].amplitudes[2]", "a setpoint of 6.5 N·m"],
            ),
            ("\"0.2 N·m\"", "\"0 N·m\"", &["segment[1].amplitudes[2]"]),
        ],
    );
}

/// By hand: 4 periods of 200 ms and one more at each end; crests of the second to fifth period are whole.
#[test]
fn a_sine_has_its_whole_amplitude_between_its_ends() {
    let plan = plan(SINES, 1);
    let window = &plan.windows()[1];
    assert_eq!(window.end_us - window.start_us, 1_200_000);
    for period in 1..5 {
        let crest_us = window.start_us + 200_000 * period + 50_000;
        assert!((plan.setpoint_nm(crest_us) - 2.2).abs() < 1e-9);
        assert!((plan.setpoint_nm(crest_us + 100_000) - 1.8).abs() < 1e-9);
    }
    assert!((plan.setpoint_nm(window.start_us + 50_000) - 2.0).abs() < 0.11);
}

fn refusal(rig_changes: &[(&str, &str)], segment: &str) -> String {
    let mut file = RIG.to_owned();
    for (from, to) in rig_changes {
        assert!(file.contains(from), "{from}");
        file = file.replacen(from, to, 1);
    }
    let rig = Rig::from_toml("rig.toml", &file).unwrap_or_else(|e| panic!("{e}"));
    let procedure = Procedure::from_toml("p.toml", &text(segment)).unwrap();
    procedure.plan(&rig, 1).unwrap_err().to_string()
}

#[test]
fn a_free_rim_is_not_held_by_them() {
    for segment in [SMALL, SINES] {
        let text = refusal(&[("mounting = \"clamped\"", "mounting = \"free\"")], segment);
        assert!(text.contains("would spin up a free rim"), "{text}");
    }
}

#[allow(
    clippy::result_large_err,
    reason = "the closure's errors are the reader's own"
)]
fn corrected(rows: Vec<(f64, f64)>, segment: &str) -> Result<Plan, String> {
    let curve = Arc::new(CorrectionCurve::new(rows).unwrap());
    let supply = |correction: &Correction| {
        assert_eq!(correction.file.value, "curve.csv");
        Ok(Arc::clone(&curve))
    };
    let procedure = Procedure::from_toml("p.toml", &text(segment)).unwrap();
    let procedure = procedure.with_corrections(supply).unwrap();
    procedure.plan(&rig(), 1).map_err(|e| e.to_string())
}

/// Levels are wanted, setpoints the commands for them, and the run ends at zero torque all the same.
#[test]
fn a_corrected_staircase_plays_commands() {
    let plan = corrected(vec![(-3.0, -3.3), (0.0, 0.1), (3.0, 3.4)], STAIRS).unwrap();
    for window in plan.windows() {
        let wanted = window.preload_nm;
        let command = 0.1 + wanted * if wanted > 0.0 { 1.1 } else { 3.4 / 3.0 };
        assert!((window.to_nm - command).abs() < 1e-12, "{window:?}");
        assert!((plan.setpoint_nm(window.start_us) - command).abs() < 1e-12);
    }
    assert!(plan.windows().iter().any(|w| (w.preload_nm - 2.0).abs() < 1e-12));
    assert!(plan.setpoint_nm(plan.duration_us() - 1).abs() < 1e-12);
}

#[test]
fn a_correction_that_cannot_serve_is_refused() {
    let short = corrected(vec![(-1.5, -1.5), (3.0, 3.0)], STAIRS).unwrap_err();
    assert!(
        short.contains("segment[1].to") && short.contains("at most 1.5 N·m"),
        "{short}"
    );
    let steep = corrected(vec![(-3.0, -9.5), (3.0, 9.5)], STAIRS).unwrap_err();
    assert!(
        steep.contains("a setpoint of 6.33") && steep.contains("at most 6 N·m"),
        "{steep}"
    );
    let missing = Procedure::from_toml("p.toml", &text(STAIRS)).unwrap();
    let missing = missing.plan(&rig(), 1).unwrap_err().to_string();
    assert!(
        missing.contains("segment[1].correction") && missing.contains("not supplied"),
        "{missing}"
    );
}

/// A lag by hand: 2 N·m for good and the peak of 7 N·m for 10 s give τ = 10 s/−ln(1 − 4/49) = 117.4 s, so 4 N·m may be held for
/// −117.4 s ln(1 − 4/16) = 33.8 s.
#[test]
fn what_warms_too_much_is_refused() {
    let declared = [(
        "slew = ",
        "sustained_torque = \"2 N·m\"\npeak_time = \"10 s\"\nslew = ",
    )];
    let hold = |seconds: u32| {
        format!("excitation = \"hold\"\nlevels = [\"4 N·m\"]\nhold = \"{seconds} s\"\nrepeats = 1\n")
    };
    let planned = |seconds: u32| {
        let file = RIG.replacen(declared[0].0, declared[0].1, 1);
        let rig = Rig::from_toml("rig.toml", &file).unwrap_or_else(|e| panic!("{e}"));
        Procedure::from_toml("p.toml", &text(&hold(seconds)))
            .unwrap()
            .plan(&rig, 1)
            .map_err(|e| e.to_string())
    };
    assert!(planned(33).is_ok(), "{:?}", planned(33).err());
    let refused = planned(35).unwrap_err();
    for part in [
        "segment[1]",
        "more than the wheelbase holds for good",
        "at most the limit of 2 N·m",
    ] {
        assert!(refused.contains(part), "{refused}");
    }
    for (change, what) in [
        (
            "sustained_torque = \"2 N·m\"\nslew = ",
            "add rig.wheelbase.peak_time",
        ),
        (
            "peak_time = \"10 s\"\nslew = ",
            "add rig.wheelbase.sustained_torque",
        ),
        (
            "sustained_torque = \"60 N·m\"\npeak_time = \"10 s\"\nslew = ",
            "not below the peak torque",
        ),
    ] {
        let file = RIG.replacen("slew = ", change, 1);
        let text = Rig::from_toml("rig.toml", &file).unwrap_err().to_string();
        assert!(text.contains(what), "{text}");
    }
}

/// A free rim's procedure of end stops.
fn to_stops() -> String {
    let segment = "excitation = \"end-stop\"\npush = \"0.6 N·m\"\npush_time = \"50 ms\"\npushes = 7\npress = \"1.4 N·m\"\n\
         press_time = \"4 s\"\npresses = 3\n";
    text(segment).replacen("mounting = \"clamped\"", "mounting = \"free\"", 1)
}

fn free_rig(window: &str) -> Rig {
    let own = "rim_window = [\"-270 deg\", \"260 deg\"]\n";
    let text = RIG.replace(own, &format!("{own}{window}"));
    Rig::mounted("r.toml", &text, Some(Mounting::Free)).unwrap()
}

/// What bounds the speed is known beforehand, and what is wrong is told with what would fit.
#[test]
fn end_stops() {
    let rig = free_rig("travel_window = [\"-500 deg\", \"500 deg\"]\n");
    let rows: &[Row] = &[
        (
            "push_time = \"50 ms\"",
            "push_time = \"200 ms\"",
            &[
                "segment[1].push",
                "a push would spin up a free rim",
                "at most 0.1",
            ],
        ),
        (
            "press = \"1.4 N·m\"",
            "press = \"0.5 N·m\"",
            &[
                "segment[1].press",
                "below the limit that a press must pass",
                "above the push of 0.6 N·m",
            ],
        ),
        (
            "press_time = \"4 s\"",
            "press_time = \"0.2 s\"",
            &["segment[1].press_time", "too small", "1 s to 60 s"],
        ),
        (
            "presses = 3",
            "presses = 1",
            &["segment[1].presses = 1", "too small"],
        ),
        (
            "mounting = \"free\"",
            "mounting = \"clamped\"",
            &["procedure.mounting", "has its rim free"],
        ),
    ];
    run(&to_stops(), rows, |text| {
        Procedure::from_toml("p.toml", text)?.plan(&rig, 1).map(|_| ())
    });
    let unknown = free_rig("");
    let refused = Procedure::from_toml("p.toml", &to_stops())
        .unwrap()
        .plan(&unknown, 1)
        .unwrap_err();
    let words = refused.to_string();
    assert!(
        words.contains("rig.mountings.free.travel_window") && words.contains("turns without end"),
        "{words}"
    );
}

/// Pushes to one stop, twice as many to the other, presses from zero to zero; the window on the way is the wider one, torque at
/// setpoint zero is held to the limit of measured torque, and speed to the procedure's.
#[test]
fn end_stops_are_laid_out_and_limited() {
    let rig = free_rig("travel_window = [\"-500 deg\", \"480 deg\"]\n");
    let plan = Procedure::from_toml("p.toml", &to_stops())
        .unwrap()
        .plan(&rig, 1)
        .unwrap();
    let pushes = |sign: f64| {
        let level =
            |p: &&bench_core::plan::Piece| p.role == Role::Ramp && p.setpoint_nm(p.start_us) * sign > 0.59;
        plan.pieces()
            .iter()
            .filter(level)
            .filter(|p| p.end_us - p.start_us == 50_000)
            .count()
    };
    assert_eq!([pushes(1.0), pushes(-1.0)], [7, 14]);
    let windows = plan.windows();
    assert_eq!(windows.len(), 2 * 3 * 2);
    for (k, w) in windows.iter().enumerate() {
        let sign = if k < 6 { 1.0 } else { -1.0 };
        let ends = if k % 2 == 0 { [0.0, 1.4] } else { [1.4, 0.0] };
        assert_eq!((w.kind, w.part, w.level), (ExcitationKind::EndStop, k % 2, k / 6));
        assert!((w.from_nm - sign * ends[0]).abs() < 1e-12 && (w.to_nm - sign * ends[1]).abs() < 1e-12);
        let middle = plan.setpoint_nm((w.start_us + w.end_us) / 2);
        assert!((middle - sign * 0.7).abs() < 1e-6, "{middle}");
    }
    let bounds = Bounds::new(&rig, Some(&plan));
    let [low, high] = bounds.limits.rim_window_rad.map(f64::to_degrees);
    assert!(
        (low + 500.0).abs() < 1e-9 && (high - 480.0).abs() < 1e-9,
        "{low} {high}"
    );
    assert!((bounds.judge.unasked_nm - bounds.limits.sensor_torque_nm).abs() < 1e-12);
    // Without the presses, the pushes alone are judged as any free run.
    let notes = plan.summary().notes.join("\n");
    // 0.6 N·m for 50 ms over 0.011 kg·m² is 2.7 rad/s, by hand.
    assert!(
        notes.contains("at most 2.7 rad/s") && notes.contains("7 pushes of 0.6 N·m"),
        "{notes}"
    );
}
