//! Values that keep their place in the file, and torques given in N·m or in percent of peak.

use alloc::vec::Vec;
use core::ops::{Bound, RangeBounds};
use settings_file::{Entry, Place, Ratio, Section, Torque};

/// A value with its place in the file, for findings that only a rig can bring about.
#[derive(Clone, Debug, PartialEq)]
pub struct Placed<T> {
    /// The value.
    pub value: T,
    /// Where it stands.
    pub place: Place,
}

impl<T> Placed<T> {
    /// `value`, read from `key` of `section`.
    pub(crate) fn of(section: &Section<'_>, key: &str, value: T) -> Self {
        Self {
            value,
            place: section.place(key),
        }
    }
}

/// A torque as a procedure gives it: the same on every rig, or in proportion to the wheelbase.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Level {
    /// N·m.
    Torque(f64),
    /// Part of the wheelbase's peak torque, 1.
    OfPeak(f64),
}

impl Level {
    /// No torque.
    pub const ZERO: Self = Self::Torque(0.0);

    /// The torque on a wheelbase of the given peak torque, N·m.
    pub fn nm(self, peak_torque_nm: f64) -> f64 {
        match self {
            Self::Torque(nm) => nm,
            Self::OfPeak(part) => part * peak_torque_nm,
        }
    }

    fn number(self) -> f64 {
        match self {
            Self::Torque(number) | Self::OfPeak(number) => number,
        }
    }
}

/// Which levels make sense for a key.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Sign {
    /// Above zero.
    Positive,
    /// Zero or above.
    NotNegative,
    /// Either way, but not zero.
    NotZero,
    /// Anything.
    Any,
}

/// Levels beyond this are mistakes on any rig, N·m.
const MOST_NM: f64 = 60.0;

fn level(entry: &Entry<'_>, sign: Sign) -> Placed<Level> {
    let range = |most: f64| {
        let low = match sign {
            Sign::Positive => Bound::Excluded(0.0),
            Sign::NotNegative => Bound::Included(0.0),
            Sign::NotZero | Sign::Any => Bound::Included(-most),
        };
        (low, Bound::Included(most))
    };
    let value = if entry.is::<Ratio>() {
        Level::OfPeak(entry.quantity::<Ratio>(range(1.0)))
    } else {
        Level::Torque(entry.quantity::<Torque>(range(MOST_NM)))
    };
    if sign == Sign::NotZero && value.number() == 0.0 {
        entry.report("no torque at all", None, "give a torque, or remove it");
    }
    Placed {
        value,
        place: entry.place(),
    }
}

const EXAMPLE: &str = "\"10 %\", of the wheelbase's peak torque, or \"0.7 N·m\"";

/// A level that must be there.
pub(crate) fn read_level(section: &Section<'_>, key: &str, sign: Sign) -> Placed<Level> {
    match section.entry(key, EXAMPLE) {
        Some(entry) => level(&entry, sign),
        None => Placed::of(section, key, Level::ZERO),
    }
}

/// A level that is zero where left out.
pub(crate) fn read_level_or_zero(section: &Section<'_>, key: &str, sign: Sign) -> Placed<Level> {
    match section.optional(key) {
        Some(entry) => level(&entry, sign),
        None => Placed::of(section, key, Level::ZERO),
    }
}

/// A list of levels.
pub(crate) fn read_levels(
    section: &Section<'_>,
    key: &str,
    sign: Sign,
    count: impl RangeBounds<usize>,
) -> Vec<Placed<Level>> {
    match section.entry(key, "[\"10 %\", \"-10 %\", …]") {
        Some(entry) => entry.elements(count).iter().map(|e| level(e, sign)).collect(),
        None => Vec::new(),
    }
}
