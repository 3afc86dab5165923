//! Control charts: does a quantity stay as it was?
//!
//! Limits of ISO 7870-2 (three standard errors about the centre line, the standard deviation taken from within, not from
//! the whole), run rules of Western Electric (1956) and Nelson (1984), small persistent shifts by EWMA and CUSUM
//! (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2).

mod constants;
mod cusum;
mod ewma;
mod individuals;
mod rules;
mod subgroups;

pub use constants::{Constants, LARGEST, constants, range_of_means};
pub use cusum::{Cusum, CusumPoint, CusumSettings, cusum};
pub use ewma::{EwmaLimits, EwmaSettings, ewma};
pub use individuals::{individuals, moving_range_spread};
pub use rules::{NELSON, RunRule, Signal, WESTERN_ELECTRIC, signals};
pub use subgroups::{Within, pooled_spread, subgroups};

use serde::Serialize;

/// What centre line and limits are taken from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub enum Baseline {
    /// From all points: a look back.
    All,
    /// From the first so many, judging the rest by them: a look ahead.
    First(usize),
    /// Given: a reference's value and the spread it is known to have.
    Known {
        /// Centre line.
        centre: f64,
        /// Standard deviation of a single value.
        sigma: f64,
    },
}

/// A point of a chart with the limits that hold for it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Point {
    /// What is plotted.
    pub value: f64,
    /// Lower limit.
    pub lower: f64,
    /// Upper limit.
    pub upper: f64,
}

/// A chart: its line, its points, and which of them signal.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Chart {
    /// Centre line.
    pub centre: f64,
    /// In the order of the values.
    pub points: Vec<Point>,
    /// In the order of the points.
    pub signals: Vec<Signal>,
}

impl Chart {
    /// Whether nothing signals.
    pub fn in_control(&self) -> bool {
        self.signals.is_empty()
    }
}

/// A chart of location and the chart of spread that belongs to it; read the second first, for the limits of the first
/// rest on it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ChartPair {
    /// Values or means.
    pub location: Chart,
    /// Moving ranges, ranges or standard deviations.
    pub spread: Chart,
    /// Standard deviation of a single value, from within.
    pub sigma: f64,
}
