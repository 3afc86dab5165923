//! What a driver gets, in whole runs on the virtual rigs: pulses, small steps and sines rank the units as their parameters imply; a
//! deadband comes back and a correction takes it out; warming has the constants of the rig file; a cut-off trace says so.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers of a test may fail it

use std::path::Path;

use acceptance::campaign::units::Unit;
use acceptance::recovery::{Scene, cold_sines, root, truths};
use acceptance::safety::program::{Ended, run};
use bench_core::run::{End, Permit};
use truerim::drive::StopFlag;
use truerim::fitting::{FitDocument, FitOptions, Quantity, fit_recording};
use truerim::recording::Recording;
use truerim::report::write_fit;
use truerim::session::{self, Bench, SettingsText};

const HEAD: &str = "[procedure]\nname = \"p\"\npurpose = \"test\"\nmounting = \"clamped\"\nramp = \"0.05 N·m/ms\"\n\
     zero = \"300 ms\"\nsample_rate = ";
const APPROACH: &str =
    "\n[approach]\nlevel = \"5 %\"\nhold = \"300 ms\"\nrest = \"400 ms\"\ngain = [\"40 %\", \"160 %\"]\n";

/// A rig file and a procedure in a folder, run in lock-step and fitted.
fn fitted(folder: &Path, rig: &str, procedure: &str) -> FitDocument {
    let (rig_file, procedure_file) = (folder.join("rig.toml"), folder.join("procedure.toml"));
    std::fs::write(&rig_file, rig).unwrap();
    std::fs::write(&procedure_file, procedure).unwrap();
    let bench = Bench::open(&rig_file, None, None, 3, "test".to_owned()).unwrap_or_else(|e| panic!("{e}"));
    let procedure = SettingsText::read(&procedure_file).unwrap();
    let plan = session::plan_for(&procedure, &bench.rig, 3).unwrap_or_else(|e| panic!("{e}"));
    let path = folder.join("recording.h5");
    let (permit, stop) = (Permit::granted("test"), StopFlag::new());
    let session = session::record(&bench, &procedure, plan, permit, &path, &stop, &mut |_| {}).unwrap();
    assert_eq!(session.outcome.end, End::Completed);
    let recording = Recording::open(&path).unwrap();
    // A correction and a trace are in the recording, and the plan is made again from it.
    assert!(session::plan_of(&recording).is_ok());
    let options = FitOptions {
        rational: None,
        ..FitOptions::default()
    };
    let document = fit_recording(&recording, &options).unwrap();
    drop(recording);
    std::fs::remove_file(path).unwrap();
    document
}

/// The value of a group that begins so; of the headline for an empty name.
fn value(document: &FitDocument, quantity: Quantity, group: &str) -> f64 {
    let mut all = document.measurands.iter();
    let found = all
        .find(|m| m.quantity == quantity && m.group.starts_with(group) && (m.headline || !group.is_empty()));
    let found = found.unwrap_or_else(|| panic!("{quantity:?}, {group}"));
    found
        .estimate()
        .unwrap_or_else(|| panic!("{quantity:?}: {:?}", found.result))
        .value
}

