//! Limits of a measurand.

use crate::Refusal;
use serde::Serialize;

/// A lower limit, an upper limit, or both; the limits themselves conform.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Limits {
    lower: Option<f64>,
    upper: Option<f64>,
}

impl Limits {
    /// Both as given.
    ///
    /// # Errors
    /// [`Refusal::NoLimit`] without any, [`Refusal::NonFinite`], [`Refusal::LimitsReversed`] unless lower is below upper.
    pub fn new(lower: Option<f64>, upper: Option<f64>) -> Result<Self, Refusal> {
        let given: Vec<f64> = lower.into_iter().chain(upper).collect();
        Refusal::unless_finite("the limits", &given)?;
        match (lower, upper) {
            (None, None) => Err(Refusal::NoLimit {
                what: "the measurand".into(),
            }),
            (Some(lower), Some(upper)) if lower >= upper => Err(Refusal::LimitsReversed { lower, upper }),
            _ => Ok(Self { lower, upper }),
        }
    }

    /// From `lower` to `upper`.
    ///
    /// # Errors
    /// As [`Self::new`].
    pub fn between(lower: f64, upper: f64) -> Result<Self, Refusal> {
        Self::new(Some(lower), Some(upper))
    }

    /// At least `lower`.
    ///
    /// # Errors
    /// [`Refusal::NonFinite`].
    pub fn at_least(lower: f64) -> Result<Self, Refusal> {
        Self::new(Some(lower), None)
    }

    /// At most `upper`.
    ///
    /// # Errors
    /// [`Refusal::NonFinite`].
    pub fn at_most(upper: f64) -> Result<Self, Refusal> {
        Self::new(None, Some(upper))
    }

    /// The lower limit.
    pub fn lower(&self) -> Option<f64> {
        self.lower
    }

    /// The upper limit.
    pub fn upper(&self) -> Option<f64> {
        self.upper
    }

    /// Whether a value known exactly conforms.
    pub fn hold(&self, value: f64) -> bool {
        self.lower.is_none_or(|lower| value >= lower) && self.upper.is_none_or(|upper| value <= upper)
    }

    /// Width of two-sided limits.
    pub fn width(&self) -> Option<f64> {
        Some(self.upper? - self.lower?)
    }
}
