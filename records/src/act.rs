//! Notes, corrections and judgements.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::canonical::{canonical, sha256};
use crate::content::{CORRECTABLE, Correction, Fit, Judgement, Kind, Note, Recording, recording_key};
use crate::derive::{entry_at, facts_in_force};
use crate::entry::Stamp;
use crate::error::RecordsError;
use crate::limits::{Limits, judge};
use crate::read::UnitName;
use crate::store::{Placed, Store};

/// What a note is about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum About {
    /// A unit as a whole.
    Unit(UnitName),
    /// One entry.
    Entry(i64),
}

/// What a correction says.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Correcting {
    /// The entry.
    pub entry: i64,
    /// Why; must not be empty.
    pub reason: String,
    /// Withdraws the entry; false takes it back where it was withdrawn.
    pub withdraw: bool,
    /// What holds instead, by its word in [`CORRECTABLE`].
    pub facts: BTreeMap<String, String>,
}

fn unknown_entry(seq: i64) -> RecordsError {
    RecordsError::Unknown {
        what: format!("there is no entry {seq}"),
        advice: "`truerim records history` shows the numbers of a unit's entries".to_owned(),
    }
}

impl Store {
    /// Adds a remark.
    ///
    /// # Errors
    /// [`RecordsError::Unknown`] for an entry that is not there, [`RecordsError::Refused`] for an empty text.
    pub fn note(&mut self, about: &About, text: &str, stamp: &Stamp) -> Result<Placed, RecordsError> {
        if text.trim().is_empty() {
            return Err(RecordsError::Refused {
                what: "a note".to_owned(),
                why: "it is empty; write what is to be remembered".to_owned(),
            });
        }
        let content = Note {
            unit: match about {
                About::Unit(unit) => Some((unit.model.clone(), unit.serial.clone())),
                About::Entry(_) => None,
            },
            entry: match about {
                About::Unit(_) => None,
                About::Entry(entry) => Some(*entry),
            },
            text: text.to_owned(),
        };
        let key = once(Kind::Note, &content, stamp);
        self.change(|change| {
            if let Some(entry) = content.entry
                && entry_at(change.database, entry)?.is_none()
            {
                return Err(unknown_entry(entry));
            }
            change.append(Kind::Note, &key, &content, stamp)
        })
    }

    /// Adds a correction. The entry that it corrects stays as it is, and in the history of its unit.
    ///
    /// # Errors
    /// [`RecordsError::Unknown`] for an entry that is not there; [`RecordsError::Refused`] for a correction without a reason, of a
    /// correction, of facts that an entry does not have, or that changes nothing.
    pub fn correct(&mut self, correcting: &Correcting, stamp: &Stamp) -> Result<Placed, RecordsError> {
        let Correcting {
            entry,
            reason,
            withdraw,
            facts,
        } = correcting;
        let refused = |why: &str| RecordsError::Refused {
            what: format!("a correction of entry {entry}"),
            why: why.to_owned(),
        };
        if reason.trim().is_empty() {
            return Err(refused("it gives no reason; say why the entry is wrong"));
        }
        if let Some(word) = facts.keys().find(|word| !CORRECTABLE.contains(&word.as_str())) {
            let what = format!("\"{word}\" cannot be corrected, only {}", CORRECTABLE.join(", "));
            return Err(refused(&what));
        }
        for word in ["model", "serial", "bench"] {
            if facts.get(word).is_some_and(String::is_empty) {
                return Err(refused(&format!("{word} must not be empty")));
            }
        }
        self.change(|change| {
            let corrected = entry_at(change.database, *entry)?.ok_or_else(|| unknown_entry(*entry))?;
            let kind = corrected.kind()?;
            if kind == Kind::Correction {
                return Err(refused(
                    "it is a correction itself; correct the entry that it is about once more",
                ));
            }
            if !facts.is_empty() && kind != Kind::Recording {
                return Err(refused(
                    "only a recording has facts to correct; this one can be withdrawn, and measured again",
                ));
            }
            if facts.is_empty() && *withdraw == crate::read::is_withdrawn(change.database, *entry)? {
                let state = if *withdraw {
                    "withdrawn already"
                } else {
                    "in force already"
                };
                return Err(refused(&format!("it is {state}")));
            }
            let content = Correction {
                entry: *entry,
                digest: corrected.digest,
                reason: reason.clone(),
                withdrawn: *withdraw,
                facts: facts.clone(),
            };
            let key = once(Kind::Correction, &content, stamp);
            change.append(Kind::Correction, &key, &content, stamp)
        })
    }
}

/// A judgement and where it stands.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct JudgedFit {
    /// What is said.
    pub judgement: Judgement,
    /// Its entry.
    pub placed: Placed,
}

impl Store {
    /// Judges the fit of an entry by limits, and adds limits and judgement; what is there already stays as it is.
    ///
    /// # Errors
    /// [`RecordsError::Unknown`] for an entry that is no fit; [`RecordsError::Refused`] when the limits are for another model, or a
    /// limit is of another kind than its measurand.
    pub fn judge(&mut self, fit: i64, limits: &Limits, stamp: &Stamp) -> Result<JudgedFit, RecordsError> {
        self.change(|change| {
            let entry = entry_at(change.database, fit)?.ok_or_else(|| unknown_entry(fit))?;
            if entry.kind()? != Kind::Fit {
                return Err(RecordsError::Unknown {
                    what: format!("entry {fit} is a {}, not a fit", entry.kind),
                    advice: "name the entry of a fit".to_owned(),
                });
            }
            let content: Fit = entry.content()?;
            let recording = change.there(&recording_key(&content.seal))?;
            let seq = recording.map(|placed| placed.seq).unwrap_or_default();
            let recording = entry_at(change.database, seq)?.ok_or_else(|| unknown_entry(seq))?;
            let facts = facts_in_force(change.database, seq, i64::MAX)?;
            let recording = recording.content::<Recording>()?.corrected(&facts);
            if recording.unit.model != limits.text.model {
                return Err(RecordsError::Refused {
                    what: format!(
                        "a judgement of {} by \"{}\"",
                        recording.unit.serial, limits.text.name
                    ),
                    why: format!(
                        "these limits are for the model {}, the unit is a {}",
                        limits.text.model, recording.unit.model
                    ),
                });
            }
            let judgement = judge(limits, &content, recording.calibration.overdue)?;
            change.append(Kind::Limits, &limits.text.key(), &limits.text, stamp)?;
            let placed = change.append(Kind::Judgement, &judgement.key(), &judgement, stamp)?;
            Ok(JudgedFit { judgement, placed })
        })
    }
}

/// A key for what is said once: who says the same again at another time means it again.
fn once(kind: Kind, content: &impl serde::Serialize, stamp: &Stamp) -> String {
    let text = format!("{} {} {}", canonical(content), stamp.entered, stamp.by);
    format!("{} {}", kind.word(), sha256(text))
}
