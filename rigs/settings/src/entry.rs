//! A single value of the file, read as what it should be.

use alloc::{format, string::String, vec::Vec};
use core::{
    fmt,
    ops::{Bound, RangeBounds},
};

use crate::{
    finding::{Finding, Place},
    quantity::{Amount, Quantity, Unit, parse_quantity, write_number},
    range::{describe, is_above, placeholder},
    section::Section,
    settings::Settings,
    tree::{Item, Value},
};

/// A day of the calendar.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Date {
    /// Year of the common era.
    pub year: u16,
    /// Month, 1 to 12.
    pub month: u8,
    /// Day of the month, from 1.
    pub day: u8,
}

impl fmt::Display for Date {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{:02}-{:02}", self.year, self.month, self.day)
    }
}

/// A value with its place.
#[derive(Clone, Debug)]
pub struct Entry<'s> {
    settings: &'s Settings,
    item: &'s Item,
    key: String,
}

/// Something in the range to go on with after a finding.
pub(crate) fn integer_placeholder(range: &impl RangeBounds<i64>) -> i64 {
    match (range.start_bound(), range.end_bound()) {
        (Bound::Included(lo), _) => *lo,
        (_, Bound::Included(hi)) => *hi,
        _ => 0,
    }
}

impl<'s> Entry<'s> {
    pub(crate) fn new(settings: &'s Settings, item: &'s Item, key: String) -> Self {
        Self { settings, item, key }
    }

    /// Line, key and written text.
    pub fn place(&self) -> Place {
        Place {
            line: self.item.line,
            key: self.key.clone(),
            written: self.item.written.clone(),
        }
    }

    /// Notes a finding about this value.
    pub fn report(&self, problem: impl Into<String>, allowed: Option<String>, fix: impl Into<String>) {
        let mut finding = Finding::new(self.settings.file(), &self.place(), problem, fix);
        finding.allowed = allowed;
        self.settings.report(finding);
    }

    fn wrong_type(&self, wanted: &str, fix: impl Into<String>) {
        self.report(
            format!("{} where {wanted} is due", self.item.value.kind()),
            None,
            fix,
        );
    }

    /// An SI value for people, in the given unit or in the first of its kind.
    pub(crate) fn show<Q: Quantity>(si: f64, unit: Option<&Unit>) -> String {
        match unit.or(Q::UNITS.first()) {
            Some(unit) => format!("{} {}", write_number(unit.from_si(si)), unit.symbol),
            None => write_number(si),
        }
    }

    /// Whether the value is written as a quantity of this kind. Notes nothing.
    pub fn is<Q: Quantity>(&self) -> bool {
        matches!(&self.item.value, Value::Text(text) if parse_quantity::<Q>(text).is_ok())
    }

    /// A quantity in SI within `range`.
    pub fn quantity<Q: Quantity>(&self, range: impl RangeBounds<f64>) -> f64 {
        match self.amount::<Q>() {
            Some(amount) if range.contains(&amount.si) => amount.si,
            Some(amount) => {
                let allowed = describe(&range, |v| Self::show::<Q>(*v, Some(amount.unit)));
                self.outside(is_above(&range, &amount.si), allowed);
                placeholder(&range)
            }
            None => placeholder(&range),
        }
    }

    fn amount<Q: Quantity>(&self) -> Option<Amount> {
        match &self.item.value {
            Value::Text(text) => match parse_quantity::<Q>(text) {
                Ok(amount) => return Some(amount),
                Err(error) => self.report(
                    format!("not a {}: it {error}", Q::NAME),
                    None,
                    format!("write it like \"{}\"", Q::EXAMPLE),
                ),
            },
            Value::Integer(_) | Value::Float(_) => self.report(
                format!("a bare number where a {} with its unit is due", Q::NAME),
                None,
                format!("write it as a text with its unit, like \"{}\"", Q::EXAMPLE),
            ),
            _ => self.wrong_type(
                &format!("a {}", Q::NAME),
                format!("write it like \"{}\"", Q::EXAMPLE),
            ),
        }
        None
    }

    fn outside(&self, above: bool, allowed: Option<String>) {
        let (problem, fix) = if above {
            ("too great", "lower it")
        } else {
            ("too small", "raise it")
        };
        self.report(problem, allowed, fix);
    }

    /// Two quantities `[low, high]`, the first below the second.
    pub fn pair<Q: Quantity>(&self, range: impl RangeBounds<f64>) -> [f64; 2] {
        let wrong = [placeholder(&range); 2];
        let elements = self.elements(2..=2);
        let [low, high] = elements.as_slice() else {
            return wrong;
        };
        let (Some(a), Some(b)) = (low.amount::<Q>(), high.amount::<Q>()) else {
            return wrong;
        };
        for (entry, amount) in [(low, a), (high, b)] {
            if !range.contains(&amount.si) {
                let allowed = describe(&range, |v| Self::show::<Q>(*v, Some(amount.unit)));
                entry.outside(is_above(&range, &amount.si), allowed);
                return wrong;
            }
        }
        if a.si >= b.si {
            self.report(
                "the first value is not below the second",
                None,
                "give the lower value first",
            );
            return wrong;
        }
        [a.si, b.si]
    }

