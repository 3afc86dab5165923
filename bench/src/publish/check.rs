//! An archive against itself, and its results against a new fit.

use std::collections::BTreeSet;
use std::path::Path;

use serde::Serialize;
use serde_json::Value;

use super::archive::{Members, read};
use super::error::PublishError;
use super::sums::{self, sha256};
use super::{FIT, INPUTS, METADATA, PAGE, RECORDING, SUMS, refit};
use crate::fitting::{FitDocument, FitOptions, fit_recording};
use crate::recording::{self, Recording};

/// Something that is not as it was published.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Trouble {
    /// The member.
    pub member: String,
    /// What is wrong with it.
    pub what: String,
}

/// What the check found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BundleCheck {
    /// Run that was published.
    pub run_id: String,
    /// Seal of the recording, recomputed.
    pub seal: String,
    /// Version that fitted what was published.
    pub fitted_by: String,
    /// Number of members whose hashes were compared.
    pub members: usize,
    /// Number of results in the fit that was made again, if it was.
    pub results: Option<usize>,
    /// All that differs; empty if everything is as published and the fit says the same.
    pub troubles: Vec<Trouble>,
}

impl BundleCheck {
    /// Whether everything is as published and the recording gives the published numbers.
    pub fn is_sound(&self) -> bool {
        self.troubles.is_empty()
    }

    fn missing(&mut self, name: &str) {
        if !self.troubles.iter().any(|t| t.member == name) {
            self.troubles.push(trouble(name, "is missing"));
        }
    }
}

/// Checks an archive: every member against both lists of hashes, none missing, none added; the recording against its seal; the
/// inputs against the recording; the page against the fit; and, if `fit_again`, the fit against a new one.
///
/// # Errors
/// [`PublishError`] when it is no archive that can be read or larger than is unpacked, or when there is no room to unpack it.
pub fn check(path: &Path, fit_again: bool) -> Result<BundleCheck, PublishError> {
    let (members, odd) = read(path)?;
    let mut found = BundleCheck {
        run_id: String::new(),
        seal: String::new(),
        fitted_by: String::new(),
        members: members.len(),
        results: None,
        troubles: odd
            .iter()
            .map(|member| {
                trouble(
                    member,
                    "stands twice, or its name points out of the archive; it was not read",
                )
            })
            .collect(),
    };
    by_sums(&members, &mut found.troubles);
    by_metadata(&members, &mut found.troubles);
    let document = fit_of(&members, &mut found)?;
    let Some(bytes) = members.get(RECORDING) else {
        found.missing(RECORDING);
        return Ok(found);
    };
    let folder = tempfile::tempdir().map_err(|source| PublishError::Io {
        path: std::env::temp_dir(),
        doing: "written",
        source,
    })?;
    let unpacked = folder.path().join(RECORDING);
    std::fs::write(&unpacked, bytes).map_err(|source| PublishError::Io {
        path: unpacked.clone(),
        doing: "written",
        source,
    })?;
    if let Err(error) = by_recording(&unpacked, &members, document.as_ref(), fit_again, &mut found) {
        found.troubles.push(trouble(RECORDING, &error.to_string()));
    }
    Ok(found)
}

/// The published fit, and its page.
fn fit_of(members: &Members, found: &mut BundleCheck) -> Result<Option<(FitDocument, Value)>, PublishError> {
    let Some(text) = members.get(FIT) else {
        found.missing(FIT);
        return Ok(None);
    };
    let read = serde_json::from_slice::<Value>(text)
        .and_then(|value| Ok((serde_json::from_value::<FitDocument>(value.clone())?, value)));
    match read {
        Ok((document, value)) => {
            found.fitted_by = format!("{} {}", document.software.name, document.software.version);
            by_page(&document, members, &mut found.troubles)?;
            Ok(Some((document, value)))
        }
        Err(error) => {
            found.troubles.push(trouble(
                FIT,
                &format!("is no fit that this version can read: {error}"),
            ));
            Ok(None)
        }
    }
}

