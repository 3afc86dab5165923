//! Every shipped rig and procedure is read, and every pairing in a mounting that fits is planned.

#![allow(clippy::unwrap_used, clippy::result_large_err)] // the helpers of a test may fail it; a file is refused once

use bench_core::{
    excitation::{Trace, TraceSamples},
    plan::{Plan, Role},
    procedure::Procedure,
    rig::{Kind, Rig},
};
use std::{fs, path::Path, sync::Arc};

/// The `.toml` files of a folder of the workspace, by name.
fn files(folder: &str) -> Vec<(String, String)> {
    let folder_path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..").join(folder);
    let mut found: Vec<(String, String)> = fs::read_dir(&folder_path)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| {
            path.extension().is_some_and(|e| e == "toml") && path.file_name().unwrap() != "Cargo.toml"
        })
        .map(|path| {
            let name = format!("{folder}/{}", path.file_name().unwrap().to_string_lossy());
            (name, fs::read_to_string(path).unwrap())
        })
        .collect();
    found.sort();
    found
}

fn rigs() -> Vec<Rig> {
    let read = |(file, text): &(String, String)| Rig::from_toml(file, text).map_err(|e| e.to_string());
    files("rigs").iter().map(read).collect::<Result<_, _>>().unwrap()
}

/// Every rig in every mounting that its file describes.
fn mounted() -> Vec<Rig> {
    files("rigs")
        .iter()
        .flat_map(|(file, text)| {
            let described = Rig::from_toml(file, text).unwrap().mountings;
            described
                .into_iter()
                .map(move |held| Rig::mounted(file, text, Some(held.mounting)).unwrap())
        })
        .collect()
}

fn procedures() -> Vec<Procedure> {
    // The core reads no trace files; a second of a half-sine stands for each.
    let half_sine = |_: &Trace| {
        let t_s: Vec<f64> = (0..=500).map(|i| f64::from(i) * 2e-3).collect();
        let torque = t_s.iter().map(|t| (std::f64::consts::PI * t).sin()).collect();
        Ok(Arc::new(TraceSamples::new(t_s, torque).unwrap()))
    };
    let read = |(file, text): &(String, String)| {
        let read = Procedure::from_toml(file, text).and_then(|p| p.with_traces(half_sine));
        read.map_err(|e| e.to_string())
    };
    files("procedures")
        .iter()
        .map(read)
        .collect::<Result<_, _>>()
        .unwrap()
}

#[test]
fn every_fitting_pairing_has_a_plan() {
    let mut pairings = 0;
    let mut served = Vec::new();
    for rig in mounted() {
        for procedure in procedures().iter().filter(|p| p.mounting.value == rig.mounting) {
            // A rig may forbid what a procedure asks for; it must say so of a limit, and every procedure must fit
            // some rig.
            match procedure.plan(&rig, 1) {
                Ok(plan) => {
                    pairings += 1;
                    served.push(procedure.file.clone());
                    let greatest = rig.limits.torque_nm;
                    assert!(
                        plan.entries().all(|(_, nm)| nm.abs() <= greatest),
                        "{} {}",
                        rig.file,
                        procedure.file
                    );
                }
                Err(findings) => {
                    for finding in &findings {
                        assert!(
                            finding.place.line > 0 && finding.file == procedure.file,
                            "{finding}"
                        );
                        assert!(finding.problem.contains("limit"), "{finding}");
                    }
                }
            }
        }
    }
    // Three virtual units in three mountings, and the serial one on its clamp.
    assert!(pairings >= 10, "{pairings}");
    assert_eq!(mounted().len(), 10);
    for procedure in procedures() {
        assert!(
            served.contains(&procedure.file),
            "{} fits no shipped rig",
            procedure.file
        );
    }
}

fn quick_on_belt(seed: u64) -> Plan {
    let rig = rigs().into_iter().find(|r| r.file == "rigs/belt.toml").unwrap();
    let quick = procedures()
        .into_iter()
        .find(|p| p.file == "procedures/quick.toml")
        .unwrap();
    assert_eq!(rig.kind, Kind::Virtual);
    quick.plan(&rig, seed).unwrap()
}

