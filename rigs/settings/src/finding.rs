//! What is wrong with a file, said so that it can be put right without looking anything up.

use alloc::{string::String, vec::Vec};
use core::fmt;

/// Where a value stands in a file, kept beside the value so that later checks can still point at it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Place {
    /// Line, counted from 1; 0 where the value was not in the file (a default).
    pub line: usize,
    /// Full key, such as `rig.limits.torque` or `segment[2].levels[1]` (elements counted from 1).
    pub key: String,
    /// The value as written in the file, shortened if long; empty for a table or a default.
    pub written: String,
}

/// One thing that is wrong with a file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Name of the file as the caller gave it.
    pub file: String,
    /// Line, key and value.
    pub place: Place,
    /// What is wrong, in a few words.
    pub problem: String,
    /// What would be allowed, where that can be said as a range or list.
    pub allowed: Option<String>,
    /// What to do.
    pub fix: String,
}

impl Finding {
    /// A finding at `place` of `file`.
    pub fn new(file: &str, place: &Place, problem: impl Into<String>, fix: impl Into<String>) -> Self {
        Self {
            file: file.into(),
            place: place.clone(),
            problem: problem.into(),
            allowed: None,
            fix: fix.into(),
        }
    }

    /// The same with what would be allowed.
    #[must_use]
    pub fn allowing(mut self, allowed: impl Into<String>) -> Self {
        self.allowed = Some(allowed.into());
        self
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if self.place.line > 0 {
            write!(f, ":{}", self.place.line)?;
        }
        f.write_str(": ")?;
        if !self.place.key.is_empty() {
            f.write_str(&self.place.key)?;
            if !self.place.written.is_empty() {
                write!(f, " = {}", self.place.written)?;
            }
            f.write_str(": ")?;
        }
        f.write_str(&self.problem)?;
        if let Some(allowed) = &self.allowed {
            write!(f, " (allowed: {allowed})")?;
        }
        if !self.fix.is_empty() {
            write!(f, "; {}", self.fix)?;
        }
        Ok(())
    }
}

/// Everything that is wrong with a file, in the order of its lines. Never empty when it is an error.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Findings(Vec<Finding>);

impl Findings {
    /// Nothing found yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Adds a finding, keeping the order of lines.
    pub fn push(&mut self, finding: Finding) {
        let at = self.0.partition_point(|f| f.place.line <= finding.place.line);
        self.0.insert(at, finding);
    }

    /// The findings in the order of their lines.
    pub fn iter(&self) -> core::slice::Iter<'_, Finding> {
        self.0.iter()
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.0.len()
    }

    /// Whether nothing was found.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// `value` if nothing was found.
    ///
    /// # Errors
    /// These findings, if there are any.
    pub fn or_value<T>(self, value: T) -> Result<T, Self> {
        if self.is_empty() { Ok(value) } else { Err(self) }
    }
}

impl From<Finding> for Findings {
    fn from(finding: Finding) -> Self {
        Self(alloc::vec![finding])
    }
}

impl<'a> IntoIterator for &'a Findings {
    type Item = &'a Finding;
    type IntoIter = core::slice::Iter<'a, Finding>;
    fn into_iter(self) -> Self::IntoIter {
        self.iter()
    }
}

impl fmt::Display for Findings {
    /// One finding a line.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, finding) in self.0.iter().enumerate() {
            if i > 0 {
                f.write_str("\n")?;
            }
            write!(f, "{finding}")?;
        }
        Ok(())
    }
}

impl core::error::Error for Findings {}
