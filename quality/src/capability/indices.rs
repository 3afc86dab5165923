//! Indices from mean and standard deviation, for normal values.

use crate::conformity::{Limits, Normal};
use crate::distributions::{chi_square_quantile, noncentral_t_below, normal_quantile};
use crate::{Interval, Refusal, Summary};
use serde::Serialize;

/// A standard deviation and how well it is known.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Spread {
    /// The standard deviation.
    pub sigma: f64,
    /// Its degrees of freedom.
    pub dof: f64,
}

/// A capability index with its interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Index {
    /// The index.
    pub value: f64,
    /// Two-sided interval.
    pub interval: Interval,
}

/// Indices with one spread.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Indices {
    /// What they are computed with.
    pub spread: Spread,
    /// Width of the limits over six sigma; for two-sided limits alone.
    pub potential: Option<Index>,
    /// Distance of the mean from the lower limit over three sigma.
    pub lower: Option<Index>,
    /// Distance of the mean from the upper limit over three sigma.
    pub upper: Option<Index>,
    /// The smaller of both.
    pub actual: Index,
    /// Share expected outside the limits if values are normal.
    pub outside: f64,
}

/// Capability of a measurand.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Capability {
    /// What was judged.
    pub summary: Summary,
    /// Pp, Ppk: with the whole spread.
    pub performance: Indices,
    /// Cp, Cpk: with the spread from within, where that is given.
    pub capability: Option<Indices>,
    /// How many of the values lie outside.
    pub seen_outside: usize,
}

/// Capability of `values` within `limits`; `within` is their short-term spread, from
/// [`moving_range_spread`](crate::charts::moving_range_spread) or [`pooled_spread`](crate::charts::pooled_spread).
///
/// # Errors
/// [`Refusal::TooFew`] below five values, [`Refusal::NonFinite`], [`Refusal::NoVariance`], [`Refusal::OutOfRange`] for the
/// level or the spread.
pub fn capability(
    values: &[f64],
    within: Option<Spread>,
    limits: &Limits,
    level: f64,
) -> Result<Capability, Refusal> {
    let summary = Summary::of_spread("values for capability", values, 5)?;
    let whole = Spread {
        sigma: summary.sd,
        dof: summary.n as f64 - 1.0,
    };
    let of = |spread| from_moments(summary.mean, summary.n, spread, limits, level);
    Ok(Capability {
        summary,
        performance: of(whole)?,
        capability: within.map(of).transpose()?,
        seen_outside: values.iter().filter(|v| !limits.hold(**v)).count(),
    })
}

/// Indices from the mean of `n` values and a spread.
///
/// Intervals: potential by chi-square, exact; one limit by noncentral t, exact where the spread is that of the `n` values;
/// the smaller of two by Bissell's normal approximation (Applied Statistics 39, 1990), which the e-Handbook gives as well.
///
/// # Errors
/// [`Refusal::TooFew`] below two values, [`Refusal::NonFinite`], [`Refusal::OutOfRange`].
pub fn from_moments(
    mean: f64,
    n: usize,
    spread: Spread,
    limits: &Limits,
    level: f64,
) -> Result<Indices, Refusal> {
    Refusal::unless_enough("values for capability", n, 2)?;
    Refusal::unless_probability("the level", level)?;
    Refusal::unless_within("the degrees of freedom", spread.dof, 0.5, 1e9)?;
    let normal = Normal::new(mean, spread.sigma)?;
    let one_sided = |distance: f64| {
        let value = distance / (3.0 * spread.sigma);
        Index {
            value,
            interval: one_sided_interval(value, n, spread.dof, level),
        }
    };
    let lower = limits.lower().map(|l| one_sided(mean - l));
    let upper = limits.upper().map(|u| one_sided(u - mean));
    let potential = limits.width().map(|width| {
        let value = width / (6.0 * spread.sigma);
        Index {
            value,
            interval: cp_interval(value, spread.dof, level),
        }
    });
    let actual = match (lower, upper) {
        (Some(lower), Some(upper)) => {
            let value = lower.value.min(upper.value);
            Index {
                value,
                interval: cpk_interval(value, n, spread.dof, level),
            }
        }
        (Some(one), None) | (None, Some(one)) => one,
        (None, None) => {
            return Err(Refusal::NoLimit {
                what: "capability".into(),
            });
        }
    };
    Ok(Indices {
        spread,
        potential,
        lower,
        upper,
        actual,
        outside: normal.outside(limits),
    })
}

