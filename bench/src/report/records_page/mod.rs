//! The records of a model, a unit or a bench as one page.
//!
//! What goes in are plain rows, wherever they are stored; what is judged is crate `quality`'s work. The page is whole without
//! its script, which filters.

mod bench;
mod chart;
mod checks;
mod distribution;
mod figure;
mod gauge;
mod histogram;
mod judge;
mod months;
mod page;
mod parts;
#[cfg(test)]
mod tests;
mod unit;
mod unit_place;
mod unit_time;
mod units;

pub use bench::{BenchRun, BenchSeries, BenchSheet, bench_page};
pub use page::records_page;
pub use unit::{JudgementLine, RefitLine, Remark, Run, UnitMeasurand, UnitSheet, unit_page};

use quality::conformity::Limits;

/// A measurand and what it is judged by.
#[derive(Debug, Clone, PartialEq)]
pub struct Measurand {
    /// Its name.
    pub name: String,
    /// Its unit.
    pub unit: String,
    /// Its limits, if it has any.
    pub limits: Option<Limits>,
    /// Standard deviation of one measurement with its own mounting, where a gauge study has found it.
    pub bench_sd: Option<f64>,
}

/// One measurement of one unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Serial number of the unit.
    pub unit: String,
    /// Time, in days since a start that all rows share.
    pub day: f64,
    /// The same as a date, for people.
    pub date: String,
    /// Which bench.
    pub bench: String,
    /// Which fixture.
    pub fixture: String,
    /// The unit's firmware.
    pub firmware: String,
    /// Batch of its belt or motor.
    pub batch: String,
    /// Who measured.
    pub operator: String,
    /// In the order of the measurands; `None` where a measurand was refused.
    pub values: Vec<Option<f64>>,
}

/// A check unit's series.
#[derive(Debug, Clone, PartialEq)]
pub struct CheckSeries {
    /// Which check unit, on what.
    pub name: String,
    /// Measurand and unit, as on an axis.
    pub measurand: String,
    /// Days of the checks.
    pub days: Vec<f64>,
    /// What was measured.
    pub values: Vec<f64>,
    /// Centre and spread that are known of it; from all checks if `None`.
    pub known: Option<[f64; 2]>,
}

/// A crossed gauge study.
#[derive(Debug, Clone, PartialEq)]
pub struct GaugeData {
    /// Measurand and unit, as on an axis.
    pub measurand: String,
    /// Names of operators or benches.
    pub operators: Vec<String>,
    /// `[unit][operator][repeat]`.
    pub cells: Vec<Vec<Vec<f64>>>,
    /// Width of the limits, for the share of it that the gauge takes.
    pub tolerance: Option<f64>,
}

/// Everything on the page of a model.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// The model.
    pub model: String,
    /// Where the records come from and what they span, in words.
    pub about: String,
    /// What is measured.
    pub measurands: Vec<Measurand>,
    /// In the order of time.
    pub rows: Vec<Row>,
    /// Check units of the benches and fixtures.
    pub checks: Vec<CheckSeries>,
    /// The newest gauge study.
    pub gauge: Option<GaugeData>,
}
