//! Calibration end to end: the documented files, certificates, what a rig file's certificate is worth, the program on the
//! virtual rig, and how well a known scale error is found.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of a test may fail it

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use acceptance::program::under_test;
use acceptance::recovery::root;
use bench_core::rig::Rig;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use truerim::calibration::certificate::{AngleResult, Certificate, Subject};
use truerim::calibration::{CalibrationError, page, readings, reference, setup};
use truerim_analysis::calibration::CalibrationRefusal;
use truerim_analysis::calibration::series::{Readings, Series};
use truerim_analysis::calibration::torque::{Curve, Known, evaluate};
use truerim_analysis::calibration::weights::{Place, WeightUncertainty};
use virtual_rig::sensors::{TorqueSensor, TorqueSensorParameters};

/// The examples of the documentation.
fn blocks() -> Vec<String> {
    let text = std::fs::read_to_string(root().join("docs/calibration.md")).unwrap();
    let behind = text.split("```toml\n").skip(1);
    behind
        .filter_map(|rest| rest.split("```").next())
        .map(str::to_owned)
        .collect()
}

fn file(folder: &Path, name: &str, text: &str) -> PathBuf {
    let path = folder.join(name);
    std::fs::write(&path, text).unwrap();
    path
}

fn documented(folder: &Path) -> Certificate {
    let path = file(folder, "sensor.toml", &blocks()[0]);
    Certificate::of_torque(setup::torque(&path).unwrap()).unwrap()
}

#[test]
fn every_documented_file_calibrates() {
    let folder = tempfile::tempdir().unwrap();
    let all = blocks();
    let certificate = documented(folder.path());
    let Subject::Torque {
        result, torque_nm, ..
    } = &certificate.subject
    else {
        panic!("{certificate:?}")
    };
    // By hand: 0.2 kg · 9.8127 m/s² · 0.5 m · (1 − 1.2/8000) = 0.981123; gravity at 52.3° is 9.8127 to four digits.
    assert!((torque_nm[0] - 0.981_12).abs() < 2e-5, "{}", torque_nm[0]);
    assert_eq!(result.steps.len(), 6);
    assert!(page::html(&certificate).contains(&certificate.identity));
    let head = all[0].split("[sensor]").next().unwrap();
    for (block, of_index) in all[1..].iter().zip([true, false]) {
        let path = file(folder.path(), "encoder.toml", &format!("{head}{block}"));
        // What belongs to torque alone has no place in an encoder's file; the head of the example has none of it.
        let certificate = Certificate::of_angle(setup::angle(&path).unwrap()).unwrap();
        let Subject::Angle { result, .. } = &certificate.subject else {
            panic!("{certificate:?}")
        };
        match result {
            AngleResult::CountsPerTurn(value) => {
                assert!(of_index && (value.value - 4_096.0).abs() < 1e-9);
            }
            AngleResult::Protractor(found) => {
                assert!(!of_index && (found.scale.value - 1.0).abs() < found.scale.expanded + 1e-3);
            }
        }
        assert!(page::html(&certificate).contains(&certificate.identity));
    }
    assert_eq!(all.len(), 3);
}

#[test]
fn a_certificate_reads_back_as_it_was_and_not_when_it_was_changed() {
    let folder = tempfile::tempdir().unwrap();
    let certificate = documented(folder.path());
    let text = certificate.json();
    let path = file(folder.path(), "certificate.json", &text);
    assert_eq!(Certificate::read(&path).unwrap(), certificate);
    // Layout is not content.
    let value: serde_json::Value = serde_json::from_str(&text).unwrap();
    let compact = file(folder.path(), "compact.json", &value.to_string());
    assert_eq!(
        Certificate::read(&compact).unwrap().identity,
        certificate.identity
    );
    // Every kind of change is found.
    for (from, to) in [
        ("2027-11-20", "2029-11-20"),
        ("bench 2, early shift", "bench 2, late shift"),
        ("9.8168", "9.8169"),
        ("\"clockwise\": true", "\"clockwise\": false"),
    ] {
        let changed = text.replacen(from, to, 1);
        assert_ne!(changed, text, "{from}");
        let path = file(folder.path(), "changed.json", &changed);
        let error = Certificate::read(&path).unwrap_err().to_string();
        assert!(error.contains("was changed"), "{error}");
    }
    for (name, text) in [("empty", ""), ("other", "{\"a\": 1}")] {
        let error = Certificate::read(&file(folder.path(), name, text)).unwrap_err();
        assert!(error.to_string().contains("no certificate"), "{error}");
    }
}

