//! The report as files.

use std::path::{Path, PathBuf};

use super::tables::tables;
use super::{PlotError, html, plots};
use crate::fitting::FitDocument;

/// Why a report could not be written.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    /// A plot could not be drawn.
    #[error("{0}")]
    Plot(#[from] PlotError),
    /// The document could not be put into JSON.
    #[error("the fit document cannot be written as JSON: {0}")]
    Json(#[from] serde_json::Error),
    /// The file system refused.
    #[error("{}: cannot be written: {source}; check that the directory is yours and has room", .path.display())]
    Io {
        /// The file or directory.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
}

/// Writes the fit document as JSON to `path`, replacing what was there.
///
/// # Errors
/// [`ReportError`] with the file that could not be written.
pub fn write_fit(path: &Path, document: &FitDocument) -> Result<(), ReportError> {
    write(path, &json(document)?)
}

/// Writes `report.html`, `fit.json`, `plots/*.svg`, and `tables/*.csv` and `*.json` into `dir`, which is made if it is not there; files of the same
/// names are replaced. Returns what was written, the page first.
///
/// # Errors
/// [`ReportError`] with the file that could not be written.
pub fn write_report(dir: &Path, document: &FitDocument) -> Result<Vec<PathBuf>, ReportError> {
    let drawn = plots(document)?;
    let folder = below(dir, "plots")?;
    let mut files = vec![
        (dir.join("report.html"), html(document, &drawn)),
        (dir.join("fit.json"), json(document)?),
    ];
    files.extend(
        drawn
            .into_iter()
            .map(|plot| (folder.join(format!("{}.svg", plot.name)), plot.wide)),
    );
    let folder = below(dir, "tables")?;
    for table in tables(document) {
        let to = |ending: &str| folder.join(format!("{}.{ending}", table.name));
        files.push((to("csv"), table.csv()));
        files.push((to("json"), table.json()?));
    }
    files
        .into_iter()
        .map(|(path, text)| write(&path, &text).map(|()| path))
        .collect()
}

fn json(document: &FitDocument) -> Result<String, ReportError> {
    let mut text = serde_json::to_string(document)?;
    text.push('\n');
    Ok(text)
}

pub(in crate::report) fn write(path: &Path, text: &str) -> Result<(), ReportError> {
    std::fs::write(path, text).map_err(|source| ReportError::Io {
        path: path.to_owned(),
        source,
    })
}

/// A folder below `dir`, made if it is not there.
pub(in crate::report) fn below(dir: &Path, name: &str) -> Result<PathBuf, ReportError> {
    let folder = dir.join(name);
    std::fs::create_dir_all(&folder).map_err(|source| ReportError::Io {
        path: folder.clone(),
        source,
    })?;
    Ok(folder)
}

/// A line of comma-separated values as RFC 4180 has it: what holds a comma, a quote or a line end is quoted.
pub(in crate::report) fn csv_line(cells: &[String]) -> String {
    let quoted = |cell: &String| {
        if cell.contains([',', '"', '\n', '\r']) {
            format!("\"{}\"", cell.replace('"', "\"\""))
        } else {
            cell.clone()
        }
    };
    let cells: Vec<String> = cells.iter().map(quoted).collect();
    cells.join(",") + "\r\n"
}
