//! Reasons for giving no result.

/// Why the numbers cannot support a result: what was found, the limit, what to do.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum Refusal {
    /// Fewer values than the method needs.
    #[error("{what}: {got} found, at least {needed} are needed; measure more before judging")]
    TooFew {
        /// What is counted, and what for.
        what: String,
        /// How many there are.
        got: usize,
        /// Least number.
        needed: usize,
    },
    /// A number that is not finite.
    #[error("{what} is not a finite number at index {index}; leave that value out or correct its record")]
    NonFinite {
        /// Which list.
        what: String,
        /// First offending index.
        index: usize,
    },
    /// Values that are all alike.
    #[error(
        "{what} do not vary (all are {value}), so there is no spread to judge by; look for a stuck reading or a resolution that is too coarse"
    )]
    NoVariance {
        /// Which values.
        what: String,
        /// What they all are.
        value: f64,
    },
    /// A crossed study with cells of different size.
    #[error(
        "unbalanced study: {cell} holds {got} values, the others {expected}; repeat what is missing or leave the same number out everywhere"
    )]
    Unbalanced {
        /// Which cell, in words.
        cell: String,
        /// Values found there.
        got: usize,
        /// Values in the first cell.
        expected: usize,
    },
    /// Lists that belong together differ in length.
    #[error("{what}: lengths {left} and {right} differ though they belong together")]
    LengthMismatch {
        /// Which lists.
        what: String,
        /// Length of the first.
        left: usize,
        /// Length of the other.
        right: usize,
    },
    /// A lower limit at or above the upper one.
    #[error("the lower limit {lower} is not below the upper limit {upper}; exchange or correct them")]
    LimitsReversed {
        /// Lower limit.
        lower: f64,
        /// Upper limit.
        upper: f64,
    },
    /// No limit at all.
    #[error("neither a lower nor an upper limit is given for {what}; state at least one")]
    NoLimit {
        /// What was to be judged.
        what: String,
    },
    /// An option outside what makes sense.
    #[error("{what} is {value}, allowed {low} to {high}")]
    OutOfRange {
        /// What.
        what: String,
        /// Its value.
        value: f64,
        /// Least allowed.
        low: f64,
        /// Most allowed.
        high: f64,
    },
    /// Causes that never vary apart.
    #[error(
        "{what} cannot be told apart from {with}: they changed together in every record; measure units in which only one of them changed"
    )]
    Confounded {
        /// What was to be judged.
        what: String,
        /// What it is tied to.
        with: String,
    },
    /// Measurement scatter as large as all that was seen.
    #[error(
        "the bench's own spread {bench} is not below the spread seen {seen}, so nothing is left for the product; use a better bench or more units"
    )]
    BenchDominates {
        /// Standard deviation of the bench.
        bench: f64,
        /// Standard deviation seen.
        seen: f64,
    },
}

impl Refusal {
    /// Stable short code for documents and tests.
    pub fn code(&self) -> &'static str {
        match self {
            Self::TooFew { .. } => "too_few",
            Self::NonFinite { .. } => "non_finite",
            Self::NoVariance { .. } => "no_variance",
            Self::Unbalanced { .. } => "unbalanced",
            Self::LengthMismatch { .. } => "length_mismatch",
            Self::LimitsReversed { .. } => "limits_reversed",
            Self::NoLimit { .. } => "no_limit",
            Self::OutOfRange { .. } => "out_of_range",
            Self::Confounded { .. } => "confounded",
            Self::BenchDominates { .. } => "bench_dominates",
        }
    }

    /// Refuses lists shorter than `needed`.
    pub(crate) fn unless_enough(what: &str, got: usize, needed: usize) -> Result<(), Self> {
        if got < needed {
            return Err(Self::TooFew {
                what: what.into(),
                got,
                needed,
            });
        }
        Ok(())
    }

    /// Refuses the first value that is not finite.
    pub(crate) fn unless_finite(what: &str, values: &[f64]) -> Result<(), Self> {
        match values.iter().position(|v| !v.is_finite()) {
            Some(index) => Err(Self::NonFinite {
                what: what.into(),
                index,
            }),
            None => Ok(()),
        }
    }

    /// Refuses a value outside `low` to `high`; a number that is no number is outside.
    pub(crate) fn unless_within(what: &str, value: f64, low: f64, high: f64) -> Result<(), Self> {
        if value >= low && value <= high {
            return Ok(());
        }
        Err(Self::OutOfRange {
            what: what.into(),
            value,
            low,
            high,
        })
    }

    /// Refuses a probability that is not strictly between 0 and 1.
    pub(crate) fn unless_probability(what: &str, value: f64) -> Result<(), Self> {
        Self::unless_within(what, value, f64::MIN_POSITIVE, 1.0 - f64::EPSILON)
    }

    /// Refuses a spread that is zero, negative or no number.
    pub(crate) fn unless_positive(what: &str, value: f64) -> Result<(), Self> {
        Self::unless_within(what, value, f64::MIN_POSITIVE, f64::MAX)
    }
}
