//! A table of the file, read key by key.

use alloc::{borrow::ToOwned, format, string::String, vec::Vec};
use core::ops::RangeBounds;

use crate::{
    entry::{Date, Entry},
    finding::{Finding, Place},
    quantity::{Quantity, parse_quantity},
    range::{describe, placeholder},
    settings::Settings,
    tree::{Table, Value},
};

/// A table of a settings file. Each read marks its key as known; a missing table was reported once and gives
/// placeholders without further findings.
#[derive(Clone, Debug)]
pub struct Section<'s> {
    settings: &'s Settings,
    table: Option<&'s Table>,
    path: String,
    line: usize,
}

impl<'s> Section<'s> {
    pub(crate) fn new(settings: &'s Settings, table: Option<&'s Table>, path: String, line: usize) -> Self {
        if let Some(table) = table {
            table.opened.set(true);
        }
        Self {
            settings,
            table,
            path,
            line,
        }
    }

    /// The line of the table's name.
    pub fn line(&self) -> usize {
        self.line
    }

    /// The full key of the table.
    pub fn path(&self) -> &str {
        &self.path
    }

    /// Whether the table is in the file.
    pub fn is_present(&self) -> bool {
        self.table.is_some()
    }

    /// Whether the table has the key. Does not mark it as known.
    pub fn has(&self, key: &str) -> bool {
        self.table.is_some_and(|t| t.items.contains_key(key))
    }

    fn full(&self, key: &str) -> String {
        if self.path.is_empty() {
            key.to_owned()
        } else {
            format!("{}.{key}", self.path)
        }
    }

    /// Where a key stands; for a key that is absent, the line of its table.
    pub fn place(&self, key: &str) -> Place {
        match self.table.and_then(|t| t.items.get(key)) {
            Some(item) => Place {
                line: item.line,
                key: self.full(key),
                written: item.written.clone(),
            },
            None => Place {
                line: self.line,
                key: self.full(key),
                written: String::new(),
            },
        }
    }

    /// Notes a finding about a key, for checks across keys.
    pub fn report(
        &self,
        key: &str,
        problem: impl Into<String>,
        allowed: Option<String>,
        fix: impl Into<String>,
    ) {
        let mut finding = Finding::new(self.settings.file(), &self.place(key), problem, fix);
        finding.allowed = allowed;
        self.settings.report(finding);
    }