#[test]
fn readings_as_a_table_are_those_of_the_file_and_errors_name_their_line() {
    let folder = tempfile::tempdir().unwrap();
    let setup = setup::torque(&file(folder.path(), "sensor.toml", &blocks()[0])).unwrap();
    let table = readings::table(&setup.series);
    let path = file(folder.path(), "readings.csv", &table);
    assert_eq!(readings::read(&path).unwrap(), setup.series);
    let head = "mounting,series,phase,reading\n";
    for (text, line, word) in [
        ("a,b\n".to_owned(), 1, "no head"),
        (format!("{head}1,1,rising,0.5\n"), 2, "begin it with its zero"),
        (format!("{head}1,1,zero,0\n1,1,rising,a\n"), 3, "no reading"),
        (format!("{head}1,1,zero,0\n1,1,rising\n"), 3, "cells"),
        (format!("{head}1,1,zero,0\n\n2,1,rising,1\n"), 4, "one mounting"),
        (
            format!("{head}1,1,zero,0\n1,1,falling,2\n1,1,rising,1\n"),
            4,
            "out of turn",
        ),
        (format!("{head}1,x,zero,0\n"), 2, "whole number"),
        (format!("{head}1,1,zero,inf\n"), 2, "no reading"),
    ] {
        let error = readings::read(&file(folder.path(), "bad.csv", &text)).unwrap_err();
        let CalibrationError::Line { line: found, .. } = &error else {
            panic!("{error}")
        };
        assert_eq!(*found, line, "{error}");
        assert!(error.to_string().contains(word), "{error}");
    }
    // A loose arm in the file is refused with the file's name.
    let loose = blocks()[0].replace(
        "\"7.8539 N·m\", \"9.8168 N·m\"]",
        "\"7.7039 N·m\", \"9.6668 N·m\"]",
    );
    let setup = setup::torque(&file(folder.path(), "loose.toml", &loose)).unwrap();
    let error = Certificate::of_torque(setup).unwrap_err();
    assert!(matches!(error, CalibrationError::Refused { .. }), "{error}");
    assert!(error.to_string().contains("loose.toml"), "{error}");
}

#[test]
fn a_rig_files_certificate_is_judged_by_its_day_sensor_dates_and_uncertainty() {
    let folder = tempfile::tempdir().unwrap();
    let certificate = documented(folder.path());
    file(folder.path(), "sensor.json", &certificate.json());
    let text = std::fs::read_to_string(root().join("rigs/serial.toml")).unwrap();
    let named = text
        .replace("# calibration = ", "calibration = ")
        .replace("calibrated = 2026-01-15", "calibrated = 2026-11-20")
        .replace("due = 2027-01-15", "due = 2027-11-20");
    let path = folder.path().join("rig.toml").display().to_string();
    let judged = |text: &str, today: &str| {
        let rig = Rig::from_toml(&path, text).unwrap();
        reference::of(&rig, today)
    };
    assert_eq!(judged(&text, "2026-12-01"), None, "no certificate named");
    let good = judged(&named, "2026-12-01").unwrap();
    assert_eq!(good.warnings, Vec::<String>::new());
    assert_eq!(good.identity.as_deref(), Some(certificate.identity.as_str()));
    assert_eq!(
        good.facts(),
        [("calibration_identity".to_owned(), certificate.identity.clone())]
    );
    assert_eq!(
        judged(&named, "2027-11-20").unwrap().warnings.len(),
        0,
        "the last day"
    );
    for (text, today, word) in [
        (named.clone(), "2027-11-21", "ran out on 2027-11-20"),
        (named.clone(), "2026-11-19", "after today"),
        (
            named.replacen(
                "serial = \"0000\"                        # type plate",
                "serial = \"0001\"",
                1,
            ),
            "2026-12-01",
            "of the sensor Torque sensor 0000",
        ),
        (
            named.replace("due = 2027-11-20", "due = 2028-11-20"),
            "2026-12-01",
            "due is 2028-11-20",
        ),
        (
            named.replace("gain_uncertainty = \"0.5 %\"", "gain_uncertainty = \"0.01 %\""),
            "2026-12-01",
            "less than",
        ),
        (
            named.replace("\"sensor.json\"", "\"gone.json\""),
            "2026-12-01",
            "cannot read",
        ),
    ] {
        let found = judged(&text, today).unwrap();
        assert_eq!(found.warnings.len(), 1, "{word}: {:?}", found.warnings);
        assert!(found.warnings[0].contains(word), "{:?}", found.warnings);
        assert!(
            found
                .facts()
                .iter()
                .any(|(name, _)| name == "calibration_warnings")
        );
    }
}

