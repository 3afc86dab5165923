//! One measurement of the belt unit with a line of its rig file changed, from end to end.

use std::path::Path;

use bench_core::rig::Mounting;
use bench_core::run::{End, Permit};
use truerim::drive::StopFlag;
use truerim::fitting::{FitDocument, FitOptions, fit_recording};
use truerim::recording::Recording;
use truerim::session::{self, Bench, SettingsText};

use crate::recovery::root;

/// A procedure as shipped.
///
/// # Errors
/// When its file cannot be read.
pub fn shipped(name: &str) -> Result<SettingsText, String> {
    let file = root().join(format!("procedures/{name}.toml"));
    SettingsText::read(&file).map_err(|error| error.to_string())
}

/// Measures it by `procedure` with `now` in place of `shipped` in its rig file, and fits.
///
/// # Errors
/// What went wrong, in words.
pub fn measure(
    [shipped, now]: [&str; 2],
    procedure: &SettingsText,
    options: &FitOptions,
    seed: u64,
    folder: &Path,
) -> Result<FitDocument, String> {
    let words = |error: &dyn std::fmt::Display| format!("{now}, seed {seed}: {error}");
    let text = std::fs::read_to_string(root().join("rigs/belt.toml")).map_err(|e| words(&e))?;
    if !text.contains(shipped) {
        return Err(words(&format!("rigs/belt.toml does not say {shipped}")));
    }
    let name: String = now
        .chars()
        .filter(|c| c.is_ascii_alphanumeric() || *c == '.')
        .collect();
    let rig = folder.join(format!("{name}-{seed}.toml"));
    std::fs::write(&rig, text.replace(shipped, now)).map_err(|e| words(&e))?;
    run(&rig, None, procedure, options, seed).map_err(|e| words(&e))
}

/// Measures what a rig file describes, in a mounting that may be another than its own, and fits; the recording does not stay.
///
/// # Errors
/// What went wrong, in words.
pub fn run(
    rig: &Path,
    mounting: Option<Mounting>,
    procedure: &SettingsText,
    options: &FitOptions,
    seed: u64,
) -> Result<FitDocument, String> {
    let words = |error: &dyn std::fmt::Display| error.to_string();
    let path = rig.with_extension("h5");
    let bench = Bench::open(rig, mounting, None, seed, "changed".to_owned()).map_err(|e| words(&e))?;
    let plan = session::plan_for(procedure, &bench.rig, seed).map_err(|e| words(&e))?;
    let (permit, stop) = (Permit::granted("changed"), StopFlag::new());
    let session =
        session::record(&bench, procedure, plan, permit, &path, &stop, &mut |_| {}).map_err(|e| words(&e))?;
    if session.outcome.end != End::Completed {
        return Err(words(&session.outcome.end));
    }
    let document = Recording::open(&path)
        .map_err(|e| words(&e))
        .and_then(|recording| fit_recording(&recording, options).map_err(|e| words(&e)))?;
    std::fs::remove_file(&path).map_err(|e| words(&e))?;
    Ok(document)
}
