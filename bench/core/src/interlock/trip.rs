//! A condition that fired.

use super::condition::Condition;

/// A condition that fired, with what was seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trip {
    /// Which.
    pub condition: Condition,
    /// What was seen, in `unit`.
    pub measured: f64,
    /// What is allowed, in `unit`.
    pub limit: f64,
    /// Unit of both.
    pub unit: &'static str,
    /// Rig tick of the sample, or of the newest sample when something else than a sample showed it.
    pub tick: u64,
    /// What more is known, such as the limit on which the rig itself tripped; else empty.
    pub detail: &'static str,
}

impl core::fmt::Display for Trip {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "{}", self.condition.name())?;
        if !self.detail.is_empty() {
            write!(f, " ({})", self.detail)?;
        }
        if !self.unit.is_empty() {
            let unit = self.unit;
            write!(
                f,
                ": {:.4} {unit} against a limit of {:.4} {unit}",
                self.measured, self.limit
            )?;
        }
        write!(f, ", at rig tick {} us; {}", self.tick, self.condition.advice())
    }
}

/// What a look at a sample found: a condition, what was seen and what is allowed, both in `unit`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Found {
    /// Which.
    pub condition: Condition,
    /// Seen.
    pub measured: f64,
    /// Allowed.
    pub limit: f64,
    /// Unit of both.
    pub unit: &'static str,
}

impl Found {
    /// See the fields.
    #[must_use]
    pub const fn new(condition: Condition, measured: f64, limit: f64, unit: &'static str) -> Self {
        Self {
            condition,
            measured,
            limit,
            unit,
        }
    }

    /// As a trip at a tick.
    #[must_use]
    pub const fn at(self, tick: u64) -> Trip {
        Trip {
            condition: self.condition,
            measured: self.measured,
            limit: self.limit,
            unit: self.unit,
            tick,
            detail: "",
        }
    }
}
