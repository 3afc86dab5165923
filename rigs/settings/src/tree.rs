//! The parsed file as owned values, each with its line and its text.

use alloc::{borrow::ToOwned, collections::BTreeMap, string::String, vec::Vec};
use core::cell::{Cell, RefCell};

use toml::de::{DeTable, DeValue};

/// What stands behind a key.
#[derive(Debug)]
pub(crate) enum Value {
    Text(String),
    /// `None` where the digits do not fit.
    Integer(Option<i64>),
    Float(f64),
    Boolean(bool),
    /// Year, month, day where it is a plain date.
    Date(Option<(u16, u8, u8)>),
    Array(Vec<Item>),
    Table(Table),
}

impl Value {
    pub(crate) fn kind(&self) -> &'static str {
        match self {
            Self::Text(_) => "a text in quotes",
            Self::Integer(_) => "a whole number",
            Self::Float(_) => "a number",
            Self::Boolean(_) => "true or false",
            Self::Date(_) => "a date or time",
            Self::Array(_) => "a list",
            Self::Table(_) => "a table",
        }
    }
}

/// A value with its line and the text it was written with.
#[derive(Debug)]
pub(crate) struct Item {
    pub(crate) line: usize,
    pub(crate) written: String,
    pub(crate) value: Value,
    /// Whether a reader has asked for it.
    pub(crate) known: Cell<bool>,
}

/// A table and the keys that readers have asked for.
#[derive(Debug, Default)]
pub(crate) struct Table {
    pub(crate) items: BTreeMap<String, Item>,
    pub(crate) asked: RefCell<Vec<String>>,
    /// Whether a reader has opened it, so that its unknown keys are to be reported.
    pub(crate) opened: Cell<bool>,
}

/// Byte offsets of line beginnings, to turn an offset into a line.
pub(crate) struct Lines<'t> {
    text: &'t str,
    starts: Vec<usize>,
}

impl<'t> Lines<'t> {
    pub(crate) fn new(text: &'t str) -> Self {
        let newlines = text
            .bytes()
            .enumerate()
            .filter(|(_, b)| *b == b'\n')
            .map(|(at, _)| at + 1)
            // What is missing at the end of a file is missing in its last line, not behind it.
            .filter(|start| *start < text.len());
        Self {
            text,
            starts: core::iter::once(0).chain(newlines).collect(),
        }
    }

    pub(crate) fn line(&self, offset: usize) -> usize {
        self.starts.partition_point(|start| *start <= offset)
    }

    /// The written text, on one line and not longer than a message can bear.
    fn written(&self, span: core::ops::Range<usize>) -> String {
        const LONGEST: usize = 60;
        let slice = self.text.get(span).unwrap_or("");
        let mut out: String = slice
            .chars()
            .take(LONGEST)
            .map(|c| if c.is_control() { ' ' } else { c })
            .collect();
        if slice.chars().nth(LONGEST).is_some() {
            out.push('…');
        }
        out
    }
}

pub(crate) fn table(source: &DeTable<'_>, lines: &Lines<'_>) -> Table {
    let items = source
        .iter()
        .map(|(key, value)| {
            let mut item = item(value.get_ref(), value.span(), lines);
            // A table's own span may begin elsewhere than its name; the name is what a reader looks for.
            item.line = lines.line(key.span().start);
            (key.get_ref().as_ref().to_owned(), item)
        })
        .collect();
    Table {
        items,
        ..Table::default()
    }
}

fn item(source: &DeValue<'_>, span: core::ops::Range<usize>, lines: &Lines<'_>) -> Item {
    let line = lines.line(span.start);
    let value = match source {
        DeValue::String(text) => Value::Text(text.as_ref().to_owned()),
        DeValue::Integer(digits) => Value::Integer(i64::from_str_radix(digits.as_str(), digits.radix()).ok()),
        DeValue::Float(digits) => Value::Float(digits.as_str().parse().unwrap_or(f64::NAN)),
        DeValue::Boolean(state) => Value::Boolean(*state),
        DeValue::Datetime(stamp) => Value::Date(match (stamp.date, stamp.time, stamp.offset) {
            (Some(date), None, None) => Some((date.year, date.month, date.day)),
            _ => None,
        }),
        DeValue::Array(list) => Value::Array(
            list.iter()
                .map(|element| item(element.get_ref(), element.span(), lines))
                .collect(),
        ),
        DeValue::Table(inner) => Value::Table(table(inner, lines)),
    };
    let written = match value {
        Value::Table(_) => String::new(),
        _ => lines.written(span),
    };
    Item {
        line,
        written,
        value,
        known: Cell::new(false),
    }
}