#[test]
fn the_quick_procedure_is_what_its_results_need() {
    let plan = quick_on_belt(1);
    println!("{}", plan.summary());
    assert!(
        (60_000_000..=75_000_000).contains(&plan.duration_us()),
        "{}",
        plan.duration_us()
    );
    let steps: Vec<_> = plan
        .windows()
        .iter()
        .filter(|w| w.kind.word() == "step")
        .collect();
    let chirps: Vec<_> = plan
        .windows()
        .iter()
        .filter(|w| w.kind.word() == "chirp")
        .collect();
    assert!(steps.len() >= 96, "{}", steps.len());
    assert_eq!(chirps.len(), 4);
    // Both directions, from zero and from a preload of the same sign.
    for (up, preloaded) in [(true, false), (true, true), (false, false), (false, true)] {
        let some = |w: &&&bench_core::plan::Window| {
            (w.to_nm > w.from_nm) == up
                && (w.from_nm.abs() > 0.0) == preloaded
                && w.to_nm.abs() > w.from_nm.abs()
        };
        assert!(steps.iter().filter(some).count() >= 24);
    }
    for chirp in chirps {
        assert!((chirp.amplitude_nm - 1.4).abs() < 1e-9 && (chirp.preload_nm - 1.505).abs() < 1e-9);
        let sweep = chirp.sweep.unwrap();
        assert!((sweep.from_hz - 0.5).abs() < 1e-12 && (sweep.to_hz - 300.0).abs() < 1e-9);
    }
    // The approach is the first torque, and everything larger waits for its judgement.
    let first = plan.pieces().iter().find(|p| p.peak_nm() > 0.0).unwrap();
    assert_eq!(
        (first.role, first.start_us),
        (Role::Approach, plan.approach().start_us)
    );
    let next = plan
        .pieces()
        .iter()
        .find(|p| p.peak_nm() > plan.approach().level_nm)
        .unwrap();
    assert!(next.start_us >= plan.approach().decide_by_us);
    assert!(plan.approach().decide_by_us - plan.approach().end_us >= 300_000);
}

#[test]
fn starts_are_spread_over_the_dither_and_orders_over_the_repeats() {
    let plan = quick_on_belt(1);
    let steps: Vec<_> = plan
        .windows()
        .iter()
        .filter(|w| w.kind.word() == "step")
        .collect();
    // Of 96 uniform draws over 1 ms, the mean has a standard deviation of 1000/sqrt(12*96) = 29.5 us.
    let mean_us = steps.iter().map(|w| w.dither_us as f64).sum::<f64>() / steps.len() as f64;
    assert!((mean_us - 500.0).abs() < 4.0 * 29.5, "{mean_us}");
    // Every 100 us of a firmware period of 1 ms is met by some start.
    for tenth in 0..10 {
        assert!(steps.iter().any(|w| w.start_us % 1000 / 100 == tenth), "{tenth}");
    }
    // The dither that is recorded is the one by which the rest was lengthened.
    let rest_us = [0, 120_000, 120_000, 300_000];
    for w in plan.windows() {
        let rest = plan.piece_at(w.start_us - 1).unwrap();
        assert_eq!(rest.role, Role::Rest);
        assert_eq!(
            rest.end_us - rest.start_us - w.dither_us,
            rest_us[w.segment],
            "{w:?}"
        );
    }
    // Each repeat has each level once, and not always in the same order.
    let order = |block: usize| -> Vec<usize> {
        steps
            .iter()
            .filter(|w| w.segment == 1)
            .skip(6 * block)
            .take(6)
            .map(|w| w.level)
            .collect()
    };
    for block in 0..8 {
        let mut sorted = order(block);
        sorted.sort_unstable();
        assert_eq!(sorted, [0, 1, 2, 3, 4, 5]);
    }
    assert!((1..8).any(|block| order(block) != order(0)));
    assert_ne!(plan, quick_on_belt(2));
    assert_eq!(plan, quick_on_belt(1));
}
