//! `fit`.

use std::path::Path;

use super::args::FitArgs;
use super::exit::{Exit, Problem};
use super::say::Say;
use crate::fitting::{FitDocument, FitOptions, fit_recording};
use crate::recording::Recording;

/// Fits a recording and writes the document.
pub(super) fn fit(args: &FitArgs, say: &Say) -> Result<Exit, Problem> {
    let document = fit_file(&args.recording, say)?;
    let out = match &args.out {
        Some(out) => out.clone(),
        None => args.recording.with_file_name("fit.json"),
    };
    crate::report::write_fit(&out, &document)?;
    say.result(&crate::report::table(&document));
    say.json(&document);
    say.note(&format!("Wrote {}", out.display()));
    Ok(Exit::Done)
}

/// Fits a recording.
pub(super) fn fit_file(path: &Path, say: &Say) -> Result<FitDocument, Problem> {
    let spinner = say.spinner("fitting");
    let recording = Recording::open(path)?;
    let document = fit_recording(&recording, &FitOptions::default())?;
    spinner.finish_and_clear();
    Ok(document)
}
