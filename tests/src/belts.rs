//! Two belts of one unit, from end to end: the belt unit with its tension set, measured clamped by `procedures/drivetrain.toml`,
//! and what the comparison makes of two such measurements.

use std::path::Path;

use truerim::fitting::{BeltReport, FitDocument, FitOptions, compare_belts};
use truerim::session::SettingsText;

use crate::{changed, seeds};

/// The rig file's pretension, which another takes the place of.
const SHIPPED: &str = "tension = \"140 N\"";

/// The procedure as shipped.
///
/// # Errors
/// When its file cannot be read.
pub fn shipped() -> Result<SettingsText, String> {
    changed::shipped("drivetrain")
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
    let now = format!("tension = \"{tension_n} N\"");
    changed::measure([SHIPPED, &now], procedure, &FitOptions::default(), seed, folder)
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
