//! `fit`.

use std::path::Path;

use super::args::FitArgs;
use super::exit::{Exit, Problem};
use super::say::Say;
use crate::fitting::{FitDocument, FitOptions, compare_belts, fit_recording};
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
    match &args.reference {
        None => say.json(&document),
        Some(reference) => {
            let then = fit_of(reference, say)?;
            let belt = compare_belts(&then, &document).map_err(|error| Problem::NotCompared {
                path: reference.display().to_string(),
                error: Box::new(error),
            })?;
            say.result(&belt.words());
            say.json(&belt);
        }
    }
    say.note(&format!("Wrote {}", out.display()));
    Ok(Exit::Done)
}

/// A fit, or the fit of a recording, as the file's name says.
pub(super) fn fit_of(source: &Path, say: &Say) -> Result<FitDocument, Problem> {
    if source.extension().is_none_or(|ending| ending != "json") {
        return fit_file(source, say);
    }
    let path = source.display().to_string();
    let text = std::fs::read_to_string(source).map_err(|source| Problem::Io {
        doing: "read",
        path: path.clone(),
        source,
    })?;
    serde_json::from_str(&text).map_err(|source| Problem::NotAFit { path, source })
}

/// Fits a recording.
pub(super) fn fit_file(path: &Path, say: &Say) -> Result<FitDocument, Problem> {
    let spinner = say.spinner("fitting");
    let recording = Recording::open(path)?;
    let document = fit_recording(&recording, &FitOptions::default())?;
    spinner.finish_and_clear();
    Ok(document)
}

/// The fit that lies beside a recording, if it is of this recording and by this version; else as [`fit_of`].
pub(super) fn kept_fit_of(source: &Path, say: &Say) -> Result<FitDocument, Problem> {
    if source.extension().is_some_and(|ending| ending == "json") {
        return fit_of(source, say);
    }
    let kept = source.with_file_name("fit.json");
    if kept.is_file()
        && let Ok(document) = fit_of(&kept, say)
    {
        let recording = Recording::open(source)?;
        let own = recording.header().run_id == document.recording.run_id
            && recording.seal().map(|seal| &seal.sha256) == document.recording.seal.as_ref();
        if own && document.software.version == crate::software().version {
            return Ok(document);
        }
    }
    fit_file(source, say)
}