fn truerim(args: &[&str]) -> Output {
    Command::new(under_test().unwrap())
        .args(args)
        .current_dir(root())
        .output()
        .unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

const STEPS: &str = r#"
[procedure]
name = "short"
purpose = "a few steps"
mounting = "clamped"
sample_rate = "4 kHz"
ramp = "0.05 N·m/ms"
zero = "200 ms"

[approach]
level = "5 %"
hold = "300 ms"
rest = "300 ms"
gain = ["40 %", "160 %"]

[[segment]]
name = "steps from zero"
excitation = "step"
levels = ["25 %"]
repeats = 1
hold = "80 ms"
rest = "60 ms"
"#;

/// The whole way: weights hung on the virtual rig, certificate, check weight, rig file, recording, report.
#[test]
fn weights_on_the_virtual_rig_end_in_recordings_that_carry_the_certificate() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name).display().to_string();
    let rig = std::fs::read_to_string(root().join("rigs/belt.toml")).unwrap();
    let weights = blocks()[0]
        .split("[[series]]")
        .next()
        .unwrap()
        .replace("model = \"Torque sensor\"", "model = \"Heron 20\"")
        .replace("serial = \"0000\"", "serial = \"TS-0001\"")
        // Past and future of every day on which this test may run.
        .replace("date = 2026-11-20", "date = 2020-01-01")
        .replace("due = 2027-11-20", "due = 2999-01-01");
    let weights = file(folder.path(), "weights.toml", &weights);
    let weights = weights.to_str().unwrap();
    let bare = file(folder.path(), "bare.toml", &rig);
    let calibrated = truerim(&[
        "calibrate",
        "torque",
        weights,
        "--rig",
        bare.to_str().unwrap(),
        "--out",
        &at("made"),
    ]);
    assert!(calibrated.status.success(), "{}", said(&calibrated));
    let certificate = Certificate::read(&folder.path().join("made/certificate.json")).unwrap();
    let Subject::Torque { result, .. } = &certificate.subject else {
        panic!("{certificate:?}")
    };
    // rigs/belt.toml: gain_error = 0.05 %.
    let off_pct = 100.0 * (result.slope - 1.0005);
    assert!(
        off_pct.abs() < result.expanded_pct,
        "{off_pct} beyond {}",
        result.expanded_pct
    );
    assert!(folder.path().join("made/certificate.html").is_file());
    // A second one does not overwrite the first; another sensor's weights are refused.
    let again = truerim(&[
        "calibrate",
        "torque",
        weights,
        "--readings",
        &at("made/readings.csv"),
        "--out",
        &at("made"),
    ]);
    assert_eq!(again.status.code(), Some(1), "{}", said(&again));
    // The readings that were kept give the same certificate.
    let kept = truerim(&[
        "calibrate",
        "torque",
        weights,
        "--readings",
        &at("made/readings.csv"),
        "--out",
        &at("kept"),
    ]);
    assert!(kept.status.success(), "{}", said(&kept));
    let kept = Certificate::read(&folder.path().join("kept/certificate.json")).unwrap();
    assert_eq!(kept.identity, certificate.identity);
    // Before a shift: the sensor holds, and one that reads 1 % more does not.
    let json = at("made/certificate.json");
    let verify = truerim(&[
        "calibrate",
        "verify",
        &json,
        "--mass",
        "1",
        "--rig",
        bare.to_str().unwrap(),
    ]);
    assert!(verify.status.success(), "{}", said(&verify));
    let astray = file(
        folder.path(),
        "astray.toml",
        &rig.replace("gain_error = \"0.05 %\"", "gain_error = \"1.05 %\""),
    );
    let verify = truerim(&[
        "calibrate",
        "verify",
        &json,
        "--mass",
        "1",
        "--rig",
        astray.to_str().unwrap(),
    ]);
    assert_eq!(verify.status.code(), Some(5), "{}", said(&verify));
    assert!(said(&verify).contains("DOES NOT HOLD"), "{}", said(&verify));
    // In a rig file whose dates are others: measured all the same, with a warning, and all of it in the report.
    let named = rig.replace(
        "certificate = \"V-2026-001\"",
        "calibration = \"made/certificate.json\"\ncertificate = \"V-2026-001\"",
    );
    let named = file(folder.path(), "named.toml", &named);
    let steps = file(folder.path(), "steps.toml", STEPS);
    let args = [
        "measure",
        "--rig",
        named.to_str().unwrap(),
        "--procedure",
        steps.to_str().unwrap(),
        "--out",
        &at("run"),
        "--yes",
    ];
    let measured = truerim(&args);
    assert!(measured.status.success(), "{}", said(&measured));
    assert!(
        said(&measured).contains("warning: rig.torque_sensor.due is"),
        "{}",
        said(&measured)
    );
    let fit = std::fs::read_to_string(folder.path().join("run/fit.json")).unwrap();
    let report = std::fs::read_to_string(folder.path().join("run/report.html")).unwrap();
    for text in [&fit, &report] {
        assert!(text.contains(&certificate.identity) && text.contains("calibration_warnings"));
    }
}

