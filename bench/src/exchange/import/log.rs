//! Keeps what is found wrong, kind by kind, with the first few places.

use super::super::error::Defect;

/// Places kept of each kind.
const PLACES: usize = 5;

/// Kinds of defect, in the order in which they are reported.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Code {
    Unit,
    Sign,
    Constant,
    Fields,
    Cell,
    TimeBack,
    Duplicate,
    Uneven,
    Gap,
    Segment,
    Rows,
    File,
}

impl Code {
    const fn word(self) -> &'static str {
        match self {
            Self::Unit => "unit",
            Self::Sign => "sign",
            Self::Constant => "constant",
            Self::Fields => "fields",
            Self::Cell => "cell",
            Self::TimeBack => "time-back",
            Self::Duplicate => "duplicate",
            Self::Uneven => "uneven",
            Self::Gap => "gap",
            Self::Segment => "segment",
            Self::Rows => "rows",
            Self::File => "file",
        }
    }

    const fn what(self) -> &'static str {
        match self {
            Self::Fields => "rows with another number of fields than the header",
            Self::Cell => "cells that are no finite number",
            Self::TimeBack => "rows that go back in time",
            Self::Duplicate => "rows at the same time as the row before",
            Self::Uneven => "rows off the even grid of time",
            Self::Gap => "gaps in time",
            Self::Segment => "segments that the data do not hold",
            Self::Unit | Self::Sign | Self::Constant | Self::Rows | Self::File => "",
        }
    }
}

/// A kind of defect as it is gathered.
#[derive(Debug)]
struct Entry {
    code: Code,
    what: String,
    count: u64,
    places: Vec<String>,
    blocks: bool,
    remedy: String,
}

/// All that was found.
#[derive(Debug, Default)]
pub(super) struct Log(Vec<Entry>);

impl Log {
    /// Counts a place of a kind that many rows may have.
    pub(super) fn count(&mut self, code: Code, place: impl FnOnce() -> String) {
        let entry = match self.0.iter_mut().position(|e| e.code == code) {
            Some(at) => self.0.get_mut(at),
            None => {
                self.0.push(Entry {
                    code,
                    what: code.what().to_owned(),
                    count: 0,
                    places: Vec::new(),
                    blocks: true,
                    remedy: String::new(),
                });
                self.0.last_mut()
            }
        };
        if let Some(entry) = entry {
            entry.count += 1;
            if entry.places.len() < PLACES {
                entry.places.push(place());
            }
        }
    }

    /// Notes something said once; `blocks` if the data must not be used as they are.
    pub(super) fn once(&mut self, code: Code, blocks: bool, what: String, remedy: &str) {
        self.0.push(Entry {
            code,
            what,
            count: 1,
            places: Vec::new(),
            blocks,
            remedy: remedy.to_owned(),
        });
    }

    /// How often a kind was counted.
    pub(super) fn counted(&self, code: Code) -> u64 {
        self.0
            .iter()
            .filter(|e| e.code == code && !e.what.is_empty())
            .map(|e| e.count)
            .sum()
    }

    /// Says what is done about a counted kind.
    pub(super) fn settle(&mut self, code: Code, blocks: bool, remedy: &str) {
        for entry in self.0.iter_mut().filter(|e| e.code == code) {
            entry.blocks = blocks;
            remedy.clone_into(&mut entry.remedy);
        }
    }

    /// Those that block, or those that do not.
    pub(super) fn defects(&self, blocking: bool) -> Vec<Defect> {
        let mut found: Vec<&Entry> = self.0.iter().filter(|e| e.blocks == blocking).collect();
        found.sort_by_key(|e| e.code);
        found
            .into_iter()
            .map(|e| Defect {
                code: e.code.word(),
                what: e.what.clone(),
                count: e.count,
                places: e.places.clone(),
                remedy: e.remedy.clone(),
            })
            .collect()
    }

    pub(super) fn blocks(&self) -> bool {
        self.0.iter().any(|e| e.blocks)
    }
}
