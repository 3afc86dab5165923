//! `report`.

use std::path::{Path, PathBuf};

use super::args::ReportArgs;
use super::exit::{Exit, Problem};
use super::fit::fit_of;
use super::say::Say;
use crate::fitting::FitDocument;

/// Makes plots and page from a fit or a recording.
pub(super) fn report(args: &ReportArgs, say: &Say) -> Result<Exit, Problem> {
    let document = fit_of(&args.source, say)?;
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
    crate::archive::judgement_on_page(folder)?;
    spinner.finish_and_clear();
    Ok(files)
}
