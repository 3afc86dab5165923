//! Multisines, pulses, pseudo-random signals, reversals and staircases with one mistake each: read, and held against a rig.

#![allow(clippy::panic)] // the helpers of a test may fail it

use crate::common::signals::{plan, rig, text};
use crate::common::{RIG, Row, run};
use bench_core::procedure::Procedure;
use bench_core::rig::Rig;

const MULTISINE: &str = "excitation = \"multisine\"\nlines = \"odd-random\"\nfrom = \"1 Hz\"\nto = \"300 Hz\"\ngroup = 3\n\
     period = \"500 ms\"\namplitude = \"0.5 N·m\"\npreload = \"1.2 N·m\"\nrealisations = 2\nperiods = 3\ntransient = 1\n\
     taper = \"50 ms\"\n";
const LISTED: &str = "excitation = \"multisine\"\nlines = \"listed\"\nfrequencies = [\"2 Hz\", \"10 Hz\"]\nperiod = \"500 ms\"\n\
     amplitude = \"0.5 N·m\"\nrealisations = 2\nperiods = 3\n";
const SPACED: &str = "excitation = \"multisine\"\nlines = \"spaced\"\nfrom = \"1 Hz\"\nto = \"300 Hz\"\nspacing = \"4 Hz\"\n\
     period = \"500 ms\"\namplitude = \"0.5 N·m\"\nrealisations = 2\nperiods = 3\n";
const PULSES: &str = "excitation = \"half-sine\"\nwidths = [\"4 ms\", \"20 ms\"]\nlevels = [\"1 N·m\", \"-20 %\"]\npreload = \"0.5 N·m\"\n\
     count = 3\nspacing = \"50 ms\"\nalternate = true\nrepeats = 2\n";
const BINARY: &str = "excitation = \"pseudo-random\"\norder = 7\nclock = \"2 ms\"\namplitude = \"0.5 N·m\"\npreload = \"1 N·m\"\n\
     periods = 3\ntransient = 1\nrepeats = 2\n";

const LOOPS: &str = "excitation = \"reversal\"\nperiod = \"4 s\"\namplitude = \"2 N·m\"\npreload = \"0.5 N·m\"\nperiods = 3\n\
     transient = 1\nrepeats = 2\n";

const STAIRS: &str =
    "excitation = \"staircase\"\nto = \"2 N·m\"\nsteps = 8\ndwell = \"400 ms\"\nrepeats = 2\n";

/// Reads and plans each text with one change.
fn rows(segment: &str, rows: &[Row]) {
    let rig = rig();
    run(&text(segment), rows, |text| {
        Procedure::from_toml("p.toml", text)?.plan(&rig, 1).map(|_| ())
    });
}

#[test]
fn multisines() {
    rows(
        MULTISINE,
        &[
            (
                "\"odd-random\"",
                "\"even\"",
                &[
                    "segment[1].lines",
                    "\"spaced\", \"odd\", \"odd-random\", \"listed\"",
                ],
            ),
            (
                "group = 3",
                "group = 1",
                &["segment[1].group = 1: too small", "2 to 10"],
            ),
            (
                "group = 3",
                "spacing = \"2 Hz\"",
                &["segment[1].spacing", "unknown key"],
            ),
            (
                "to = \"300 Hz\"",
                "to = \"0.5 Hz\"",
                &["segment[1].to", "below the lowest", "1 Hz or more"],
            ),
            (
                "to = \"300 Hz\"",
                "to = \"1.9 Hz\"",
                &[
                    "segment[1].to",
                    "no line",
                    "an odd multiple of 2 Hz",
                    "lengthen `period`",
                ],
            ),
            (
                "to = \"300 Hz\"",
                "to = \"1700 Hz\"",
                &[
                    "segment[1].to = \"1700 Hz\"",
                    "0.4 of the 4000 Hz",
                    "at most 1600 Hz",
                ],
            ),
            (
                "period = \"500 ms\"",
                "period = \"500.1 ms\"",
                &[
                    "segment[1].period = \"500.1 ms\": the period is no whole number of setpoint periods (0.25 ms)",
                    "multiples of 0.25 ms, the nearest is 500 ms",
                    "write \"500 ms\"",
                ],
            ),
            (
                "period = \"500 ms\"",
                "period = \"61 s\"",
                &["segment[1].period", "too great", "above 0.01 s to 60 s"],
            ),
            (
                "realisations = 2",
                "realisations = 0",
                &["segment[1].realisations = 0: too small", "1 to 50"],
            ),
            (
                "realisations = 2",
                "realisations = 2\nrepeats = 2",
                &["segment[1].repeats", "unknown key"],
            ),
            (
                "realisations = 2",
                "realisations = 2\nphases = \"schroeder\"",
                &["segment[1].realisations", "the same in all", "write 1"],
            ),
            (
                "realisations = 2",
                "realisations = 2\nphases = \"flat\"",
                &["segment[1].phases", "\"optimised\", \"random\", \"schroeder\""],
            ),
            (
                "transient = 1",
                "transient = 3",
                &["segment[1].transient = 3: no period is left", "at most 2"],
            ),
            (
                "periods = 3\ntransient = 1",
                "periods = 0",
                &["segment[1].periods = 0: too small"],
            ),
            (
                "taper = \"50 ms\"",
                "taper = \"1 s\"",
                &["segment[1].taper", "longer than the period", "at most 0.5 s"],
            ),
            (
                "amplitude = \"0.5 N·m\"",
                "amplitude = \"5 N·m\"",
                &[
                    "segment[1].amplitude",
                    "a setpoint of 6.2 N·m, beyond the limit of r.toml",
                    "at most 6 N·m",
                ],
            ),
            (
                "amplitude = \"0.5 N·m\"",
                "amplitude = \"0 N·m\"",
                &["segment[1].amplitude", "too small"],
            ),
        ],
    );
    rows(
        LISTED,
        &[
            (
                "\"10 Hz\"",
                "\"10.3 Hz\"",
                &[
                    "segment[1].frequencies[2]",
                    "no multiple of 2 Hz",
                    "the nearest is 10 Hz",
                    "write \"10 Hz\"",
                ],
            ),
            (
                "\"10 Hz\"",
                "\"2 Hz\"",
                &["segment[1].frequencies[2]", "listed twice"],
            ),
            (
                "[\"2 Hz\", \"10 Hz\"]",
                "[]",
                &["segment[1].frequencies", "a list of 0 elements"],
            ),
        ],
    );
    rows(
        SPACED,
        &[
            (
                "\"4 Hz\"",
                "\"5 Hz\"",
                &["segment[1].spacing", "no multiple of 2 Hz", "the nearest is 6 Hz"],
            ),
            (
                "to = \"300 Hz\"",
                "to = \"3 Hz\"",
                &["segment[1].to", "no line", "a multiple of 4 Hz"],
            ),
        ],
    );
}

