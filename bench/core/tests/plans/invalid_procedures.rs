//! Procedure files with one mistake each, by themselves and on a rig, and what must be said of it.

#![allow(clippy::panic)] // the helpers of a test may fail it

use crate::common::{RIG, Row, run};
use bench_core::{procedure::Procedure, rig::Rig};

const PROCEDURE: &str = include_str!("../fixtures/procedure.toml");

#[test]
fn procedures_by_themselves() {
    let rows: &[Row] = &[
        (
            "sample_rate = \"4 kHz\"",
            "sample_rate = \"3 kHz\"",
            &["p.toml:5: procedure.sample_rate", "whole number of"],
        ),
        (
            "sample_rate = \"4 kHz\"",
            "sample_rate = \"1 MHz\"",
            &["unknown unit \"MHz\"", "Hz, kHz"],
        ),
        (
            "level = \"5 %\"",
            "level = \"0 %\"",
            &["approach.level = \"0 %\": too small (allowed: above 0 % to 100 %)"],
        ),
        (
            "level = \"5 %\"",
            "level = \"-5 %\"",
            &["approach.level", "too small"],
        ),
        (
            "rest = \"400 ms\"",
            "rest = \"200 ms\"",
            &["approach.rest", "300 ms to 10000 ms", "raise it"],
        ),
        (
            "[\"50 %\", \"150 %\"]",
            "[\"0 %\", \"150 %\"]",
            &["approach.gain", "hold 100 % but not 0 %"],
        ),
        (
            "[\"50 %\", \"150 %\"]",
            "[\"20 %\", \"90 %\"]",
            &["approach.gain", "hold 100 % but not 0 %"],
        ),
        (
            "excitation = \"step\"",
            "excitation = \"jump\"",
            &["segment[1].excitation", "\"step\", \"chirp\", \"hold\""],
        ),
        (
            "[\"1 N·m\", \"-20 %\"]",
            "[\"1 N·m\", \"0 %\"]",
            &["segment[1].levels[2]", "no torque at all"],
        ),
        (
            "[\"1 N·m\", \"-20 %\"]",
            "[]",
            &["segment[1].levels", "a list of 0 elements", "1 to 100"],
        ),
        (
            "[\"1 N·m\", \"-20 %\"]",
            "[\"1 N·m\", \"120 %\"]",
            &["levels[2]", "too great", "-100 % to 100 %"],
        ),
        (
            "preload = \"0.5 N·m\"",
            "preload = \"-0.5 N·m\"",
            &["segment[1].preload", "too small"],
        ),
        (
            "repeats = 2",
            "repeats = 0",
            &["segment[1].repeats = 0: too small", "1 to 1000"],
        ),
        (
            "repeats = 2",
            "repeats = 2\ntaper = \"1 s\"",
            &["segment[1].taper", "unknown key"],
        ),
        (
            "to = \"200 Hz\"",
            "to = \"0.5 Hz\"",
            &["segment[2].to", "above 1 Hz"],
        ),
        (
            "duration = \"2 s\"",
            "duration = \"0.5 s\"",
            &["segment[2].duration", "one period", "1 s or more"],
        ),
        (
            "duration = \"2 s\"",
            "duration = \"2 s\"\ntaper = \"1.5 s\"",
            &["segment[2].taper", "at most 1 s"],
        ),
        (
            "name = \"chirps\"",
            "name = \"steps\"",
            &["segment[2].name", "the segment in line 11"],
        ),
        (
            "name = \"chirps\"",
            "name = \"\"",
            &["segment[2].name", "an empty text"],
        ),
    ];
    run(PROCEDURE, rows, |text| {
        Procedure::from_toml("p.toml", text).map(|_| ())
    });
}

#[test]
fn a_procedure_without_segments_says_what_to_add() {
    let text = PROCEDURE.split("[[segment]]").next().unwrap_or_default();
    let findings = Procedure::from_toml("p.toml", text)
        .map(|_| ())
        .err()
        .map(|f| f.to_string());
    assert_eq!(
        findings.as_deref(),
        Some("p.toml:1: segment: missing; add at least one table `[[segment]]`")
    );
}

