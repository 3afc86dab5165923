//! `report`.

use std::path::{Path, PathBuf};

use super::args::ReportArgs;
use super::exit::{Exit, Problem};
use super::fit::fit_file;
use super::say::Say;
use crate::fitting::FitDocument;

/// Makes plots and page from a fit or a recording.
pub(super) fn report(args: &ReportArgs, say: &Say) -> Result<Exit, Problem> {
    let path = args.source.display().to_string();
    let document: FitDocument = if args.source.extension().is_some_and(|ending| ending == "json") {
        let text = std::fs::read_to_string(&args.source).map_err(|source| Problem::Io {
            doing: "read",
            path: path.clone(),
            source,
        })?;
        serde_json::from_str(&text).map_err(|source| Problem::NotAFit { path, source })?
    } else {
        fit_file(&args.source, say)?
    };
    let folder = match (&args.out, args.source.parent()) {
        (Some(out), _) => out.clone(),
        (None, Some(parent)) if parent != Path::new("") => parent.to_owned(),
        _ => PathBuf::from("."),
    };
    let files = write(&folder, &document, say)?;
    for file in &files {
        say.result(&file.display().to_string());
    }
    say.json(&files);
    Ok(Exit::Done)
}

/// Writes page, plots and document into a folder.
pub(super) fn write(folder: &Path, document: &FitDocument, say: &Say) -> Result<Vec<PathBuf>, Problem> {
    let spinner = say.spinner("drawing");
    let files = crate::report::write_report(folder, document)?;
    spinner.finish_and_clear();
    Ok(files)
}