/// Each measure of each unit is near the independent integration of its parameters, and so is the order of the units.
#[test]
fn the_units_rank_as_their_parameters_imply() {
    let procedure = format!(
        "{HEAD}\"4 kHz\"{APPROACH}
[[segment]]
name = \"pulses\"
excitation = \"half-sine\"
widths = [\"15 ms\", \"60 ms\"]
levels = [\"15 %\"]
preload = \"20 %\"
repeats = 8
rest = \"60 ms\"
settle = \"150 ms\"
dither = \"2 ms\"
[[segment]]
name = \"small steps\"
excitation = \"increment\"
preloads = [\"50 %\"]
sizes = [\"0.5 %\", \"2 %\"]
hold = \"200 ms\"
repeats = 4
rest = \"200 ms\"
settle = \"100 ms\"
[[segment]]
name = \"small sine\"
excitation = \"sine\"
amplitudes = [\"2 %\"]
frequency = \"5 Hz\"
periods = 5
preload = \"50 %\"
repeats = 2
rest = \"100 ms\"
settle = \"300 ms\"
"
    );
    // Measure, group, known values in a scene's rows, how near (of 1): the integration begins each pulse from rest without a
    // history, and what friction keeps of the pulses before is up to a twentieth of a crest on gears; the unit is cold, as its small sines
    // are known for.
    let asked = [
        (Quantity::ShockRetention, "shock", "60 ms", 0.06),
        (Quantity::ShockDelay, "shock", "15 ms", 0.04),
        (Quantity::IncrementDown, "resolution", "on ", 0.06),
        (Quantity::SineGain, "cold", "sine", 0.02),
    ];
    let mut measured = vec![Vec::new(); asked.len()];
    let mut known = measured.clone();
    for unit in [Unit::Geared, Unit::Belt, Unit::Direct] {
        let folder = tempfile::tempdir().unwrap();
        let document = fitted(folder.path(), unit.text(), &procedure);
        for (k, (quantity, scene, group, near)) in asked.into_iter().enumerate() {
            let found = value(&document, quantity, group);
            let own = document
                .measurands
                .iter()
                .find(|m| m.quantity == quantity && m.group.starts_with(group))
                .map(|m| m.group.clone());
            let truths = match scene {
                "cold" => cold_sines(unit).unwrap(),
                _ => truths(&Scene::by(unit, scene).unwrap()).unwrap(),
            };
            let truth = truths
                .iter()
                .find(|t| t.quantity == quantity && Some(&t.group) == own.as_ref())
                .unwrap_or_else(|| panic!("{quantity:?}: no known value of {own:?}"));
            assert!(
                (found / truth.value - 1.0).abs() < near,
                "{} {quantity:?}: {found}, known {}",
                unit.word(),
                truth.value
            );
            measured[k].push(found);
            known[k].push(truth.value);
        }
    }
    let order = |list: &[f64]| {
        let mut places: Vec<usize> = (0..list.len()).collect();
        places.sort_by(|a, b| list[*a].total_cmp(&list[*b]));
        places
    };
    for ((quantity, ..), (found, truth)) in asked.iter().zip(measured.iter().zip(&known)) {
        assert_eq!(order(found), order(truth), "{quantity:?}: {found:?} {truth:?}");
    }
}

/// A firmware with a deadband of 60 mN·m and a gain of 0.92: both come back, the deadband within 0.2 % of full scale; then the
/// correction made of that map by the program is played, and torque is what was wanted.
#[test]
fn a_deadband_comes_back_and_a_correction_takes_it_out() {
    let folder = tempfile::tempdir().unwrap();
    let rig = Unit::Belt
        .text()
        .replacen("# deadband = \"0 mN·m\" ", "deadband = \"60 mN·m\" ", 1)
        .replacen("gain = \"1 1\" ", "gain = \"0.92 1\" ", 1);
    assert!(rig.contains("\ndeadband = \"60 mN·m\"") && rig.contains("\ngain = \"0.92 1\""));
    let stairs = |more: &str| {
        format!(
            "{HEAD}\"2 kHz\"{APPROACH}[[segment]]\nname = \"up and down\"\nexcitation = \"staircase\"\nsteps = 20\n\
             dwell = \"160 ms\"\nrepeats = 4\nrest = \"300 ms\"\n{more}\n"
        )
    };
    let first = fitted(folder.path(), &rig, &stairs("to = \"60 %\""));
    let of = |document: &FitDocument, quantity| value(document, quantity, "");
    let deadband = of(&first, Quantity::Deadband);
    assert!((deadband - 0.060).abs() < 0.002 * 7.0, "{deadband}");
    let gain = of(&first, Quantity::StaticGain);
    assert!((gain - 0.92).abs() < 0.01, "{gain}");
    let fit = folder.path().join("fit.json");
    write_fit(&fit, &first).unwrap();
    let curve = folder.path().join("curve.csv");
    let (fit, out) = (fit.to_str().unwrap(), curve.to_str().unwrap());
    let made = run(["correct", fit, "--out", out]);
    assert_eq!(made.code, Some(0), "{}", made.err);
    assert!(made.out.contains("commands for -3."), "{}", made.out);
    let second = fitted(
        folder.path(),
        &rig,
        &stairs("to = \"50 %\"\ncorrection = \"curve.csv\""),
    );
    for (quantity, better) in [
        (Quantity::Deadband, 0.1),
        (Quantity::StaticOffset, 0.2),
        (Quantity::LinearityTerminal, 0.5),
    ] {
        let (before, behind) = (of(&first, quantity).abs(), of(&second, quantity).abs());
        assert!(behind < better * before, "{quantity:?}: {before} {behind}");
    }
    assert!((of(&second, Quantity::StaticGain) - 1.0).abs() < 0.01);
    let file = second.recording.files.iter().any(|name| name == "curve.csv");
    assert!(file, "{:?}", second.recording.files);
    // What cannot be made is said, not written.
    let none = folder.path().join("none.csv");
    let refused = |args: &[&str], words: &str, code: i32| {
        let Ended { code: found, err, .. } = run(args.iter().copied());
        assert!(
            found == Some(code) && err.contains(words),
            "{args:?}: {found:?} {err}"
        );
        assert!(!none.exists());
    };
    let none_text = none.to_str().unwrap();
    refused(
        &["correct", fit, "--out", none_text, "--rows", "1"],
        "--rows 1: 2 to",
        2,
    );
    let mut bare = first;
    bare.curves.static_map = None;
    write_fit(Path::new(fit), &bare).unwrap();
    refused(&["correct", fit, "--out", none_text], "holds no static map", 2);
}

/// A motor of little heat capacity, so that two minutes suffice: constants within 5 % of the roots of both heat balances,
/// λ² + (a + b + c) λ + a c = 0, from the rig file's figures; and what is held for good from both resistances.
#[test]
fn warming_has_the_constants_of_the_rig_file() {
    let folder = tempfile::tempdir().unwrap();
    let rig = Unit::Belt
        .text()
        .replacen("winding = \"80 J/K\"", "winding = \"4 J/K\"", 1)
        .replacen("case = \"600 J/K\"", "case = \"25 J/K\"", 1);
    let procedure = format!(
        "{HEAD}\"100 Hz\"{}[[segment]]\nname = \"held\"\nexcitation = \"hold\"\nlevels = [\"20 %\", \"-20 %\"]\n\
         hold = \"10 s\"\nrepeats = 6\nrest = \"50 ms\"\n[[segment]]\nname = \"cooling\"\nexcitation = \"hold\"\n\
         levels = [\"0 %\"]\nhold = \"35 s\"\nrepeats = 1\nrest = \"50 ms\"\n",
        APPROACH.replace("hold = \"300 ms\"", "hold = \"600 ms\"")
    );
    let document = fitted(folder.path(), &rig, &procedure);
    let (a, b, c) = (1.0 / (0.8 * 4.0), 1.0 / (0.8 * 25.0), 1.0 / (1.4 * 25.0));
    let sum: f64 = a + b + c;
    let root = (sum * sum - 4.0 * a * c).sqrt();
    for (quantity, truth) in [
        (Quantity::HeatFast, 2.0 / (sum + root)),
        (Quantity::HeatSlow, 2.0 / (sum - root)),
        // 50 K over 2.2 K/W in 0.8 ohm (1 + 0.00393 (72 − 20)), times 0.09 · 9 · 0.92 N·m/A.
        (
            Quantity::SustainedTorque,
            (50.0 / 2.2 / (0.8_f64 * (1.0 + 0.00393 * 52.0))).sqrt() * 0.09 * 9.0 * 0.92,
        ),
    ] {
        let found = value(&document, quantity, "");
        assert!(
            (found / truth - 1.0).abs() < 0.05,
            "{quantity:?}: {found} {truth}"
        );
    }
    // No loss of flux in this unit, and no derating.
    assert!((value(&document, Quantity::TorqueHeld, "") - 1.0).abs() < 0.02);
    let onset = document.headline(Quantity::DeratingOnset).unwrap();
    assert_eq!(onset.result.refused().unwrap().code, "not_covered");
}

/// The same motor with a firmware that asks for less from 50 °C on, from all of the peak of 7 N·m to 40 % at 70 °C: at 5.25 N·m held it gives
/// way where the allowed peak falls below that, a quarter of the peak down: 50 °C + 20 K · 0.25/0.6 = 58.3 °C.
#[test]
fn derating_is_seen_where_the_firmware_begins_to_give_way() {
    let folder = tempfile::tempdir().unwrap();
    let derating =
        "[virtual.derating]\nspan = [\"50 °C\", \"70 °C\"]\nleft = \"40 %\"\n[virtual.sensors.torque]";
    let rig = Unit::Belt
        .text()
        .replacen("winding = \"80 J/K\"", "winding = \"20 J/K\"", 1)
        .replacen("case = \"600 J/K\"", "case = \"60 J/K\"", 1)
        .replacen("[virtual.sensors.torque]", derating, 1)
        .replacen(
            "sustained_torque = \"4.4 N·m\"",
            "sustained_torque = \"6 N·m\"",
            1,
        );
    let procedure = format!(
        "{HEAD}\"100 Hz\"{}[[segment]]\nname = \"held\"\nexcitation = \"hold\"\nlevels = [\"75 %\", \"-75 %\"]\n\
         hold = \"15 s\"\nrepeats = 5\nrest = \"50 ms\"\n",
        APPROACH.replace("hold = \"300 ms\"", "hold = \"600 ms\"")
    );
    let document = fitted(folder.path(), &rig, &procedure);
    let onset = document.headline(Quantity::DeratingOnset).unwrap();
    let onset = onset.estimate().unwrap_or_else(|| panic!("{onset:?}"));
    let truth = 50.0 + 20.0 * 0.25 / 0.6;
    println!("{} ± {}, {truth}", onset.value, onset.std_uncertainty);
    assert!(
        (onset.interval[0]..=onset.interval[1]).contains(&truth) && (onset.value - truth).abs() < 1.0,
        "{onset:?}"
    );
    let held = value(&document, Quantity::TorqueHeld, "");
    assert!(held < 0.95, "{held}");
}

/// A unit that allows half of its peak, 3.5 N·m, cuts a corner of 4.2 N·m: the share of its time above that, by the file's rows.
#[test]
fn a_trace_that_is_cut_off_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let traces = root().join("procedures/traces");
    let text = std::fs::read_to_string(traces.join("corner.csv")).unwrap();
    std::fs::write(folder.path().join("corner.csv"), &text).unwrap();
    let rows: Vec<f64> = text
        .lines()
        .filter(|line| !line.starts_with('#'))
        .skip(1)
        .map(|line| line.split(',').nth(1).unwrap().parse().unwrap())
        .collect();
    let greatest = rows.iter().fold(0.0_f64, |most, nm| most.max(nm.abs()));
    let above = rows.iter().filter(|nm| 4.2 * nm.abs() / greatest > 3.5).count();
    let truth = above as f64 / rows.len() as f64;
    assert!(truth > 0.05, "{truth}");
    let hot = "[virtual.derating]\nspan = [\"30 °C\", \"40 °C\"]\nleft = \"50 %\"\n[virtual.sensors.torque]";
    let rig = Unit::Belt
        .text()
        .replacen("ambient = \"22 °C\"", "ambient = \"45 °C\"", 1)
        .replacen("[virtual.sensors.torque]", hot, 1);
    let procedure = format!(
        "{HEAD}\"2 kHz\"{APPROACH}[[segment]]\nname = \"corner\"\nexcitation = \"trace\"\nfile = \"corner.csv\"\n\
         peak = \"60 %\"\nrepeats = 2\nrest = \"300 ms\"\n"
    );
    let document = fitted(folder.path(), &rig, &procedure);
    let share = value(&document, Quantity::TraceClipped, "");
    assert!((share - truth).abs() < 0.03, "{share} {truth}");
    let contrast = document.headline(Quantity::LimitContrast).unwrap();
    let warned = contrast.estimate().is_some_and(|e| !e.all_checks_passed());
    assert!(warned, "{contrast:?}");
}

/// `truerim trace` writes what a procedure can play, and says what it cannot make.
#[test]
fn traces_are_computed_by_the_program() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path().join("kerb.csv");
    let out = out.to_str().unwrap();
    let made = run([
        "trace",
        "--manoeuvre",
        "kerb-strike",
        "--speed",
        "60",
        "--peak-torque",
        "4",
        "--out",
        out,
    ]);
    assert_eq!(made.code, Some(0), "{}", made.err);
    let text = std::fs::read_to_string(out).unwrap();
    let torque: Vec<f64> = text
        .lines()
        .filter(|line| !line.starts_with('#'))
        .skip(1)
        .map(|line| line.split(',').nth(1).unwrap().parse().unwrap())
        .collect();
    let greatest = torque.iter().fold(0.0_f64, |most, nm| most.max(nm.abs()));
    assert!(
        (greatest - 4.0).abs() < 1e-4 && text.contains("# Kerb: 8 round teeth"),
        "{greatest}"
    );
    for (more, words) in [
        (["--road", "J"], "a letter from A to H"),
        (["--peak-torque", "0"], "--peak-torque 0: above 0"),
    ] {
        let args = ["trace", "--manoeuvre", "straight", "--speed", "60", "--out", out];
        let refused = run(args.into_iter().chain(more));
        assert!(
            refused.code == Some(2) && refused.err.contains(words),
            "{more:?}: {}",
            refused.err
        );
    }
    // A smooth straight road has no torque to bring to a peak.
    let still = run([
        "trace",
        "--manoeuvre",
        "straight",
        "--speed",
        "60",
        "--peak-torque",
        "4",
        "--out",
        out,
    ]);
    assert!(
        still.code == Some(2) && still.err.contains("no torque"),
        "{}",
        still.err
    );
    // Bad files are refused in their line, before anything moves.
    let procedure = format!(
        "{HEAD}\"2 kHz\"{APPROACH}[[segment]]\nname = \"t\"\nexcitation = \"trace\"\nfile = \"bad.csv\"\nrepeats = 2\n\
         rest = \"300 ms\"\n"
    );
    std::fs::write(folder.path().join("p.toml"), procedure).unwrap();
    let good: String = (0..40)
        .map(|i| format!("{},{}\n", 0.01 * f64::from(i), 0.1))
        .collect();
    let rig = root().join("rigs/belt.toml");
    for (bad, words) in [
        (good.clone(), "has no column \"rim_torque\""),
        (
            format!("time,rim_torque\n{}", good.replace("0.2,0.1", "0.2,x")),
            "bad.csv:22",
        ),
        (
            format!("time,rim_torque\n{}", good.replace("0.2,0.1", "0.19,0.1")),
            "after the row before",
        ),
        ("time,rim_torque\n0,1\n0.01,1\n0.02,1\n".to_owned(), "16 or more"),
        (String::new(), "holds no rows"),
    ] {
        std::fs::write(folder.path().join("bad.csv"), bad).unwrap();
        let procedure = folder.path().join("p.toml");
        let args = [
            "check",
            "--signals",
            "--rig",
            rig.to_str().unwrap(),
            "--procedure",
            procedure.to_str().unwrap(),
        ];
        let refused = run(args);
        assert!(
            refused.code == Some(1) && refused.err.contains(words),
            "{words}: {:?} {}",
            refused.code,
            refused.err
        );
    }
}