    /// The elements of a list of `count` elements; empty after a finding.
    pub fn elements(&self, count: impl RangeBounds<usize>) -> Vec<Entry<'s>> {
        let Value::Array(list) = &self.item.value else {
            self.wrong_type("a list", "write it in square brackets, [ … ]");
            return Vec::new();
        };
        if !count.contains(&list.len()) {
            let allowed = describe(&count, |n| format!("{n}"));
            self.report(
                format!("a list of {} elements", list.len()),
                allowed,
                "change the number of elements",
            );
            return Vec::new();
        }
        let element = |(i, item)| Entry::new(self.settings, item, format!("{}[{}]", self.key, i + 1));
        list.iter().enumerate().map(element).collect()
    }

    /// A bare number within `range`.
    pub fn number(&self, range: impl RangeBounds<f64>) -> f64 {
        let value = match self.item.value {
            // Beyond 2^53 whole numbers lose digits as f64; no setting needs them.
            Value::Integer(Some(whole)) => whole as f64,
            Value::Float(value) if value.is_finite() => value,
            Value::Float(_) | Value::Integer(None) => {
                self.report("not a finite number", None, "write a number");
                return placeholder(&range);
            }
            _ => {
                self.wrong_type("a number", "write a number without quotes and without a unit");
                return placeholder(&range);
            }
        };
        if range.contains(&value) {
            return value;
        }
        self.outside(is_above(&range, &value), describe(&range, |v| write_number(*v)));
        placeholder(&range)
    }

    /// A whole number within `range`.
    pub fn integer(&self, range: impl RangeBounds<i64>) -> i64 {
        match self.item.value {
            Value::Integer(Some(value)) if range.contains(&value) => return value,
            Value::Integer(Some(value)) => {
                self.outside(is_above(&range, &value), describe(&range, |v| format!("{v}")));
            }
            Value::Integer(None) => self.report("a number with too many digits", None, "write a smaller one"),
            _ => self.wrong_type("a whole number", "write a whole number without quotes"),
        }
        integer_placeholder(&range)
    }

    /// A text that is not empty, of at most 200 characters, without control characters.
    pub fn text(&self) -> String {
        match &self.item.value {
            Value::Text(text) if text.trim().is_empty() => {
                self.report("an empty text", None, "write something")
            }
            Value::Text(text) if text.chars().count() > 200 => {
                self.report("a text of more than 200 characters", None, "shorten it");
            }
            Value::Text(text) if text.chars().any(char::is_control) => {
                self.report("a text with control characters", None, "write it on one line");
            }
            Value::Text(text) => return text.trim().into(),
            _ => self.wrong_type("a text", "write it in quotes"),
        }
        String::new()
    }

    /// One of several words; nothing after a finding.
    pub fn choice<T: Copy>(&self, choices: &[(&str, T)]) -> Option<T> {
        let words = || {
            choices
                .iter()
                .map(|(word, _)| format!("\"{word}\""))
                .collect::<Vec<_>>()
                .join(", ")
        };
        match &self.item.value {
            Value::Text(text) => {
                let found = choices
                    .iter()
                    .find(|(word, _)| word == text)
                    .map(|(_, value)| *value);
                if found.is_none() {
                    self.report(
                        "not one of the words known here",
                        Some(words()),
                        "use one of them",
                    );
                }
                found
            }
            _ => {
                self.wrong_type("a word in quotes", format!("write one of {}", words()));
                None
            }
        }
    }

    /// `true` or `false`; `false` after a finding.
    pub fn boolean(&self) -> bool {
        match self.item.value {
            Value::Boolean(state) => state,
            _ => {
                self.wrong_type("true or false", "write true or false without quotes");
                false
            }
        }
    }

    /// A plain date.
    pub fn date(&self) -> Date {
        match self.item.value {
            Value::Date(Some((year, month, day))) => Date { year, month, day },
            _ => {
                self.wrong_type("a plain date", "write it without quotes, like 2026-03-01");
                Date::default()
            }
        }
    }

    /// A table.
    pub fn section(&self) -> Section<'s> {
        self.item.known.set(true);
        Section::of_value(self.settings, &self.item.value, self.key.clone(), self.item.line).unwrap_or_else(
            || {
                self.wrong_type("a table", format!("write a table `[{}]`", self.key));
                Section::absent(self.settings, self.key.clone(), self.item.line)
            },
        )
    }
}