#[test]
fn procedures_on_a_rig() {
    let rows: &[Row] = &[
        (
            "mounting = \"clamped\"",
            "mounting = \"free\"",
            &[
                "p.toml:4: procedure.mounting = \"free\"",
                "r.toml has its rim clamped",
                "mount the rim free",
            ],
        ),
        (
            "level = \"5 %\"",
            "level = \"11 %\"",
            &["p.toml:7: approach.level", "at most 0.7 N·m, a tenth"],
        ),
        (
            "[\"1 N·m\", \"-20 %\"]",
            "[\"1 N·m\", \"-80 %\"]",
            &[
                "p.toml:14: segment[1].levels[2] = \"-80 %\"",
                "a setpoint of 6.1 N·m, beyond the limit of r.toml",
                "at most 6 N·m",
            ],
        ),
        (
            "preload = \"0.5 N·m\"",
            "preload = \"4.8 N·m\"",
            &[
                "segment[1].levels[2]",
                "preload and step together: a setpoint of 6.2 N·m",
            ],
        ),
        (
            "amplitude = \"1 N·m\"",
            "amplitude = \"5 N·m\"",
            &["segment[2].amplitude", "6.2 N·m, beyond the limit of r.toml"],
        ),
        (
            "to = \"200 Hz\"\nduration = \"2 s\"\namplitude = \"1 N·m\"",
            "to = \"1700 Hz\"\nduration = \"2 s\"\namplitude = \"0.5 N·m\"",
            &[
                "p.toml:24: segment[2].to = \"1700 Hz\"",
                "0.4 of the 4000 Hz",
                "at most 1600 Hz",
            ],
        ),
        (
            "sample_rate = \"4 kHz\"",
            "sample_rate = \"400 Hz\"",
            &["segment[2].to", "at most 160 Hz"],
        ),
        (
            "sample_rate = \"4 kHz\"",
            "sample_rate = \"4 kHz\"\nramp = \"11 N·m/ms\"",
            &[
                "p.toml:6: procedure.ramp",
                "slew limit of r.toml",
                "at most 10 N·m/ms",
            ],
        ),
        (
            "[\"0.5 N·m\", \"0 N·m\", \"-50 %\"]",
            "[\"0.5 N·m\", \"-90 %\"]",
            &[
                "segment[3].levels[2] = \"-90 %\"",
                "the level: a setpoint of 6.3 N·m",
            ],
        ),
    ];
    let rig = Rig::from_toml("r.toml", RIG).unwrap_or_else(|e| panic!("{e}"));
    let plan = |text: &str| Procedure::from_toml("p.toml", text)?.plan(&rig, 1).map(|_| ());
    run(PROCEDURE, rows, plan);
}

/// All findings of the fixtures with some replacements, as text.
fn refusal(rig_changes: &[(&str, &str)], procedure_changes: &[(&str, &str)]) -> String {
    let change = |text: &str, changes: &[(&str, &str)]| {
        changes.iter().fold(text.to_owned(), |text, (from, to)| {
            assert!(text.contains(from), "the fixture has no {from:?}");
            text.replace(from, to)
        })
    };
    let rig = Rig::from_toml("r.toml", &change(RIG, rig_changes)).unwrap_or_else(|e| panic!("{e}"));
    let text = change(PROCEDURE, procedure_changes);
    let procedure = Procedure::from_toml("p.toml", &text).unwrap_or_else(|e| panic!("{e}"));
    procedure
        .plan(&rig, 1)
        .map(|_| ())
        .err()
        .map(|f| f.to_string())
        .unwrap_or_default()
}

#[test]
fn steps_on_a_rig_that_would_limit_their_rate() {
    let text = refusal(&[("slew = \"10 N·m/ms\"", "slew = \"1.5 N·m/ms\"")], &[]);
    assert_eq!(
        text,
        "p.toml:11: segment[1].excitation = \"step\": a step is commanded as a jump, but r.toml limits the setpoint to \
         1.5 N·m/ms, slower than the wheelbase's own 2 N·m/ms: the limit would be measured, not the wheelbase; raise \
         rig.limits.slew to 2 N·m/ms or more, or leave steps out"
    );
}