/// Seal, inputs and results of the unpacked recording.
fn by_recording(
    unpacked: &Path,
    members: &Members,
    published: Option<&(FitDocument, Value)>,
    fit_again: bool,
    found: &mut BundleCheck,
) -> Result<(), PublishError> {
    let verification = recording::verify(unpacked)?;
    let differences = verification.differences.iter();
    found
        .troubles
        .extend(differences.map(|d| trouble(RECORDING, &format!("{}: {}", d.object, d.what))));
    found.seal = verification.seal.sha256;
    let recording = Recording::open(unpacked)?;
    found.run_id.clone_from(&recording.header().run_id);
    by_inputs(&recording, members, &mut found.troubles);
    let Some((document, value)) = published else {
        return Ok(());
    };
    if document.recording.seal.as_deref() != Some(&found.seal) {
        found
            .troubles
            .push(trouble(FIT, "states another seal than the recording has"));
    }
    if fit_again {
        let again = fit_recording(&recording, &FitOptions::default())?;
        let differences = refit::differences(value, &serde_json::to_value(&again)?);
        found
            .troubles
            .extend(differences.iter().map(|what| trouble(FIT, what)));
        found.results = Some(again.measurands.len());
    }
    Ok(())
}

fn trouble(member: &str, what: &str) -> Trouble {
    Trouble {
        member: member.to_owned(),
        what: what.to_owned(),
    }
}

/// Members against `SHA256SUMS`.
fn by_sums(members: &Members, troubles: &mut Vec<Trouble>) {
    let Some(text) = members.get(SUMS) else {
        troubles.push(trouble(
            SUMS,
            "is missing, so nothing says what the other members should be",
        ));
        return;
    };
    let (sums, odd) = sums::read(&String::from_utf8_lossy(text));
    troubles.extend(
        odd.iter()
            .map(|line| trouble(SUMS, &format!("has a line that is none: {line:?}"))),
    );
    for (name, sum) in &sums {
        match members.get(name) {
            None => troubles.push(trouble(name, "is missing")),
            Some(bytes) if sha256(bytes) != *sum => {
                troubles.push(trouble(name, "was changed: its SHA-256 is not the one listed"));
            }
            Some(_) => {}
        }
    }
    let extra = members
        .keys()
        .filter(|name| *name != SUMS && !sums.contains_key(*name));
    troubles.extend(extra.map(|name| trouble(name, "was added: it is not listed")));
}

/// Members against the description.
fn by_metadata(members: &Members, troubles: &mut Vec<Trouble>) {
    let Some(bytes) = members.get(METADATA) else {
        troubles.push(trouble(METADATA, "is missing"));
        return;
    };
    let graph = serde_json::from_slice::<Value>(bytes)
        .ok()
        .and_then(|value| value.get("@graph").and_then(Value::as_array).cloned());
    let Some(graph) = graph else {
        troubles.push(trouble(
            METADATA,
            "is no RO-Crate: it has no list of things in @graph",
        ));
        return;
    };
    let mut described = BTreeSet::new();
    for entity in graph
        .iter()
        .filter(|e| e.get("@type").and_then(Value::as_str) == Some("File"))
    {
        let word = |key: &str| entity.get(key).and_then(Value::as_str).unwrap_or("");
        let name = word("@id");
        described.insert(name.to_owned());
        match members.get(name) {
            None => troubles.push(trouble(name, "is described and missing")),
            Some(bytes) => {
                if sha256(bytes) != word("sha256") || bytes.len().to_string() != word("contentSize") {
                    troubles.push(trouble(name, "has another SHA-256 or size than its description"));
                }
            }
        }
    }
    let own = [METADATA, SUMS];
    let missing = members
        .keys()
        .filter(|name| !own.contains(&name.as_str()) && !described.contains(*name));
    troubles.extend(missing.map(|name| trouble(name, "is not described")));
}

/// The inputs beside the recording against those in it.
fn by_inputs(recording: &Recording, members: &Members, troubles: &mut Vec<Trouble>) {
    let kept = &recording.header().files;
    for (name, text) in kept {
        let member = format!("{INPUTS}{name}");
        if members.get(&member).is_some_and(|bytes| bytes != text.as_bytes()) {
            troubles.push(trouble(&member, "is not what the recording keeps"));
        }
    }
    for member in members.keys() {
        if let Some(name) = member.strip_prefix(INPUTS)
            && !kept.iter().any(|(known, _)| known == name)
        {
            troubles.push(trouble(member, "is not known to the recording"));
        }
    }
}

/// The page is what this version makes of the fit; of other versions that cannot be said.
fn by_page(
    document: &FitDocument,
    members: &Members,
    troubles: &mut Vec<Trouble>,
) -> Result<(), PublishError> {
    if document.software.version != crate::software().version {
        return Ok(());
    }
    let page = crate::report::html(document, &crate::report::plots(document)?);
    if members.get(PAGE).is_some_and(|bytes| bytes != page.as_bytes()) {
        troubles.push(trouble(
            PAGE,
            "is not the page that this version makes of the fit",
        ));
    }
    Ok(())
}