#[test]
fn pulses() {
    rows(
        PULSES,
        &[
            (
                "\"20 ms\"]",
                "\"1 ms\"]",
                &["segment[1].widths[2]", "too small", "2 ms to 1000 ms"],
            ),
            (
                "[\"4 ms\", \"20 ms\"]",
                "[]",
                &["segment[1].widths", "a list of 0 elements"],
            ),
            (
                "\"-20 %\"",
                "\"0 %\"",
                &["segment[1].levels[2]", "no torque at all"],
            ),
            (
                "spacing = \"50 ms\"",
                "spacing = \"10 ms\"",
                &["segment[1].spacing", "would run into the next", "20 ms or more"],
            ),
            ("spacing = \"50 ms\"\n", "", &["segment[1].spacing: missing"]),
            (
                "preload = \"0.5 N·m\"",
                "preload = \"-1 N·m\"",
                &["segment[1].preload", "too small"],
            ),
            (
                "\"-20 %\"",
                "\"-80 %\"",
                &[
                    "segment[1].levels[2] = \"-80 %\": preload and pulse together",
                    "6.1 N·m, beyond the limit of r.toml",
                ],
            ),
        ],
    );
    // One pulse has no spacing.
    rows(
        &PULSES.replace("count = 3\nspacing = \"50 ms\"\nalternate = true\n", ""),
        &[(
            "repeats = 2",
            "repeats = 2\nspacing = \"50 ms\"",
            &["segment[1].spacing", "unknown key"],
        )],
    );
}

#[test]
fn pseudo_random_signals() {
    rows(
        BINARY,
        &[
            (
                "order = 7",
                "order = 2",
                &["segment[1].order = 2: too small", "3 to 16"],
            ),
            ("order = 7", "order = 17", &["segment[1].order = 17: too great"]),
            (
                "clock = \"2 ms\"",
                "clock = \"2.1 ms\"",
                &[
                    "segment[1].clock = \"2.1 ms\": the time of a bit is no whole number",
                    "the nearest is 2 ms",
                    "write \"2 ms\"",
                ],
            ),
            (
                "transient = 1",
                "transient = 5",
                &["segment[1].transient = 5: no period is left"],
            ),
            (
                "amplitude = \"0.5 N·m\"",
                "amplitude = \"5.5 N·m\"",
                &["segment[1].amplitude", "a setpoint of 6.5 N·m", "at most 6 N·m"],
            ),
        ],
    );
}

