//! Two virtual belt units side by side, from end to end: equal ones, of which a comparison must not tell one from the other more
//! often than it says, and a softer one, which it must find.

use std::path::Path;

use truerim::compare::{CompareError, CompareOptions, Comparison, Group, compare};
use truerim::fitting::{FitDocument, FitOptions};
use truerim::session::SettingsText;

use crate::{changed, seeds};

/// The rig file's stiffness, which another takes the place of.
const SHIPPED: &str = "stiffness = \"900 N·m/rad\"";
/// The same as a number, N·m/rad.
pub const STIFFNESS_NM_PER_RAD: f64 = 900.0;

/// `quick` with few steps from a preload alone and a shorter chirp, for tests.
///
/// # Errors
/// When its file cannot be read or is not as it was.
pub fn quicker() -> Result<SettingsText, String> {
    let mut procedure = changed::shipped("quick")?;
    let other = || "procedures/quick.toml is not as it was".to_owned();
    let first = "[[segment]]\nname = \"steps from zero\"";
    let (before, rest) = procedure.text.split_once(first).ok_or_else(other)?;
    let (_, after) = rest.split_once("[[segment]]").ok_or_else(other)?;
    procedure.text = format!("{before}[[segment]]{after}")
        .replace("repeats = 12", "repeats = 4")
        .replace("\"8 s\"", "\"3 s\"")
        .replace("\"0.5 Hz\"", "\"1 Hz\"");
    Ok(procedure)
}

/// One measurement of the belt unit with a drive of `stiffness` N·m/rad.
///
/// # Errors
/// What went wrong, in words.
pub fn measure(
    stiffness: f64,
    procedure: &SettingsText,
    options: &FitOptions,
    seed: u64,
    folder: &Path,
) -> Result<FitDocument, String> {
    let now = format!("stiffness = \"{stiffness} N·m/rad\"");
    changed::measure([SHIPPED, &now], procedure, options, seed, folder)
}

/// One fit against another.
///
/// # Errors
/// [`CompareError`].
pub fn against(
    then: &FitDocument,
    now: &FitDocument,
    options: &CompareOptions,
) -> Result<Comparison, CompareError> {
    let group = |name: &str, document: &FitDocument| Group {
        name: name.into(),
        documents: vec![document.clone()],
    };
    compare(&[group("then", then), group("now", now)], &[], options)
}

/// A reference and two units held against it.
#[derive(Debug, Clone)]
pub struct Pair {
    /// Seed of the reference; the others have seeds of their own.
    pub seed: u64,
    /// An equal unit.
    pub equal: Comparison,
    /// One with a softer drive, if asked for.
    pub softer: Option<Comparison>,
}

/// Pairs from seed `first` on, every measurement with its own seed.
///
/// # Errors
/// The first that went wrong, in words.
pub fn survey(
    procedure: &SettingsText,
    softer: Option<f64>,
    (first, count): (u64, u64),
    threads: usize,
    on_pair: &(dyn Fn(u64) + Sync),
) -> Result<Vec<Pair>, String> {
    let folder = tempfile::tempdir().map_err(|error| error.to_string())?;
    let (fit, options) = (FitOptions::default(), CompareOptions::default());
    seeds::each(count, threads, |k| {
        let seed = first + 3 * k;
        let measured = |stiffness, seed| measure(stiffness, procedure, &fit, seed, folder.path());
        let then = measured(STIFFNESS_NM_PER_RAD, seed)?;
        let held = |now: FitDocument| against(&then, &now, &options).map_err(|e| format!("seed {seed}: {e}"));
        let pair = Pair {
            seed,
            equal: held(measured(STIFFNESS_NM_PER_RAD, seed + 1)?)?,
            softer: match softer {
                Some(stiffness) => Some(held(measured(stiffness, seed + 2)?)?),
                None => None,
            },
        };
        on_pair(seed);
        Ok(pair)
    })
}
