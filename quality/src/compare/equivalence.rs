//! Alike within a margin: two one-sided tests (Schuirmann 1987).

use super::Difference;
use crate::distributions::{student_below, student_quantile};
use crate::{Interval, Refusal};
use serde::Serialize;

/// How far apart two things may be and still count as alike; `low` is below zero, `high` above.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Margin {
    low: f64,
    high: f64,
}

impl Margin {
    /// From `low` to `high`.
    ///
    /// # Errors
    /// [`Refusal::LimitsReversed`] unless `low` is below `high`, [`Refusal::OutOfRange`] unless zero lies between.
    pub fn new(low: f64, high: f64) -> Result<Self, Refusal> {
        Refusal::unless_finite("the margin", &[low, high])?;
        if low >= high {
            return Err(Refusal::LimitsReversed {
                lower: low,
                upper: high,
            });
        }
        Refusal::unless_within("the lower margin", low, -f64::MAX, -f64::MIN_POSITIVE)?;
        Refusal::unless_positive("the upper margin", high)?;
        Ok(Self { low, high })
    }

    /// As far to either side.
    ///
    /// # Errors
    /// [`Refusal::OutOfRange`] unless positive.
    pub fn both_sides(size: f64) -> Result<Self, Refusal> {
        Refusal::unless_positive("the margin", size)?;
        Self::new(-size, size)
    }

    /// Lower end.
    pub fn low(&self) -> f64 {
        self.low
    }

    /// Upper end.
    pub fn high(&self) -> f64 {
        self.high
    }
}

/// What the two one-sided tests found.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Equivalence {
    /// Probability of such data if the difference is at or below the lower end.
    pub p_low: f64,
    /// Probability of such data if the difference is at or above the upper end.
    pub p_high: f64,
    /// The larger of both, which decides.
    pub p: f64,
    /// Interval of level 1 − 2α; it lies within the margin exactly if the two are alike.
    pub interval: Interval,
    /// Whether the two are alike within the margin at α.
    pub alike: bool,
}

/// Tests whether a difference lies within `margin` at significance `alpha` (0.05 is usual).
///
/// # Errors
/// [`Refusal::OutOfRange`] for an `alpha` not between 0 and 0.5.
pub fn equivalence(found: &Difference, margin: &Margin, alpha: f64) -> Result<Equivalence, Refusal> {
    Refusal::unless_within("alpha", alpha, f64::MIN_POSITIVE, 0.5 - f64::EPSILON)?;
    let p_low = student_below(-(found.value - margin.low) / found.std_error, found.dof);
    let p_high = student_below((found.value - margin.high) / found.std_error, found.dof);
    let reach = student_quantile(1.0 - alpha, found.dof) * found.std_error;
    let p = p_low.max(p_high);
    Ok(Equivalence {
        p_low,
        p_high,
        p,
        interval: Interval {
            low: found.value - reach,
            high: found.value + reach,
            level: 1.0 - 2.0 * alpha,
        },
        alike: p <= alpha,
    })
}

/// What a comparison says about a margin that matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Finding {
    /// The interval lies within the margin: alike for all that matters.
    Alike,
    /// The interval lies outside the margin: they differ by more than matters.
    Differs,
    /// The interval excludes zero but neither lies within the margin nor outside: a difference whose size is open.
    DiffersPerhapsLittle,
    /// The interval holds zero and reaches beyond the margin: more data are needed.
    Undecided,
}

/// Judges a difference by its two intervals: alike by that of level 1 − 2α, different by that of level 1 − α.
///
/// # Errors
/// As [`equivalence`].
pub fn judge(found: &Difference, margin: &Margin, alpha: f64) -> Result<Finding, Refusal> {
    if equivalence(found, margin, alpha)?.alike {
        return Ok(Finding::Alike);
    }
    let reach = student_quantile(1.0 - 0.5 * alpha, found.dof) * found.std_error;
    let (low, high) = (found.value - reach, found.value + reach);
    Ok(if low > margin.high || high < margin.low {
        Finding::Differs
    } else if low > 0.0 || high < 0.0 {
        Finding::DiffersPerhapsLittle
    } else {
        Finding::Undecided
    })
}