    /// The value of a key if it is there; marks the key as known.
    pub fn optional(&self, key: &str) -> Option<Entry<'s>> {
        let table = self.table?;
        let mut asked = table.asked.borrow_mut();
        if !asked.iter().any(|k| k == key) {
            asked.push(key.to_owned());
        }
        let item = table.items.get(key)?;
        item.known.set(true);
        Some(Entry::new(self.settings, item, self.full(key)))
    }

    /// The value of a key; a finding if it is missing. `form` says how it would be written.
    fn required(&self, key: &str, form: &str, allowed: Option<String>) -> Option<Entry<'s>> {
        let entry = self.optional(key);
        if entry.is_none() && self.table.is_some() {
            self.report(key, "missing", allowed, format!("add `{key} = {form}`"));
        }
        entry
    }

    /// Any value that must be there, for readers that accept several forms; `example` is shown where it is missing.
    pub fn entry(&self, key: &str, example: &str) -> Option<Entry<'s>> {
        self.required(key, example, None)
    }

    /// A quantity in SI that must be there and within `range` (given in SI).
    pub fn quantity<Q: Quantity>(&self, key: &str, range: impl RangeBounds<f64>) -> f64 {
        let allowed = describe(&range, |v| Entry::show::<Q>(*v, None));
        match self.required(key, &format!("\"{}\"", example::<Q>(&range)), allowed) {
            Some(entry) => entry.quantity::<Q>(range),
            None => placeholder(&range),
        }
    }

    /// A quantity that may be left out.
    pub fn optional_quantity<Q: Quantity>(&self, key: &str, range: impl RangeBounds<f64>) -> Option<f64> {
        self.optional(key).map(|entry| entry.quantity::<Q>(range))
    }

    /// A quantity that is `default` (SI) where left out.
    pub fn quantity_or<Q: Quantity>(&self, key: &str, range: impl RangeBounds<f64>, default: f64) -> f64 {
        self.optional_quantity::<Q>(key, range).unwrap_or(default)
    }

    /// Two quantities `[low, high]`, the first below the second, both within `range`.
    pub fn pair<Q: Quantity>(&self, key: &str, range: impl RangeBounds<f64>) -> [f64; 2] {
        let form = format!("[\"low\", \"high\"], each like \"{}\"", Q::EXAMPLE);
        match self.required(key, &form, describe(&range, |v| Entry::show::<Q>(*v, None))) {
            Some(entry) => entry.pair::<Q>(range),
            None => [placeholder(&range); 2],
        }
    }

    /// A list of quantities with `count` elements, each within `range`.
    pub fn quantities<Q: Quantity>(
        &self,
        key: &str,
        range: impl RangeBounds<f64>,
        count: impl RangeBounds<usize>,
    ) -> Vec<f64> {
        match self.required(key, &format!("[\"{}\", …]", Q::EXAMPLE), None) {
            Some(entry) => entry
                .elements(count)
                .iter()
                .map(|e| e.quantity::<Q>(Borrowed(&range)))
                .collect(),
            None => Vec::new(),
        }
    }

    /// A bare number within `range`, for what has no unit by nature (a count may be fractional, an order of 0.65).
    pub fn number(&self, key: &str, range: impl RangeBounds<f64>) -> f64 {
        match self.required(key, "a number", describe(&range, |v| crate::write_number(*v))) {
            Some(entry) => entry.number(range),
            None => placeholder(&range),
        }
    }

    /// A bare number that is `default` where left out.
    pub fn number_or(&self, key: &str, range: impl RangeBounds<f64>, default: f64) -> f64 {
        self.optional(key).map_or(default, |entry| entry.number(range))
    }

    /// A whole number within `range`.
    pub fn integer(&self, key: &str, range: impl RangeBounds<i64>) -> i64 {
        match self.required(key, "a whole number", describe(&range, |v| format!("{v}"))) {
            Some(entry) => entry.integer(range),
            None => crate::entry::integer_placeholder(&range),
        }
    }

    /// A whole number that is `default` where left out.
    pub fn integer_or(&self, key: &str, range: impl RangeBounds<i64>, default: i64) -> i64 {
        self.optional(key).map_or(default, |entry| entry.integer(range))
    }

    /// A text that is not empty and at most 200 characters long.
    pub fn text(&self, key: &str) -> String {
        self.required(key, "\"…\"", None)
            .map(|entry| entry.text())
            .unwrap_or_default()
    }

    /// A text that may be left out.
    pub fn optional_text(&self, key: &str) -> Option<String> {
        self.optional(key).map(|entry| entry.text())
    }

    /// One of several words, each with its value; the first one's value is the placeholder.
    pub fn choice<T: Copy>(&self, key: &str, choices: &[(&str, T)]) -> Option<T> {
        let words: Vec<String> = choices.iter().map(|(word, _)| format!("\"{word}\"")).collect();
        let entry = self.required(
            key,
            words.first().map_or("\"…\"", String::as_str),
            Some(words.join(", ")),
        )?;
        entry.choice(choices)
    }

    /// One of several words, `default` where left out.
    pub fn choice_or<T: Copy>(&self, key: &str, choices: &[(&str, T)], default: T) -> T {
        self.optional(key)
            .and_then(|entry| entry.choice(choices))
            .unwrap_or(default)
    }

    /// `true` or `false`.
    pub fn boolean(&self, key: &str) -> bool {
        self.required(key, "true", None)
            .is_some_and(|entry| entry.boolean())
    }

    /// `true` or `false`, `default` where left out.
    pub fn boolean_or(&self, key: &str, default: bool) -> bool {
        self.optional(key).map_or(default, |entry| entry.boolean())
    }

    /// A plain date, written without quotes: `2026-03-01`.
    pub fn date(&self, key: &str) -> Date {
        self.required(key, "2026-03-01", None)
            .map(|entry| entry.date())
            .unwrap_or_default()
    }

    /// A table that must be there.
    pub fn section(&self, key: &str) -> Section<'s> {
        match self.optional(key) {
            Some(entry) => entry.section(),
            None => {
                if self.table.is_some() {
                    let full = self.full(key);
                    self.report(key, "missing table", None, format!("add a table `[{full}]`"));
                }
                Section::new(self.settings, None, self.full(key), self.line)
            }
        }
    }

    /// A table that may be left out.
    pub fn optional_section(&self, key: &str) -> Option<Section<'s>> {
        self.optional(key).map(|entry| entry.section())
    }

    /// An array of tables, `[[key]]`, with `count` elements. No element and no finding where `count` allows none.
    pub fn sections(&self, key: &str, count: impl RangeBounds<usize>) -> Vec<Section<'s>> {
        match self.optional(key) {
            Some(entry) => entry.elements(count).iter().map(Entry::section).collect(),
            None => {
                if self.table.is_some() && !count.contains(&0) {
                    let full = self.full(key);
                    self.report(
                        key,
                        "missing",
                        None,
                        format!("add at least one table `[[{full}]]`"),
                    );
                }
                Vec::new()
            }
        }
    }

    /// Leaves a key to another reader: it is known here, and nothing inside it is looked at.
    pub fn leave_to_others(&self, key: &str) {
        if let Some(table) = self.table {
            table.asked.borrow_mut().push(key.to_owned());
            if let Some(item) = table.items.get(key) {
                item.known.set(true);
            }
        }
    }

    /// The names of the keys in the table, in the order of the alphabet; for tables whose keys are names.
    pub fn keys(&self) -> Vec<&'s str> {
        self.table
            .map(|t| t.items.keys().map(String::as_str).collect())
            .unwrap_or_default()
    }

    pub(crate) fn of_value(
        settings: &'s Settings,
        value: &'s Value,
        path: String,
        line: usize,
    ) -> Option<Self> {
        match value {
            Value::Table(table) => Some(Self::new(settings, Some(table), path, line)),
            _ => None,
        }
    }

    pub(crate) fn absent(settings: &'s Settings, path: String, line: usize) -> Self {
        Self::new(settings, None, path, line)
    }
}

/// A value to show where one is missing: the usual one of its kind if the range has it, an end of the range otherwise.
fn example<Q: Quantity>(range: &impl RangeBounds<f64>) -> String {
    match parse_quantity::<Q>(Q::EXAMPLE) {
        Ok(amount) if !range.contains(&amount.si) => Entry::show::<Q>(placeholder(range), Some(amount.unit)),
        _ => Q::EXAMPLE.to_owned(),
    }
}

/// A range used several times.
struct Borrowed<'r, R>(&'r R);

impl<R: RangeBounds<f64>> RangeBounds<f64> for Borrowed<'_, R> {
    fn start_bound(&self) -> core::ops::Bound<&f64> {
        self.0.start_bound()
    }
    fn end_bound(&self) -> core::ops::Bound<&f64> {
        self.0.end_bound()
    }
}