/// Taking readings never arms: nothing in its source can, and its greatest setpoint is zero.
#[test]
fn a_look_at_the_sensor_cannot_arm() {
    let source = std::fs::read_to_string(root().join("bench/src/session/look.rs")).unwrap();
    for word in ["ArmRequest", "ArmConfirm", "HostMessage::Setpoints", "Permit"] {
        assert!(!source.contains(word), "{word}");
    }
    assert!(source.contains("torque_limit_raw: 0,"));
}

/// A standard normal number (Box & Muller 1958), as the virtual rig's own generator is not to be its judge.
fn normal(random: &mut ChaCha8Rng) -> f64 {
    let uniform = |r: &mut ChaCha8Rng| (f64::from(r.next_u32()) + 0.5) / 4_294_967_296.0;
    (-2.0 * uniform(random).ln()).sqrt() * (std::f64::consts::TAU * uniform(random)).cos()
}

/// Weights, arm and gravity that are off by as much as is stated, on a sensor with an unknown scale error: the error is
/// found within the stated uncertainty, which is not much too wide either.
#[test]
fn a_known_scale_error_is_found_within_its_stated_uncertainty() {
    const SEEDS: u64 = 40;
    let stated = Place {
        gravity_m_s2: 9.81,
        air_kg_m3: 1.2,
        weight_kg_m3: 8_000.0,
        arm_m: 0.5,
    };
    let u = WeightUncertainty {
        mass: 1e-4,
        gravity: 6e-5,
        arm: 3e-4,
        buoyancy: 1.5e-5,
    };
    let masses = [0.4, 0.8, 1.2, 1.6, 2.0, 2.4];
    let (mut within, mut squares) = (0, 0.0);
    for seed in 0..SEEDS {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let gain_error = 2e-3 * normal(&mut random);
        let truth = 1.0
            + u.mass * normal(&mut random)
            + u.gravity * normal(&mut random)
            + u.arm * normal(&mut random)
            + u.buoyancy * normal(&mut random);
        let torque_nm: Vec<f64> = masses.iter().map(|kg| stated.torque_nm(*kg).unwrap()).collect();
        let zero_nm = 0.01 * normal(&mut random);
        let mut number = 0;
        let mut read = |load: f64| {
            number += 1;
            let parameters = TorqueSensorParameters {
                range_nm: 20.0,
                counts_at_range: 8_000_000,
                gain_error,
                zero_nm,
                noise_nm: 2e-3,
                drift_nm_per_h: 0.0,
                zero_nm_per_k: 0.0,
                case_share: 0.0,
                amplifier_hz: 300.0,
                declared_delay_s: 0.0,
                load_nm: load * truth,
            };
            let noise = ChaCha8Rng::seed_from_u64(1_000 * seed + number);
            let mut sensor = TorqueSensor::new(parameters, 5e-4, noise);
            let mut sum = 0.0;
            for step in 0..500 {
                sensor.step(0.0);
                sum += if step < 100 {
                    0.0
                } else {
                    f64::from(sensor.counts()) * parameters.scale_nm()
                };
            }
            sum / 400.0
        };
        let series = [(1, true), (1, false), (2, true)].map(|(mounting, falls)| Series {
            mounting,
            zero_before: read(0.0),
            rising: torque_nm.iter().map(|nm| read(*nm)).collect(),
            falling: falls.then(|| torque_nm.iter().map(|nm| read(*nm)).collect()),
            zero_after: Some(read(0.0)),
        });
        let readings = Readings {
            torque_nm: torque_nm.clone(),
            series: series.to_vec(),
        };
        let known = Known {
            loads: u.combined(),
            resolution: 2.5e-6,
            linearity: 1e-3,
            hysteresis: 1e-3,
            reversibility: true,
            curve: Curve::Straight,
        };
        let found =
            evaluate(&readings, &known).unwrap_or_else(|why: CalibrationRefusal| panic!("{seed}: {why}"));
        let error = found.slope - (1.0 + gain_error);
        within += u64::from(error.abs() <= 2.0 * found.gain_uncertainty());
        squares += (error / found.gain_uncertainty()).powi(2);
    }
    // Of 40 at 95 % fewer than 34 are within once in 1,000 (binomial). The errors' size is that of the uncertainty or
    // somewhat less, which the guideline's range of W, that of the worst step, makes.
    let size = (squares / SEEDS as f64).sqrt();
    assert!(within >= 34, "{within} of {SEEDS} within");
    assert!((0.4..1.35).contains(&size), "errors are {size} of what is stated");
}
