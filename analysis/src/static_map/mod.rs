//! The static map: steady torque against steady command, up and down on both sides of zero.
//!
//! Terms are those of IEC 61298-2 (measured error, hysteresis, repeatability; conformity independent, terminal-based and
//! zero-based), from memory of the standard's titles. Friction holds the torque back on the way up and on the way down by
//! as much, so the mean of both ways is the map, and their difference the hysteresis. The first cycle, which starts from
//! another history, is not given to it.

mod correction;
mod curve;
mod lines;
mod outcome;

pub use correction::{Correction, isotonic};
pub use curve::{Level, MapCurve};
pub use lines::{Line, straightest, through_ends, through_zero};

use crate::estimate::{Outcome, Refusal};

/// One level of a staircase: what was commanded and what torque settled at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Command in force, N·m.
    pub command_nm: f64,
    /// Mean torque of the end of the dwell, N·m.
    pub torque_nm: f64,
    /// Whether the level before was lower.
    pub rising: bool,
    /// Running number of the cycle.
    pub cycle: usize,
}

/// What is known beforehand.
#[derive(Debug, Clone, PartialEq)]
pub struct MapOptions {
    /// Standard uncertainty of the sensor's sensitivity, relative.
    pub gain_rel_u: f64,
    /// Standard uncertainty of its zero, N·m.
    pub zero_u_nm: f64,
    /// Part of the largest command that the gain is read from, from and to.
    pub gain_range: [f64; 2],
    /// Part of the largest command that the deadband is read from: nearer to zero, since every bend of the map (ripple of the
    /// motor over its small twist, say) that is alike on both sides looks like one, with the third power of this.
    pub deadband_range: [f64; 2],
    /// Fewest cycles.
    pub min_cycles: usize,
}

impl Default for MapOptions {
    fn default() -> Self {
        Self {
            gain_rel_u: 0.0,
            zero_u_nm: 0.0,
            gain_range: [0.1, 0.7],
            deadband_range: [0.1, 0.45],
            min_cycles: 3,
        }
    }
}

/// What the map says. Shares are of the span of the commands, from the lowest to the highest.
#[derive(Debug, Clone, PartialEq)]
pub struct StaticMap {
    /// The map itself.
    pub curve: MapCurve,
    /// Slope of torque over command, both sides of zero together.
    pub gain: Outcome,
    /// Torque at zero command by that line, N·m.
    pub offset: Outcome,
    /// Command that it takes before torque follows, N·m: half the distance between the commands at which the lines of both
    /// sides would give the offset. Below zero it says that small commands are amplified.
    pub deadband: Outcome,
    /// Largest difference between the way down and the way up, N·m.
    pub hysteresis: Outcome,
    /// Largest distance from the line that is nearest at its worst, a share.
    pub independent: Outcome,
    /// The same from the line through both ends.
    pub terminal: Outcome,
    /// The same from the best line through the torque at zero command.
    pub zero_based: Outcome,
    /// Standard deviation of the torque at one level, reached the same way, from cycle to cycle, N·m.
    pub repeatability: Outcome,
    /// Command above which torque grows by less than half the gain, N·m, the nearer side.
    pub knee: Outcome,
    /// Torque at the largest command, upward and downward, N·m.
    pub largest: [Outcome; 2],
}

/// Fits a map.
///
/// # Errors
/// [`Refusal::NonFinite`], [`Refusal::TooFewRepeats`] for fewer cycles than asked for or cycles that lack levels,
/// [`Refusal::NotCovered`] when fewer than four levels a side lie in the range of the gain.
pub fn fit_map(readings: &[Reading], options: &MapOptions) -> Result<StaticMap, Refusal> {
    crate::statistics::all_finite(
        "the commands of a staircase",
        readings.iter().map(|r| &r.command_nm),
    )?;
    crate::statistics::all_finite(
        "the torques of a staircase",
        readings.iter().map(|r| &r.torque_nm),
    )?;
    outcome::of(curve::of(readings, options.min_cycles)?, options)
}
