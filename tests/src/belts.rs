//! Two belts of one unit, from end to end: the belt unit with its tension set, measured clamped by `procedures/drivetrain.toml`,
//! and what the comparison makes of two such measurements.

use std::path::Path;

use bench_core::run::{End, Permit};
use truerim::drive::StopFlag;
use truerim::fitting::{BeltReport, FitDocument, FitOptions, compare_belts, fit_recording};
use truerim::recording::Recording;
use truerim::session::{self, Bench, SettingsText};

use crate::{recovery::root, seeds};

/// The rig file's pretension, which another takes the place of.
const SHIPPED: &str = "tension = \"140 N\"";

/// The procedure as shipped.
///
/// # Errors
/// When its file cannot be read.
pub fn shipped() -> Result<SettingsText, String> {
    SettingsText::read(&root().join("procedures/drivetrain.toml")).map_err(|error| error.to_string())
}

/// One measurement of the belt unit at a pretension.
///
/// # Errors
/// What went wrong, in words.
pub fn measure(
    tension_n: f64,
    procedure: &SettingsText,
    seed: u64,
    folder: &Path,
) -> Result<FitDocument, String> {
    let words = |error: &dyn std::fmt::Display| format!("{tension_n} N, seed {seed}: {error}");
    let text = std::fs::read_to_string(root().join("rigs/belt.toml")).map_err(|e| words(&e))?;
    if !text.contains(SHIPPED) {
        return Err(words(&"rigs/belt.toml has another tension"));
    }
    let rig = folder.join(format!("{tension_n}-{seed}.toml"));
    let path = rig.with_extension("h5");
    std::fs::write(
        &rig,
        text.replace(SHIPPED, &format!("tension = \"{tension_n} N\"")),
    )
    .map_err(|e| words(&e))?;
    let bench = Bench::open(&rig, None, None, seed, "belts".to_owned()).map_err(|e| words(&e))?;
    let plan = session::plan_for(procedure, &bench.rig, seed).map_err(|e| words(&e))?;
    let (permit, stop) = (Permit::granted("belts"), StopFlag::new());
    let session =
        session::record(&bench, procedure, plan, permit, &path, &stop, &mut |_| {}).map_err(|e| words(&e))?;
    if session.outcome.end != End::Completed {
        return Err(words(&session.outcome.end));
    }
    let document = Recording::open(&path)
        .map_err(|e| words(&e))
        .and_then(|recording| fit_recording(&recording, &FitOptions::default()).map_err(|e| words(&e)))?;
    std::fs::remove_file(&path).map_err(|e| words(&e))?;
    Ok(document)
}

/// A reference and two belts held against it.
#[derive(Debug, Clone)]
pub struct Pair {
    /// Seed of the reference; the others have seeds of their own.
    pub seed: u64,
    /// Another tension.
    pub other: BeltReport,
    /// The same tension, measured again.
    pub equal: BeltReport,
}

/// Pairs from seed `first` on: a reference at `then_n`, then `now_n` and `then_n` again, every one with its own seed.
///
/// # Errors
/// The first that went wrong, in words.
pub fn survey(
    [then_n, now_n]: [f64; 2],
    first: u64,
    count: u64,
    threads: usize,
) -> Result<Vec<Pair>, String> {
    let folder = tempfile::tempdir().map_err(|error| error.to_string())?;
    let procedure = shipped()?;
    seeds::each(count, threads, |k| {
        let seed = first + 3 * k;
        let then = measure(then_n, &procedure, seed, folder.path())?;
        let other = measure(now_n, &procedure, seed + 1, folder.path())?;
        let equal = measure(then_n, &procedure, seed + 2, folder.path())?;
        let against = |now| compare_belts(&then, now).map_err(|error| format!("seed {seed}: {error}"));
        Ok(Pair {
            seed,
            other: against(&other)?,
            equal: against(&equal)?,
        })
    })
}
