//! A group of fits, and which of its runs were made without touching the fixture.

use std::collections::BTreeMap;

use crate::fitting::{FitDocument, SCHEMA_VERSION};
use crate::recording::CLAMPING;

/// What is known of the rim between the runs that are compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Remounting {
    /// What the recordings say: runs whose clamping has the same word were made without touching the fixture.
    #[default]
    AsRecorded,
    /// The rim was clamped anew before every run.
    EveryRun,
    /// The rim stayed clamped through all runs.
    Never,
}

/// Fits that stand for one state: one unit, one setting, one time.
#[derive(Debug, Clone, PartialEq)]
pub struct Group {
    /// What it is called.
    pub name: String,
    /// Its fits, at least one.
    pub documents: Vec<FitDocument>,
}

/// Why nothing is compared.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CompareError {
    /// One group.
    #[error("{got} group given, and a comparison takes two or more: name a second fit, or a second --group")]
    TooFewGroups {
        /// Number of groups.
        got: usize,
    },
    /// A group without a fit.
    #[error("group \"{group}\" holds no fit: write it as NAME=FILE,FILE")]
    Empty {
        /// The group.
        group: String,
    },
    /// Two groups with one name.
    #[error("two groups are called \"{name}\": give each a name of its own")]
    SameName {
        /// The name.
        name: String,
    },
    /// One run in two places.
    #[error(
        "run {run_id} stands in group \"{first}\" and again in \"{second}\": a run compared with itself shows nothing"
    )]
    SameRun {
        /// The run.
        run_id: String,
        /// Where it stands.
        first: String,
        /// And again.
        second: String,
    },
    /// A document of a later version.
    #[error(
        "a fit in group \"{group}\" has layout {version}, this version reads up to {SCHEMA_VERSION}: fit its recording again with this version"
    )]
    Newer {
        /// The group.
        group: String,
        /// Its version.
        version: u32,
    },
    /// A significance that is none.
    #[error("a significance of {value} was asked for; it lies between 0 and 0.5, and 0.05 is usual")]
    Significance {
        /// The value.
        value: String,
    },
}

/// Which clamping a run belongs to.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Clamping {
    /// The same word, rig and unit: the fixture was not touched.
    Named(String),
    /// Nothing is known.
    NotStated,
}

/// The clamping that a document states, by the rule.
pub(crate) fn clamping(document: &FitDocument, remounting: Remounting) -> Clamping {
    let facts = &document.recording;
    match remounting {
        Remounting::EveryRun => Clamping::Named(format!("run {}", facts.run_id)),
        Remounting::Never => Clamping::Named("all runs".to_owned()),
        Remounting::AsRecorded => {
            let word = facts
                .extra
                .iter()
                .find(|(name, value)| name == CLAMPING && !value.trim().is_empty());
            word.map_or(Clamping::NotStated, |(_, word)| {
                Clamping::Named(format!(
                    "{}|{}|{}",
                    facts.rig.name,
                    facts.unit.serial,
                    word.trim()
                ))
            })
        }
    }
}

/// Members of a list of documents by clamping, in the order in which they first come.
pub(crate) fn clusters(documents: &[&FitDocument], remounting: Remounting) -> Vec<(Clamping, Vec<usize>)> {
    let mut places: BTreeMap<Clamping, usize> = BTreeMap::new();
    let mut found: Vec<(Clamping, Vec<usize>)> = Vec::new();
    for (index, document) in documents.iter().enumerate() {
        let own = clamping(document, remounting);
        let place = *places.entry(own.clone()).or_insert_with(|| {
            found.push((own, Vec::new()));
            found.len() - 1
        });
        if let Some((_, members)) = found.get_mut(place) {
            members.push(index);
        }
    }
    found
}

/// Refuses what cannot be compared at all.
pub(crate) fn check(groups: &[Group]) -> Result<(), CompareError> {
    if groups.len() < 2 {
        return Err(CompareError::TooFewGroups { got: groups.len() });
    }
    let mut runs: BTreeMap<&str, &str> = BTreeMap::new();
    for (index, group) in groups.iter().enumerate() {
        if group.documents.is_empty() {
            return Err(CompareError::Empty {
                group: group.name.clone(),
            });
        }
        if groups.iter().take(index).any(|other| other.name == group.name) {
            return Err(CompareError::SameName {
                name: group.name.clone(),
            });
        }
        for document in &group.documents {
            if document.schema_version > SCHEMA_VERSION {
                return Err(CompareError::Newer {
                    group: group.name.clone(),
                    version: document.schema_version,
                });
            }
            let run_id = document.recording.run_id.as_str();
            if run_id.is_empty() {
                continue;
            }
            if let Some(first) = runs.insert(run_id, &group.name) {
                return Err(CompareError::SameRun {
                    run_id: run_id.to_owned(),
                    first: first.to_owned(),
                    second: group.name.clone(),
                });
            }
        }
    }
    Ok(())
}