#[test]
fn reversals() {
    rows(
        LOOPS,
        &[
            (
                "period = \"4 s\"",
                "period = \"50 ms\"",
                &["segment[1].period = \"50 ms\": too small", "100 ms to 600000 ms"],
            ),
            (
                "period = \"4 s\"",
                "period = \"400.1 ms\"",
                &["the time of a loop is no whole number", "the nearest is 400 ms"],
            ),
            (
                "transient = 1",
                "transient = 3",
                &["segment[1].transient = 3: no period is left"],
            ),
            (
                "amplitude = \"2 N·m\"",
                "amplitude = \"5.6 N·m\"",
                &["segment[1].amplitude", "a setpoint of 6.1 N·m", "at most 6 N·m"],
            ),
            (
                "amplitude = \"2 N·m\"",
                "amplitude = \"0 N·m\"",
                &["segment[1].amplitude = \"0 N·m\": too small"],
            ),
        ],
    );
    // By hand: half a loop of 2 N·m in 4 s pushes 2 N·m·s one way, against 10 rad/s of 0.011 kg·m² and the like.
    let spun = refusal(
        &[("mounting = \"clamped\"", "mounting = \"free\"")],
        &LOOPS.replace("preload = \"0.5 N·m\"\n", ""),
    );
    assert!(spun.contains("half a loop would spin up a free rim"), "{spun}");
    let held = refusal(&[("mounting = \"clamped\"", "mounting = \"free\"")], LOOPS);
    assert!(held.contains("a preload would spin up a free rim"), "{held}");
}

#[test]
fn staircases() {
    rows(
        STAIRS,
        &[
            (
                "steps = 8",
                "steps = 1",
                &["segment[1].steps = 1: too small", "2 to 100"],
            ),
            (
                "dwell = \"400 ms\"",
                "dwell = \"20 ms\"",
                &["segment[1].dwell = \"20 ms\": too small", "50 ms to 60000 ms"],
            ),
            (
                "to = \"2 N·m\"",
                "to = \"-2 N·m\"",
                &["segment[1].to = \"-2 N·m\": too small"],
            ),
            (
                "to = \"2 N·m\"",
                "to = \"6.1 N·m\"",
                &["segment[1].to", "a setpoint of 6.1 N·m", "at most 6 N·m"],
            ),
        ],
    );
    let held = refusal(&[("mounting = \"clamped\"", "mounting = \"free\"")], STAIRS);
    assert!(held.contains("a staircase would spin up a free rim"), "{held}");
}

/// By hand: 1 N·m in two steps a branch, up, down through zero, and back to it; held 400 ms each behind a ramp.
#[test]
fn a_staircase_goes_both_ways() {
    let text = STAIRS.replace("2 N·m", "1 N·m").replace("steps = 8", "steps = 2");
    let plan = plan(&text, 1);
    let windows = plan.windows();
    let first: Vec<(f64, f64)> = windows.iter().take(8).map(|w| (w.from_nm, w.to_nm)).collect();
    let way = [0.0, 0.5, 1.0, 0.5, 0.0, -0.5, -1.0, -0.5, 0.0];
    let due: Vec<(f64, f64)> = way.windows(2).map(|w| (w[0], w[1])).collect();
    assert_eq!(first, due);
    assert_eq!(windows.len(), 16);
    assert!(windows.iter().all(|w| w.end_us - w.start_us == 400_000));
    assert!(windows[..8].iter().all(|w| w.transient) && windows[8..].iter().all(|w| !w.transient));
}

/// All findings on a changed rig, as text.
fn refusal(rig_changes: &[(&str, &str)], segment: &str) -> String {
    let rig = rig_changes.iter().fold(RIG.to_owned(), |rig, (from, to)| {
        assert!(rig.contains(from), "the fixture has no {from:?}");
        rig.replace(from, to)
    });
    let mounting = if rig.contains("mounting = \"free\"") {
        "free"
    } else {
        "clamped"
    };
    let rig = Rig::from_toml("r.toml", &rig).unwrap_or_else(|e| panic!("{e}"));
    let text = text(segment).replace("\"clamped\"", &format!("\"{mounting}\""));
    let planned = Procedure::from_toml("p.toml", &text).and_then(|p| p.plan(&rig, 1));
    planned
        .map(|_| ())
        .err()
        .map(|f| f.to_string())
        .unwrap_or_default()
}

#[test]
fn a_period_fits_the_samples_too() {
    let slow = text(MULTISINE)
        .replace("4 kHz", "1250 Hz")
        .replace("300 Hz", "200 Hz");
    let planned = Procedure::from_toml("p.toml", &slow).and_then(|p| p.plan(&rig(), 1));
    // Samples of 0.8 ms and setpoints of 0.25 ms are both whole in 4 ms; 500 ms is such a time.
    assert!(planned.is_ok());
    let text = slow.replace("period = \"500 ms\"", "period = \"502.5 ms\"");
    let findings = Procedure::from_toml("p.toml", &text).and_then(|p| p.plan(&rig(), 1));
    let findings = findings
        .map(|_| ())
        .err()
        .map(|f| f.to_string())
        .unwrap_or_default();
    assert!(
        findings.contains("sample periods (0.8 ms) (allowed: multiples of 4 ms, the nearest is 504 ms"),
        "{findings}"
    );
}

