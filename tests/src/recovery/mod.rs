//! Known truth in, estimates out: how near they come, and how often the truth lies inside the stated interval.
//!
//! Each seed is a whole measurement: the virtual rig in lock-step, the recording, the fit. The truth comes from the rig
//! file's parameters by closed form, or from an independent integration whose script and numbers are in
//! `tests/reference/plant`; never from the simulator or the fits.

mod brief;
mod driver;
mod drivetrain;
mod least;
mod scene;
mod steps;
mod table;
mod tenfold;
mod truth;

use std::path::{Path, PathBuf};

use bench_core::plan::Plan;
use bench_core::run::{End, Permit};
use truerim::drive::StopFlag;
use truerim::fitting::{FitDocument, FitOptions, fit_recording};
use truerim::recording::Recording;
use truerim::session::{self, Bench, SettingsText};
use truerim_analysis::estimate::Outcome;

use crate::seeds;

use brief::BRIEF;
use tenfold::TENFOLD;

pub use brief::with_legs;
pub use driver::cold_sines;
pub use scene::{Scene, scenes};
pub use table::{Row, markdown, rows, table};
pub use truth::{Truth, truths};

/// One estimate of one seed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Found {
    /// The value, SI.
    pub value: f64,
    /// Its standard uncertainty.
    pub std_uncertainty: f64,
    /// Its 95 % interval.
    pub interval: [f64; 2],
}

/// What one seed gave: for each quantity its headline estimate, or `None` where it was refused.
#[derive(Debug, Clone, PartialEq)]
pub struct SeedResult {
    /// The seed.
    pub seed: u64,
    /// In the order of the quantities asked for.
    pub found: Vec<Option<Found>>,
}

/// The root of the work tree.
#[must_use]
pub fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Text of a file of the work tree.
fn read(name: &str) -> Result<String, String> {
    let path = root().join(name);
    std::fs::read_to_string(&path).map_err(|e| format!("{}: {e}", path.display()))
}

/// What a file of independently computed values holds.
fn known(name: &str) -> Result<serde_json::Value, String> {
    let text = read(&format!("tests/reference/plant/{name}"))?;
    serde_json::from_str(&text).map_err(|error| format!("{name}: {error}"))
}

/// Writes a text into a folder.
fn written(folder: &Path, name: &str, text: &str) -> Result<PathBuf, String> {
    let path = folder.join(name);
    std::fs::write(&path, text).map_err(|e| format!("{}: {e}", path.display()))?;
    Ok(path)
}

/// The bench, the procedure and what it comes to with a seed.
fn planned(scene: &Scene, seed: u64) -> Result<(Bench, SettingsText, Plan), String> {
    let words = |error: &dyn std::fmt::Display| format!("{}, seed {seed}: {error}", scene.name());
    let folder = tempfile::tempdir().map_err(|e| words(&e))?;
    let own = |place: &str, stem: &str| root().join(format!("{place}/{stem}.toml"));
    let [rig, procedure] = match scene.procedure {
        TENFOLD => tenfold::in_folder(scene, folder.path()).map_err(|e| words(&e))?,
        BRIEF => brief::in_folder(scene, folder.path()).map_err(|e| words(&e))?,
        stem => [own("rigs", scene.wheelbase.word()), own("procedures", stem)],
    };
    let bench =
        Bench::open(&rig, Some(scene.mounting), None, seed, "recovery".to_owned()).map_err(|e| words(&e))?;
    let procedure = SettingsText::read(&procedure).map_err(|e| words(&e))?;
    let plan = session::plan_for(&procedure, &bench.rig, seed).map_err(|e| words(&e))?;
    Ok((bench, procedure, plan))
}

/// Measures one seed from end to end.
///
/// # Errors
/// What went wrong, in words: a recovery run must not go wrong.
pub fn measure(scene: &Scene, seed: u64, folder: &Path) -> Result<FitDocument, String> {
    let words = |error: &dyn std::fmt::Display| format!("{}, seed {seed}: {error}", scene.name());
    let (bench, procedure, plan) = planned(scene, seed)?;
    let path = folder.join(format!("{seed}.h5"));
    let permit = Permit::granted("recovery");
    let session = session::record(
        &bench,
        &procedure,
        plan,
        permit,
        &path,
        &StopFlag::new(),
        &mut |_| {},
    )
    .map_err(|e| words(&e))?;
    if session.outcome.end != End::Completed {
        return Err(words(&session.outcome.end));
    }
    // No known value is held against the rational model, which takes longer than the rest.
    let options = FitOptions {
        rational: None,
        ..FitOptions::default()
    };
    let document = Recording::open(&path)
        .map_err(|e| words(&e))
        .and_then(|recording| fit_recording(&recording, &options).map_err(|e| words(&e)))?;
    std::fs::remove_file(&path).map_err(|e| words(&e))?;
    Ok(document)
}

fn found_of(document: &FitDocument, truth: &Truth) -> Option<Found> {
    // Rig files round the order of a belt's pass; its name has the ratio of the teeth.
    let order = |group: &str| {
        let number = group.strip_prefix("order ")?.split(':').next()?;
        number.parse::<f64>().ok()
    };
    let own = |group: &str| match (order(&truth.group), order(group)) {
        (Some(a), Some(b)) => (a - b).abs() < 1e-3,
        _ => group == truth.group,
    };
    let measurand = if truth.group.is_empty() {
        document.headline(truth.quantity)?
    } else {
        let mut all = document.measurands.iter();
        all.find(|m| m.quantity == truth.quantity && own(&m.group))?
    };
    match &measurand.result {
        Outcome::Estimate(estimate) => Some(Found {
            value: estimate.value,
            std_uncertainty: estimate.std_uncertainty,
            interval: estimate.interval,
        }),
        Outcome::Refused { .. } => None,
    }
}

/// Measures `count` seeds from `first` on, on `threads` threads, and calls `on_seed` after each. The result is in the
/// order of the seeds whatever the number of threads.
///
/// # Errors
/// The first seed that went wrong, in words.
pub fn survey(
    scene: &Scene,
    truths: &[Truth],
    first: u64,
    count: u64,
    threads: usize,
    on_seed: &(dyn Fn(u64) + Sync),
) -> Result<Vec<SeedResult>, String> {
    let folder = tempfile::tempdir().map_err(|error| error.to_string())?;
    seeds::each(count, threads, |k| {
        let seed = first + k;
        let document = measure(scene, seed, folder.path())?;
        let found = truths.iter().map(|truth| found_of(&document, truth)).collect();
        on_seed(seed);
        Ok(SeedResult { seed, found })
    })
}
