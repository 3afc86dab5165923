//! Limits: what a model must keep to, by which rule that is decided, and what it makes of a fit.

mod judge;
mod read;

use crate::content::LimitsText;

pub use judge::judge;

/// When a measured value counts as within its limits, its uncertainty considered (JCGM 106:2012, 8).
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Rule {
    /// The value alone decides; the risk of a wrong decision is shared (8.2).
    Simple,
    /// A guard band of so many standard uncertainties inside the limits is needed to pass, the same outside to fail, and
    /// between them nothing is decided (8.3); 1.65 is the default of ISO 14253-1:2017.
    GuardBand(f64),
}

impl Rule {
    /// Standard uncertainties in the guard band.
    #[must_use]
    pub const fn factor(self) -> f64 {
        match self {
            Self::Simple => 0.0,
            Self::GuardBand(factor) => factor,
        }
    }
}

/// What is done when the calibration had run out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhenOverdue {
    /// Nothing is decided.
    Refuse,
    /// It is judged as always; lists and judgement say that the calibration had run out.
    Flag,
}

/// A limit on one side.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limit {
    /// Its value, SI.
    pub value: f64,
    /// SI unit as a fit document writes it.
    pub unit: &'static str,
}

/// The limits of one measurand.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasurandLimits {
    /// The measurand, as in the fit document.
    pub id: String,
    /// It must not be below.
    pub reject_below: Option<Limit>,
    /// It must not be above.
    pub reject_above: Option<Limit>,
    /// Below this there is a warning.
    pub warn_below: Option<Limit>,
    /// Above this there is a warning.
    pub warn_above: Option<Limit>,
    /// How it is decided.
    pub rule: Rule,
}

/// The limits of a model.
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// The file as it is recorded.
    pub text: LimitsText,
    /// What is done when the calibration had run out.
    pub overdue: WhenOverdue,
    /// Each measurand that has limits.
    pub measurands: Vec<MeasurandLimits>,
}