#[test]
fn signals_that_change_too_fast() {
    let slow = [
        ("slew = \"10 N·m/ms\"", "slew = \"0.5 N·m/ms\""),
        ("slew = \"2 N·m/ms\"", "slew = \"0.4 N·m/ms\""),
    ];
    let found = refusal(&slow, MULTISINE);
    assert!(
        found.contains("segment[1].amplitude = \"0.5 N·m\": may change by"),
        "{found}"
    );
    assert!(
        found.contains("beyond the slew limit of r.toml (allowed: an amplitude of at most"),
        "{found}"
    );
    // pi 1.4 N·m/4 ms = 1.0996 N·m/ms; at 0.5 N·m/ms it takes 8.79646 ms.
    let found = refusal(&slow, PULSES);
    assert!(
        found.contains(
            "segment[1].widths[1] = \"4 ms\": the highest pulse would change by up to 1.09956 N·m/ms"
        ),
        "{found}"
    );
    assert!(
        found.contains("allowed: 8.79646 ms or more at this level"),
        "{found}"
    );
    assert_eq!(found.lines().count(), 1, "{found}");
    // Edges are jumps, as steps are.
    let found = refusal(&[("slew = \"10 N·m/ms\"", "slew = \"1.5 N·m/ms\"")], BINARY);
    assert!(
        found.contains("a pseudo-random signal is commanded as a jump, but r.toml limits the setpoint"),
        "{found}"
    );
}

#[test]
fn signals_that_may_ring_beyond_the_sensor_limit() {
    let low = [
        ("torque = \"6 N·m\"", "torque = \"2.8 N·m\""),
        ("\"15 N·m\"", "\"2.8 N·m\""),
    ];
    // 0.5 + 1.77 · 1.4 = 2.978 N·m; 2.8 N·m allow 1.29944 N·m.
    let found = refusal(&low, PULSES);
    assert!(found.contains("segment[1].levels[2] = \"-20 %\": ringing on the clamp can bring the measured torque to 2.978 N·m"), "{found}");
    assert!(
        found.contains("pulses of at most 1.29944 N·m on this preload"),
        "{found}"
    );
    // An edge of 2 · 0.7 from 1 - 0.7 N·m rings to 0.3 + 2 · 1.4 = 3.1 N·m; (2.8 - 1)/3 = 0.6 N·m is allowed.
    let found = refusal(&low, &BINARY.replace("\"0.5 N·m\"", "\"0.7 N·m\""));
    assert!(
        found.contains("to 3.1 N·m, beyond the rig's limit (allowed: at most 0.6 N·m on this preload"),
        "{found}"
    );
}

#[test]
fn signals_on_a_free_rim() {
    let free = [("mounting = \"clamped\"", "mounting = \"free\"")];
    for segment in [MULTISINE, BINARY] {
        let found = refusal(&free, segment);
        assert!(found.contains("segment[1].excitation"), "{found}");
        assert!(found.contains("a preload would spin up a free rim"), "{found}");
    }
    // 1 Hz and 2 N·m: half a period of a sine pushes 2·2/(2π) = 0.64 N·m·s, on 0.011 kg·m² 58 rad/s.
    let slow = "excitation = \"multisine\"\nlines = \"listed\"\nfrequencies = [\"1 Hz\"]\nperiod = \"1 s\"\namplitude = \"2 N·m\"\n\
         realisations = 2\nperiods = 3\n";
    let found = refusal(&free, slow);
    assert!(
        found.contains(
            "segment[1].amplitude = \"2 N·m\": a multisine would spin up a free rim, to as much as 57.8"
        ),
        "{found}"
    );
    // Three pulses of 2·20 ms/π at 1.4 N·m and a preload of 0.5 N·m meanwhile.
    assert!(
        refusal(&free, PULSES).contains("a pulse would spin up a free rim"),
        "{}",
        refusal(&free, PULSES)
    );
}

#[test]
fn too_few_to_tell_noise_from_distortion_is_noted() {
    let few = MULTISINE
        .replace("realisations = 2", "realisations = 1")
        .replace("periods = 3", "periods = 2");
    let notes = plan(&few, 1).notes().join("\n");
    assert!(
        notes.contains("with fewer than two periods that count"),
        "{notes}"
    );
    assert!(notes.contains("with one realisation"), "{notes}");
    let notes = plan(MULTISINE, 1).notes().join("\n");
    assert!(!notes.contains("cannot be told"), "{notes}");
    assert!(
        notes.contains("s: 50 lines from") && notes.contains("crest factor at most 1."),
        "{notes}"
    );
}
