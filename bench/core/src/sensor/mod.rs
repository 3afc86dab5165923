//! A torque sensor on a port of its own: bytes and their times in, readings with their moments out. No port and no clock is
//! read here.
//!
//! - [`text`] cuts bytes into lines, [`pattern`] finds the torque in one.
//! - [`lines`] is a sensor that sends lines by itself, at a rate of its own.
//! - [`scpi`] is an instrument that is asked: commands and queries as IEEE 488.2 has them.
//! - [`resample`] says what the torque was at a given moment, or that it is not known.

pub mod lines;
pub mod pattern;
pub mod resample;
pub mod scpi;
pub mod text;

pub use lines::Lines;
pub use pattern::Pattern;
pub use resample::{Known, Resampler};
pub use scpi::Scpi;

use alloc::string::String;

/// A torque and when it was.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Host clock, ns; the sensor's group delay is taken off already.
    pub moment_ns: i64,
    /// Bound of the moment's error, ns.
    pub bound_ns: f64,
    /// Rim torque, N·m; finite.
    pub torque_nm: f64,
}

/// What a sensor has said so far, for whoever has to find out what is wrong with it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Account {
    /// Readings.
    pub readings: u64,
    /// Lines that were no reading.
    pub misfits: u64,
    /// The latest of those, cut to a few words, and what is wrong with it.
    pub misfit: Option<(String, &'static str)>,
    /// What it says that it is, where it can be asked.
    pub identity: Option<String>,
    /// What it said of an error of its own.
    pub error: Option<String>,
    /// Jumps of its count against this computer's clock: lines lost.
    pub jumps: u32,
    /// Lines that it sent by itself, readings or not.
    pub heard: Heard,
}

/// Lines and when they were there, whatever is in them.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Heard {
    /// When the first had come, ns.
    first_ns: Option<i64>,
    /// When the latest had, ns.
    last_ns: i64,
    /// Those after the first arrival.
    after: u32,
    /// Most that came at once.
    burst: u32,
}

impl Heard {
    /// Takes the lines of one arrival.
    fn arrived(&mut self, now_ns: i64, lines: u32) {
        if lines == 0 {
            return;
        }
        match self.first_ns {
            None => self.first_ns = Some(now_ns),
            Some(_) => self.after = self.after.saturating_add(lines),
        }
        self.last_ns = now_ns;
        self.burst = self.burst.max(lines);
    }

    /// Lines a second by this computer's clock, and how far that may be off: the first arrival, the last, or both may have waited for as
    /// many lines as ever came at once. `None` before there are enough for a tenth.
    #[must_use]
    pub fn rate_hz(&self) -> Option<(f64, f64)> {
        let span_s = (self.last_ns - self.first_ns?) as f64 * 1e-9;
        let loose = f64::from(self.burst) + 1.0;
        (span_s > 0.0 && f64::from(self.after) > 10.0 * loose)
            .then(|| (f64::from(self.after) / span_s, loose / span_s))
    }
}

impl Account {
    /// Notes a line that was no reading.
    fn misfit(&mut self, line: &str, why: &'static str) {
        self.misfits = self.misfits.saturating_add(1);
        let short: String = line
            .chars()
            .map(|c| if c.is_control() { '·' } else { c })
            .take(40)
            .collect();
        self.misfit = Some((short, why));
    }
}

/// Torque of one unit of what the sensor writes, and its zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    /// N·m of one, sign included.
    pub nm: f64,
    /// N·m at zero.
    pub offset_nm: f64,
}

impl Scale {
    /// Torque of a number as written; `None` where it is no finite one.
    #[must_use]
    pub fn torque_nm(&self, written: f64) -> Option<f64> {
        let torque_nm = written * self.nm + self.offset_nm;
        torque_nm.is_finite().then_some(torque_nm)
    }
}