#[test]
fn steps_that_may_ring_beyond_the_sensor_limit() {
    // From 0.5 N·m, a step of 1.4 N·m may ring to 0.5 + 2 * 1.4 = 3.3 N·m; 3 N·m allow steps of 1.25 N·m.
    let rig = [
        ("torque = \"6 N·m\"", "torque = \"3 N·m\""),
        ("\"15 N·m\"", "\"3 N·m\""),
    ];
    let text = refusal(&rig, &[("-50 %", "-10 %")]);
    assert!(
        text.contains("p.toml:14: segment[1].levels[2] = \"-20 %\": ringing on the clamp"),
        "{text}"
    );
    assert!(
        text.contains("to 3.3 N·m, beyond the rig's limit (allowed: steps of at most 1.25 N·m"),
        "{text}"
    );
    assert_eq!(text.lines().count(), 1, "{text}");
}

#[test]
fn chirps_that_change_too_fast() {
    // 2 pi 200 Hz 1 N·m = 1.257 N·m/ms, and the taper of 100 ms adds pi/0.2 s = 0.016 N·m/ms.
    let rig = [
        ("slew = \"10 N·m/ms\"", "slew = \"1.2 N·m/ms\""),
        ("slew = \"2 N·m/ms\"", "slew = \"1 N·m/ms\""),
    ];
    let text = refusal(&rig, &[]);
    assert!(
        text.contains("segment[2].amplitude = \"1 N·m\": may change by 1.27235 N·m/ms"),
        "{text}"
    );
    assert!(text.contains("an amplitude of at most 0.94"), "{text}");
}

#[test]
fn torque_on_a_free_rim() {
    // On the disc of 0.011 kg·m² alone. Step of 1 N·m from 0.5 N·m: ramps 0.5·0.5²/50 and 0.5·1.5²/50, 50 ms at 0.5 N·m,
    // 100 ms at 1.5 N·m: 0.2 N·m·s. Hold of 0.5 N·m: 0.05 N·m·s and two ramps of 0.0025: 5 rad/s, no finding.
    let text = refusal(
        &[("mounting = \"clamped\"", "mounting = \"free\"")],
        &[("\"clamped\"", "\"free\""), ("-20 %", "-2 %"), ("-50 %", "-28 %")],
    );
    let starts = [
        "p.toml:14: segment[1].levels[1] = \"1 N·m\": a step would spin up a free rim, to as much as 18.1818 rad/s",
        "p.toml:19: segment[2].excitation = \"chirp\": a preload would spin up a free rim",
        "p.toml:26: segment[2].amplitude = \"1 N·m\": a chirp would spin up a free rim, to as much as 28.9373 rad/s",
        "p.toml:33: segment[3].levels[3] = \"-28 %\": a hold would spin up a free rim, to as much as 24.8029 rad/s",
    ];
    let found: Vec<&str> = text.lines().filter(|line| line.contains("spin up")).collect();
    assert_eq!(found.len(), starts.len(), "{text}");
    for (line, start) in found.into_iter().zip(starts) {
        assert!(line.starts_with(start), "{text}");
    }
}

#[test]
fn a_first_torque_that_friction_may_hold_is_allowed_on_a_free_rim_alone() {
    let first = |mounting: &str, level: &str| {
        let word = format!("mounting = \"{mounting}\"");
        let procedure = format!("\"{mounting}\"");
        refusal(
            &[("mounting = \"clamped\"", word.as_str())],
            &[
                ("\"clamped\"", procedure.as_str()),
                ("level = \"5 %\"", level),
                ("300 ms", "100 ms"),
            ],
        )
        .lines()
        .filter(|line| line.contains("approach.level"))
        .collect::<String>()
    };
    // 0.77 N·m for 100 ms on 0.011 kg·m²: 7 rad/s of 10.
    assert_eq!(first("free", "level = \"11 %\""), "");
    assert!(first("back-driven", "level = \"11 %\"").contains("at most 0.7 N·m, a tenth"));
    assert!(first("free", "level = \"26 %\"").contains("at most 1.75 N·m, a quarter"));
    // 1.4 N·m for 100 ms: 12.7 rad/s.
    assert!(
        first("free", "level = \"20 %\"")
            .contains("the first torque would spin up a free rim, to as much as 12.7273 rad/s")
    );
}

