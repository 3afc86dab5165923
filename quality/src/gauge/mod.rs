//! What the measurement itself adds: repeatability, reproducibility, bias, linearity.
//!
//! A crossed study has every operator (or bench) measure every part (unit) several times, mounted anew each time. Its
//! result says whether the bench can tell units apart and judge them by their limits (ISO 22514-7, ISO 5725 for the terms).

mod anova;
mod bias;
mod check_unit;
mod crossed;
mod intervals;
mod linearity;
mod plan;
mod ranges;
mod variation;

pub use anova::{GaugeStudy, Settings, Source, study};
pub use bias::{Bias, bias, bias_of};
pub use check_unit::{CheckUnit, check_unit};
pub use crossed::Crossed;
pub use linearity::{Linearity, linearity};
pub use plan::{Plan, Step, Weakness, plan};
pub use ranges::{RangeSummary, study_by_ranges, study_of_ranges};
pub use variation::{Component, Fitness, Variation};
