//! Estimates: a value, how well it is known, and why.
//!
//! Terms are those of JCGM 100:2008 (GUM): a standard uncertainty is evaluated from repeats (type A) or otherwise
//! (type B); contributions combine in quadrature; the effective degrees of freedom follow Welch and Satterthwaite
//! (JCGM 100, G.4.1); the interval is value ± t · u with Student's quantile at those degrees of freedom.

mod bootstrap;
mod combine;
mod compare;
mod refusal;

pub use bootstrap::bootstrap;
pub use combine::{Combined, combine, coverage_factor};
pub use compare::difference;
pub use refusal::Refusal;

use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::statistics::MeanSd;

/// How a standard uncertainty was evaluated (JCGM 100, 2.3.2 and 2.3.3).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Kind {
    /// From the statistics of repeated observations.
    A,
    /// By any other means: a certificate, a resolution, a declared tolerance, a model error.
    B,
}

/// One line of an uncertainty budget.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Contribution {
    /// Where it comes from, in words.
    pub source: String,
    /// Type A or B.
    pub kind: Kind,
    /// Standard uncertainty, in the unit of the estimate (sensitivity already applied).
    pub std_uncertainty: f64,
    /// Degrees of freedom; `None` means known exactly (infinite).
    pub dof: Option<f64>,
}

impl Contribution {
    /// A type A contribution with its degrees of freedom.
    pub fn type_a(source: impl Into<String>, std_uncertainty: f64, dof: f64) -> Self {
        Self {
            source: source.into(),
            kind: Kind::A,
            std_uncertainty,
            dof: dof.is_finite().then_some(dof),
        }
    }

    /// What the scatter of repeats makes of their mean: `sd/sqrt(n)` with `n - 1` degrees of freedom (JCGM 100, 4.2.3).
    pub fn of_mean(source: impl Into<String>, repeats: &MeanSd) -> Self {
        let n = repeats.n as f64;
        Self::type_a(source, repeats.sd / n.sqrt(), n - 1.0)
    }

    /// A type B contribution, taken as exactly known.
    pub fn type_b(source: impl Into<String>, std_uncertainty: f64) -> Self {
        Self {
            source: source.into(),
            kind: Kind::B,
            std_uncertainty,
            dof: None,
        }
    }

    /// A type B contribution known only to lie within ± `half_width` with equal chance (JCGM 100, 4.3.7).
    pub fn rectangular(source: impl Into<String>, half_width: f64) -> Self {
        Self::type_b(source, half_width.abs() / 3.0_f64.sqrt())
    }
}

/// A quality check made on the way to a result. A failed check that leaves a result standing must be shown beside it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Check {
    /// Short name, the same in every report.
    pub name: String,
    /// Whether it passed.
    pub passed: bool,
    /// The number found and the limit.
    pub detail: String,
}

impl Check {
    /// A check with its verdict and the numbers behind it.
    pub fn new(name: impl Into<String>, passed: bool, detail: impl Into<String>) -> Self {
        Self {
            name: name.into(),
            passed,
            detail: detail.into(),
        }
    }
}

/// A measured value with its uncertainty.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// Best value, in `unit`.
    pub value: f64,
    /// Combined standard uncertainty, in `unit`.
    pub std_uncertainty: f64,
    /// Interval that holds the true value with probability `level`.
    pub interval: [f64; 2],
    /// Probability of the interval, 0.95 unless said otherwise.
    pub level: f64,
    /// SI unit as UDUNITS writes it: "s", "Hz", "N.m", "1".
    pub unit: String,
    /// Effective degrees of freedom; infinite is written as null.
    #[serde(serialize_with = "infinite_as_null", deserialize_with = "null_as_infinite")]
    pub dof: f64,
    /// Number of repeats (or records) behind the value.
    pub n: usize,
    /// How the value was found, in words.
    pub method: String,
    /// Contributions to the uncertainty.
    pub budget: Vec<Contribution>,
    /// Quality checks.
    pub checks: Vec<Check>,
}

