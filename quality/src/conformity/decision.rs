//! Decision rules.

use super::{Limits, Normal};
use crate::Refusal;
use serde::Serialize;

/// Width of the band between a limit and where acceptance or rejection begins.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub enum GuardBand {
    /// None: simple acceptance, the risk is shared (JCGM 106:2012, 8.2).
    None,
    /// So many standard uncertainties: 1.65 by default in ISO 14253-1:2017 (95 % at one limit), 2 for U at k = 2.
    OfUncertainty(f64),
    /// A fixed width, in the unit of the limits.
    Fixed(f64),
}

impl GuardBand {
    /// The default of ISO 14253-1:2017: conformity proven with 95 % at one limit, 1.65 u as printed there.
    pub const ISO_14253: Self = Self::OfUncertainty(1.65);

    /// Width for a standard uncertainty, in the unit of the limits.
    ///
    /// # Errors
    /// [`Refusal::OutOfRange`] for a negative width.
    pub fn width(&self, u: f64) -> Result<f64, Refusal> {
        let (what, given, width) = match self {
            Self::None => return Ok(0.0),
            Self::OfUncertainty(factor) => ("the factor of the guard band", *factor, factor * u),
            Self::Fixed(width) => ("the width of the guard band", *width, *width),
        };
        Refusal::unless_within(what, given, 0.0, f64::MAX)?;
        Ok(width)
    }
}

/// A range of measured values, ends included; without an end it is open to that side.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Zone {
    /// Lower end.
    pub lower: Option<f64>,
    /// Upper end.
    pub upper: Option<f64>,
}

impl Zone {
    /// Whether a measured value lies within.
    pub fn holds(&self, value: f64) -> bool {
        self.lower.is_none_or(|lower| value >= lower) && self.upper.is_none_or(|upper| value <= upper)
    }

    /// Whether no value lies within: the guard bands meet.
    pub fn is_empty(&self) -> bool {
        matches!((self.lower, self.upper), (Some(lower), Some(upper)) if lower > upper)
    }
}

/// Measured values that prove conformity: the limits drawn in by the guard band. Empty where the bands meet, that is,
/// where the measurement is too coarse ever to prove conformity.
///
/// # Errors
/// [`Refusal::OutOfRange`] for a negative guard band or an uncertainty that is not positive.
pub fn acceptance_zone(limits: &Limits, u: f64, guard: GuardBand) -> Result<Zone, Refusal> {
    Refusal::unless_positive("the standard uncertainty", u)?;
    let width = guard.width(u)?;
    Ok(Zone {
        lower: limits.lower().map(|l| l + width),
        upper: limits.upper().map(|l| l - width),
    })
}

/// The limits widened by the guard band: a measured value beyond proves that the item does not conform.
///
/// # Errors
/// As [`acceptance_zone`].
pub fn rejection_zone(limits: &Limits, u: f64, guard: GuardBand) -> Result<Zone, Refusal> {
    Refusal::unless_positive("the standard uncertainty", u)?;
    let width = guard.width(u)?;
    Ok(Zone {
        lower: limits.lower().map(|l| l - width),
        upper: limits.upper().map(|l| l + width),
    })
}

/// What a decision says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Verdict {
    /// Conformity is proven under the rule.
    Conforms,
    /// That it does not conform is proven under the rule.
    DoesNotConform,
    /// Neither is.
    Undecided,
}

/// A decision and what it is worth.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Decision {
    /// What was decided.
    pub verdict: Verdict,
    /// Measured values that would have been accepted; may be empty.
    pub acceptance: Zone,
    /// Probability that the item conforms.
    pub probability: f64,
    /// Probability that the decision is wrong: the specific consumer's risk of an accepted item, the specific
    /// producer's risk of a rejected one (JCGM 106:2012, 9.3); the smaller of both when undecided is not a risk taken,
    /// so there is none.
    pub specific_risk: Option<f64>,
}

/// Decides whether an item conforms.
///
/// `prior`: how items of this kind spread, if that is known; it enters the probability and the risk, not the verdict,
/// which follows from the measured value alone.
///
/// # Errors
/// [`Refusal::NonFinite`], [`Refusal::OutOfRange`] for an uncertainty that is not positive or a negative guard band.
pub fn decide(
    estimate: f64,
    u: f64,
    limits: &Limits,
    guard: GuardBand,
    prior: Option<&Normal>,
) -> Result<Decision, Refusal> {
    let known = match prior {
        Some(process) => super::posterior(process, estimate, u)?,
        None => Normal::new(estimate, u)?,
    };
    let acceptance = acceptance_zone(limits, u, guard)?;
    let verdict = if acceptance.holds(estimate) {
        Verdict::Conforms
    } else if !rejection_zone(limits, u, guard)?.holds(estimate) {
        Verdict::DoesNotConform
    } else {
        Verdict::Undecided
    };
    let probability = known.within(limits);
    Ok(Decision {
        verdict,
        acceptance,
        probability,
        specific_risk: match verdict {
            Verdict::Conforms => Some(known.outside(limits)),
            Verdict::DoesNotConform => Some(probability),
            Verdict::Undecided => None,
        },
    })
}
