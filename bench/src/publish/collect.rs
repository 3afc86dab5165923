//! From the folder of a measurement to an archive.

use std::path::{Path, PathBuf};

use super::archive::{Members, write};
use super::describe::{About, metadata};
use super::error::PublishError;
use super::{FIT, INPUTS, METADATA, PAGE, RECORDING, SUMS, sums};
use crate::fitting::FitDocument;
use crate::recording::{self, Recording};

/// What was packed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Published {
    /// Members of the archive, in order.
    pub members: Vec<String>,
    /// Files of the folder that are not part of a measurement and were left out.
    pub left_out: Vec<PathBuf>,
}

/// Packs the measurement in `folder` into the archive at `out`, replacing what was there: recording, fit, page, plots, tables, and
/// the files that the run was made from, which the recording keeps.
///
/// # Errors
/// [`PublishError`] when a part is missing, the recording is not as it was sealed, or the fit is of another recording.
pub fn publish(folder: &Path, out: &Path, about: &About) -> Result<Published, PublishError> {
    for name in [RECORDING, FIT, PAGE] {
        if !folder.join(name).is_file() {
            return Err(PublishError::Missing {
                folder: folder.to_owned(),
                name,
            });
        }
    }
    let path = folder.join(RECORDING);
    let verification = recording::verify(&path)?;
    if let Some(first) = verification.differences.first() {
        return Err(PublishError::NotIntact {
            path,
            first: format!("{}: {}", first.object, first.what),
        });
    }
    let mut members = Members::new();
    let mut left_out = Vec::new();
    gather(folder, folder, &mut members, &mut left_out)?;
    // What somebody's limits make of it is not part of the measurement; the page follows from the fit alone.
    if let Some(page) = members.get_mut(PAGE)
        && let Ok(text) = std::str::from_utf8(page)
    {
        *page = crate::report::without_verdict(text).into_bytes();
    }
    let fit = folder.join(FIT);
    let text = members.get(FIT).map_or(&[][..], Vec::as_slice);
    let document: FitDocument = serde_json::from_slice(text).map_err(|source| PublishError::NotAFit {
        path: fit.clone(),
        source,
    })?;
    let recording = Recording::open(&path)?;
    let header = recording.header();
    if header.run_id != document.recording.run_id
        || document.recording.seal.as_deref() != Some(&verification.seal.sha256)
    {
        return Err(PublishError::OtherRun {
            path: fit,
            fit: document.recording.run_id,
            recording: header.run_id.clone(),
        });
    }
    for (name, text) in &header.files {
        let plain = !name.is_empty() && !name.contains(['/', '\\', '\0']) && name != "." && name != "..";
        if !plain {
            return Err(PublishError::Name {
                path,
                name: name.clone(),
            });
        }
        members.insert(format!("{INPUTS}{name}"), text.clone().into_bytes());
    }
    let description = metadata(&document, &members, about)?;
    members.insert(METADATA.into(), description.into_bytes());
    let list = sums::text(&members);
    members.insert(SUMS.into(), list.into_bytes());
    write(out, &members)?;
    Ok(Published {
        members: members.into_keys().collect(),
        left_out,
    })
}

/// Whether a file of the folder belongs to the measurement: its name with `/` between folders.
fn belongs(name: &str) -> bool {
    let ending = name.rsplit('.').next().unwrap_or("");
    [RECORDING, FIT, PAGE].contains(&name)
        || (name.starts_with("plots/") && ["svg", "csv", "json", "png"].contains(&ending))
        || (name.starts_with("tables/") && ["csv", "json"].contains(&ending))
}

/// Reads what belongs to the measurement below `at`, two folders deep.
fn gather(
    folder: &Path,
    at: &Path,
    members: &mut Members,
    left_out: &mut Vec<PathBuf>,
) -> Result<(), PublishError> {
    let io = |path: &Path| {
        let path = path.to_owned();
        move |source| PublishError::Io {
            path,
            doing: "read",
            source,
        }
    };
    let mut entries: Vec<PathBuf> = Vec::new();
    for entry in std::fs::read_dir(at).map_err(io(at))? {
        entries.push(entry.map_err(io(at))?.path());
    }
    entries.sort();
    for path in entries {
        let parts: Vec<String> = path
            .strip_prefix(folder)
            .unwrap_or(&path)
            .components()
            .map(|part| part.as_os_str().to_string_lossy().into_owned())
            .collect();
        if path.is_dir() {
            if parts.len() == 1 && ["plots", "tables"].contains(&parts[0].as_str()) {
                gather(folder, &path, members, left_out)?;
            } else {
                left_out.push(path);
            }
        } else if belongs(&parts.join("/")) {
            let bytes = std::fs::read(&path).map_err(io(&path))?;
            members.insert(parts.join("/"), bytes);
        } else {
            left_out.push(path);
        }
    }
    Ok(())
}