/// The procedure with limits of its own.
fn limited(limits: &str) -> String {
    PROCEDURE.replacen("[approach]", &format!("[limits]\n{limits}\n[approach]"), 1)
}

#[test]
fn a_procedure_may_tighten_limits() {
    let rig = Rig::from_toml("r.toml", RIG).unwrap_or_else(|e| panic!("{e}"));
    let text = limited(
        "torque = \"50 %\"\nsensor_torque = \"100 %\"\nrim_speed = \"2 rad/s\"\nrim_window = [\"-1 deg\", \"2 deg\"]\n\
         temperature = \"50 °C\"",
    );
    let procedure = Procedure::from_toml("p.toml", &text).unwrap_or_else(|e| panic!("{e}"));
    let plan = procedure.plan(&rig, 1).unwrap_or_else(|e| panic!("{e}"));
    let limits = plan.limits();
    // Halves and wholes of a peak torque of 7 N·m.
    let found = [
        limits.torque_nm,
        limits.sensor_torque_nm,
        limits.rim_speed_rad_s,
        limits.temperature_degc,
    ];
    for (found, expected) in found.into_iter().zip([3.5, 7.0, 2.0, 50.0]) {
        assert!((found - expected).abs() < 1e-12, "{found}, not {expected}");
    }
    let degrees = limits.rim_window_rad.map(|rad| rad.to_degrees().round() as i64);
    assert_eq!(degrees, [-1, 2]);
    // What it does not say stays the rig's.
    assert_eq!((limits.watchdog_us, limits.supply_v), (20_000, [18.0, 30.0]));
    let none = Procedure::from_toml("p.toml", PROCEDURE).unwrap_or_else(|e| panic!("{e}"));
    assert_eq!(
        none.plan(&rig, 1).unwrap_or_else(|e| panic!("{e}")).limits(),
        &rig.limits
    );
}

#[test]
fn a_procedure_may_not_widen_limits() {
    let rig = Rig::from_toml("r.toml", RIG).unwrap_or_else(|e| panic!("{e}"));
    for (limits, expected) in [
        (
            "torque = \"6.1 N·m\"",
            "p.toml:7: limits.torque = \"6.1 N·m\": the greatest setpoint: wider than r.toml allows it (allowed: at most 6 N·m)",
        ),
        (
            "sensor_torque = \"250 %\"",
            "limits.sensor_torque = \"250 %\": the measured torque: wider than r.toml allows it (allowed: at most 15 N·m)",
        ),
        (
            "rim_speed = \"5.1 rad/s\"",
            "limits.rim_speed = \"5.1 rad/s\": the rim speed: wider than r.toml allows it (allowed: at most 5 rad/s)",
        ),
        (
            "temperature = \"81 °C\"",
            "limits.temperature = \"81 °C\": the temperature: wider than r.toml allows it (allowed: at most 80 °C)",
        ),
        (
            "rim_window = [\"-2 deg\", \"4 deg\"]",
            "the rim window: wider than r.toml allows it (allowed: within -3 to 3 deg)",
        ),
        (
            "rim_window = [\"1 deg\", \"2 deg\"]",
            "does not hold the angle it is counted from",
        ),
        (
            "torque = \"3 N·m\"",
            "segment[3].levels[3] = \"-50 %\": the level: a setpoint of 3.5 N·m, beyond the limit of the procedure's own [limits]",
        ),
    ] {
        let procedure = Procedure::from_toml("p.toml", &limited(limits)).unwrap_or_else(|e| panic!("{e}"));
        let text = procedure
            .plan(&rig, 1)
            .map(|_| ())
            .err()
            .map(|f| f.to_string())
            .unwrap_or_default();
        assert!(text.contains(expected), "{limits}: {text:?}");
        assert_eq!(text.lines().count(), 1, "{text}");
    }
}

#[test]
fn plans_without_bounds() {
    let text = refusal(
        &[],
        &[
            ("repeats = 2", "repeats = 1000"),
            ("rest = \"50 ms\"", "rest = \"500 s\""),
        ],
    );
    assert!(
        text.contains("p.toml:11: segment[1]: with this segment the plan outgrows"),
        "{text}"
    );
    assert!(text.contains("240 min 0 s"), "{text}");
}