/// The level of every interval unless a caller asks for another.
pub const LEVEL: f64 = 0.95;

impl Estimate {
    /// Combines a budget into an estimate at the usual 95 %.
    ///
    /// # Errors
    /// [`Refusal::NonFinite`] when the value or a contribution is not finite or a contribution is negative, and
    /// [`Refusal::TooFewRepeats`] when a type A contribution has no degree of freedom.
    pub fn from_budget(
        value: f64,
        unit: &str,
        n: usize,
        method: impl Into<String>,
        budget: Vec<Contribution>,
    ) -> Result<Self, Refusal> {
        if !value.is_finite() {
            return Err(Refusal::NonFinite {
                what: "the value of an estimate".into(),
                index: 0,
            });
        }
        let combined = combine(&budget)?;
        let half = coverage_factor(LEVEL, combined.dof)? * combined.std_uncertainty;
        Ok(Self {
            value,
            std_uncertainty: combined.std_uncertainty,
            interval: [value - half, value + half],
            level: LEVEL,
            unit: unit.into(),
            dof: combined.dof,
            n,
            method: method.into(),
            budget,
            checks: Vec::new(),
        })
    }

    /// The same value with one more contribution to its uncertainty; checks stay.
    ///
    /// # Errors
    /// As [`Estimate::from_budget`].
    pub fn with_contribution(self, contribution: Contribution) -> Result<Self, Refusal> {
        let mut budget = self.budget;
        budget.push(contribution);
        let again = Self::from_budget(self.value, &self.unit, self.n, self.method, budget)?;
        Ok(again.with_checks(self.checks))
    }

    /// The same estimate with checks added.
    #[must_use]
    pub fn with_checks(mut self, checks: impl IntoIterator<Item = Check>) -> Self {
        self.checks.extend(checks);
        self
    }

    /// Whether every check passed.
    pub fn all_checks_passed(&self) -> bool {
        self.checks.iter().all(|check| check.passed)
    }
}

/// A refusal as a document keeps it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Refused {
    /// Stable short code, for example `never_settled`.
    pub code: String,
    /// What happened, what it means and what to do.
    pub message: String,
}

/// A result or the reason why there is none.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "status", rename_all = "lowercase")]
pub enum Outcome {
    /// The data support a value.
    Estimate(Estimate),
    /// They do not.
    Refused(Refused),
}

impl Outcome {
    /// The estimate, if there is one.
    pub fn estimate(&self) -> Option<&Estimate> {
        match self {
            Self::Estimate(estimate) => Some(estimate),
            Self::Refused(_) => None,
        }
    }

    /// The refusal, if it is one.
    pub fn refused(&self) -> Option<&Refused> {
        match self {
            Self::Estimate(_) => None,
            Self::Refused(refused) => Some(refused),
        }
    }
}

impl From<Result<Estimate, Refusal>> for Outcome {
    fn from(result: Result<Estimate, Refusal>) -> Self {
        match result {
            Ok(estimate) => Self::Estimate(estimate),
            Err(refusal) => refusal.into(),
        }
    }
}

impl From<Estimate> for Outcome {
    fn from(estimate: Estimate) -> Self {
        Self::Estimate(estimate)
    }
}

impl From<Refusal> for Outcome {
    fn from(refusal: Refusal) -> Self {
        Self::Refused(Refused {
            code: refusal.code().into(),
            message: refusal.to_string(),
        })
    }
}

fn infinite_as_null<S: Serializer>(dof: &f64, serializer: S) -> Result<S::Ok, S::Error> {
    dof.is_finite().then_some(*dof).serialize(serializer)
}

fn null_as_infinite<'de, D: Deserializer<'de>>(deserializer: D) -> Result<f64, D::Error> {
    Ok(Option::<f64>::deserialize(deserializer)?.unwrap_or(f64::INFINITY))
}
