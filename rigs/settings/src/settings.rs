//! A parsed settings file, and the one way to take a value out of it.

use alloc::{borrow::ToOwned, format, string::String};
use core::cell::RefCell;

use toml::de::DeTable;

use crate::{
    finding::{Finding, Findings, Place},
    nearest::nearest,
    section::Section,
    tree::{self, Lines, Table, Value},
};

/// Largest accepted file. A settings file is written by hand; anything larger is a wrong file.
pub const MAX_BYTES: usize = 1 << 20;

/// A settings file being read. See the [crate documentation](crate) for how.
#[derive(Debug)]
pub struct Settings {
    file: String,
    table: Table,
    findings: RefCell<Findings>,
}

impl Settings {
    /// Parses `text`; `file` is only used in messages.
    ///
    /// # Errors
    /// All syntax errors of the file with their lines, or one finding for a file over [`MAX_BYTES`]. Never panics.
    pub fn parse(file: &str, text: &str) -> Result<Self, Findings> {
        if text.len() > MAX_BYTES {
            let problem = format!(
                "the file has {} bytes, more than the {MAX_BYTES} allowed",
                text.len()
            );
            return Err(Finding::new(file, &Place::default(), problem, "give a settings file").into());
        }
        let lines = Lines::new(text);
        let (document, errors) = DeTable::parse_recoverable(text);
        let mut findings = Findings::new();
        for error in errors {
            let place = Place {
                line: error.span().map_or(1, |s| lines.line(s.start)),
                ..Place::default()
            };
            let problem = format!("not valid TOML: {}", error.message());
            findings.push(Finding::new(
                file,
                &place,
                problem,
                "correct the line (or the one before it)",
            ));
        }
        let table = tree::table(document.get_ref(), &lines);
        findings.or_value(Self {
            file: file.to_owned(),
            table,
            findings: RefCell::default(),
        })
    }

    /// The name of the file, as messages use it.
    pub fn file(&self) -> &str {
        &self.file
    }

    /// The top of the file.
    pub fn root(&self) -> Section<'_> {
        Section::new(self, Some(&self.table), String::new(), 1)
    }

    /// A top-level table that must be there; short for `root().section(key)`.
    pub fn table(&self, key: &str) -> Section<'_> {
        self.root().section(key)
    }

    /// Notes a finding of the reader's own.
    pub fn report(&self, finding: Finding) {
        self.findings.borrow_mut().push(finding);
    }

    /// Whether anything has been found so far. Use it to skip checks that placeholders would set off.
    pub fn has_findings(&self) -> bool {
        !self.findings.borrow().is_empty()
    }

    /// Hands `value` out if the whole file was right: no findings, and no key in an opened table that no reader asked
    /// for.
    ///
    /// # Errors
    /// Everything that was found, in the order of lines.
    pub fn finish<T>(self, value: T) -> Result<T, Findings> {
        // Opening the root by reading from it is not needed to have its keys checked.
        self.table.opened.set(true);
        self.unknown_keys(&self.table, "");
        self.findings.into_inner().or_value(value)
    }

    fn unknown_keys(&self, table: &Table, path: &str) {
        if !table.opened.get() {
            return;
        }
        for (key, item) in &table.items {
            let full = if path.is_empty() {
                key.clone()
            } else {
                format!("{path}.{key}")
            };
            if !item.known.get() {
                self.unknown_key(table, key, &full, item.line, &item.written);
                continue;
            }
            match &item.value {
                Value::Table(inner) => self.unknown_keys(inner, &full),
                Value::Array(list) => {
                    for (i, element) in list.iter().enumerate() {
                        if let Value::Table(inner) = &element.value {
                            self.unknown_keys(inner, &format!("{full}[{}]", i + 1));
                        }
                    }
                }
                _ => {}
            }
        }
    }

    fn unknown_key(&self, table: &Table, key: &str, full: &str, line: usize, written: &str) {
        let asked = table.asked.borrow();
        let free = asked
            .iter()
            .map(String::as_str)
            .filter(|known| !table.items.contains_key(*known));
        let fix = match nearest(key, free) {
            Some(near) => format!("did you mean `{near}`?"),
            None => "remove it, or see the shipped files for the keys of this table".to_owned(),
        };
        let place = Place {
            line,
            key: full.to_owned(),
            written: written.to_owned(),
        };
        let mut finding = Finding::new(&self.file, &place, "unknown key", fix);
        if !asked.is_empty() {
            finding = finding.allowing(asked.join(", "));
        }
        self.report(finding);
    }
}