/// Interval of Cp or Pp: the index times √(χ²(p; ν)/ν).
pub fn cp_interval(value: f64, dof: f64, level: f64) -> Interval {
    let end = |p: f64| value * (chi_square_quantile(p, dof) / dof).sqrt();
    Interval {
        low: end(0.5 - 0.5 * level),
        high: end(0.5 + 0.5 * level),
        level,
    }
}

/// Interval of Cpk or Ppk of `n` values: the index ± z √(1/(9 n) + index²/(2 ν)) (Bissell 1990).
pub fn cpk_interval(value: f64, n: usize, dof: f64, level: f64) -> Interval {
    let z = normal_quantile(0.5 + 0.5 * level);
    let reach = z * (1.0 / (9.0 * n as f64) + value * value / (2.0 * dof)).sqrt();
    Interval {
        low: value - reach,
        high: value + reach,
        level,
    }
}

/// Those true indices at which one so large, or so small, would be seen with probability (1 − level)/2.
fn one_sided_interval(value: f64, n: usize, dof: f64, level: f64) -> Interval {
    let scale = 3.0 * (n as f64).sqrt();
    let rough = cpk_interval(value, n, dof.min(n as f64 - 1.0), 1.0 - 1e-9);
    let margin = rough.high - rough.low;
    let end = |p: f64| {
        let at = |index: f64| noncentral_t_below(scale * value, dof, scale * index) - p;
        coarse_crossing(at, rough.low - margin, rough.high + margin)
    };
    Interval {
        low: end(0.5 + 0.5 * level),
        high: end(0.5 - 0.5 * level),
        level,
    }
}

/// As `crossing`, to ten digits of the range: each step costs an integral.
fn coarse_crossing(f: impl Fn(f64) -> f64, low: f64, high: f64) -> f64 {
    let (mut low, mut high) = (low, high);
    let rising = f(high) > 0.0;
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if (f(middle) > 0.0) == rising {
            high = middle;
        } else {
            low = middle;
        }
    }
    0.5 * (low + high)
}

/// Cpm: as Cp, with the distance of the mean from a target added to the spread (e-Handbook 6.1.6).
///
/// # Errors
/// [`Refusal::NoLimit`] unless limits are two-sided, [`Refusal::NonFinite`], [`Refusal::OutOfRange`].
pub fn targeted_index(mean: f64, sigma: f64, target: f64, limits: &Limits) -> Result<f64, Refusal> {
    Refusal::unless_finite("the target", &[target])?;
    let normal = Normal::new(mean, sigma)?;
    let width = limits.width().ok_or_else(|| Refusal::NoLimit {
        what: "an index about a target, on both sides".into(),
    })?;
    Ok(width / (6.0 * normal.sd.hypot(normal.mean - target)))
}

/// Standard deviation of the product alone, the bench's taken out: √(seen² − bench²).
///
/// # Errors
/// [`Refusal::OutOfRange`] for a spread that is negative, [`Refusal::BenchDominates`] if nothing is left.
pub fn product_spread(seen: f64, bench: f64) -> Result<f64, Refusal> {
    Refusal::unless_positive("the spread seen", seen)?;
    Refusal::unless_within("the bench's spread", bench, 0.0, f64::MAX)?;
    if bench >= seen {
        return Err(Refusal::BenchDominates { bench, seen });
    }
    Ok(((seen - bench) * (seen + bench)).sqrt())
}
