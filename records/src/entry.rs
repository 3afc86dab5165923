//! Entries and the chain that binds them.
//!
//! An entry is a line of canonical JSON, which is stored as it is. Its digest is the SHA-256 of the line; its link is the
//! SHA-256 of the link before it, a space, its digest and a line feed. So each link stands for all entries up to its own, and
//! whoever holds the digests alone can follow the chain without seeing what other entries say.

use serde::de::IgnoredAny;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::canonical::{canonical, sha256};
use crate::content::Kind;
use crate::error::RecordsError;

/// The link before the first entry.
pub const FIRST_LINK: &str = "0000000000000000000000000000000000000000000000000000000000000000";

/// Who enters, when, with what.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stamp {
    /// When, RFC 3339.
    pub entered: String,
    /// Who; empty if not said.
    pub by: String,
    /// The program, its version and build.
    pub software: String,
}

/// What an entry's line holds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Line<C = Value> {
    pub(crate) by: String,
    pub(crate) content: C,
    pub(crate) entered: String,
    pub(crate) key: String,
    pub(crate) kind: String,
    pub(crate) seq: i64,
    pub(crate) software: String,
}

/// An entry as it lies in the database.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Entry {
    /// Its number, from 1 without a gap.
    pub seq: i64,
    /// What it is.
    pub kind: String,
    /// What tells it from others of its kind.
    pub key: String,
    /// SHA-256 of the line.
    pub digest: String,
    /// SHA-256 of the link before, a space, the digest and a line feed.
    pub link: String,
    /// The canonical JSON.
    pub line: String,
}

/// The link that follows one.
#[must_use]
pub fn next_link(before: &str, digest: &str) -> String {
    sha256(format!("{before} {digest}\n"))
}

impl Entry {
    pub(crate) fn new(
        seq: i64,
        link_before: &str,
        kind: Kind,
        key: &str,
        content: &impl Serialize,
        stamp: &Stamp,
    ) -> Self {
        let line = canonical(&Line {
            by: stamp.by.clone(),
            content: serde_json::to_value(content).unwrap_or(Value::Null),
            entered: stamp.entered.clone(),
            key: key.to_owned(),
            kind: kind.word().to_owned(),
            seq,
            software: stamp.software.clone(),
        });
        let digest = sha256(&line);
        Self {
            seq,
            kind: kind.word().to_owned(),
            key: key.to_owned(),
            link: next_link(link_before, &digest),
            digest,
            line,
        }
    }

    pub(crate) fn damaged(&self, problem: impl Into<String>) -> RecordsError {
        RecordsError::Damaged {
            entry: self.seq,
            problem: problem.into(),
        }
    }

    pub(crate) fn parsed(&self) -> Result<Line, RecordsError> {
        serde_json::from_str(&self.line)
            .map_err(|error| self.damaged(format!("its line is no entry ({error})")))
    }

    /// Its line without its content.
    pub(crate) fn heading(&self) -> Result<Line<IgnoredAny>, RecordsError> {
        serde_json::from_str(&self.line)
            .map_err(|error| self.damaged(format!("its line is no entry ({error})")))
    }

    /// Which kind of entry it is.
    ///
    /// # Errors
    /// [`RecordsError::Damaged`] for a word that no version has written.
    pub fn kind(&self) -> Result<Kind, RecordsError> {
        Kind::of_word(&self.kind).ok_or_else(|| self.damaged(format!("its kind is \"{}\"", self.kind)))
    }

    /// Who entered it, when and with what.
    ///
    /// # Errors
    /// [`RecordsError::Damaged`] when the line cannot be read.
    pub fn stamp(&self) -> Result<Stamp, RecordsError> {
        let line = self.heading()?;
        Ok(Stamp {
            entered: line.entered,
            by: line.by,
            software: line.software,
        })
    }

    /// What it says, as the type of its kind.
    ///
    /// # Errors
    /// [`RecordsError::Damaged`] when the line cannot be read as that.
    pub fn content<T: serde::de::DeserializeOwned>(&self) -> Result<T, RecordsError> {
        // At once into the type; where that fails, step by step, to say what is wrong.
        if let Ok(line) = serde_json::from_str::<Line<T>>(&self.line) {
            return Ok(line.content);
        }
        serde_json::from_value(self.parsed()?.content)
            .map_err(|error| self.damaged(format!("its content is no {} ({error})", self.kind)))
    }
}
