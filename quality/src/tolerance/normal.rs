//! Factors and intervals for normal values.

use super::Sides;
use crate::conformity::Limits;
use crate::distributions::{
    chi_square_above, noncentral_t_quantile, normal_above, normal_below, normal_density, normal_quantile,
};
use crate::quadrature::crossing;
use crate::{Refusal, Summary};

fn checked(n: usize, share: f64, level: f64) -> Result<(), Refusal> {
    Refusal::unless_enough("values of a tolerance interval", n, 2)?;
    Refusal::unless_probability("the share", share)?;
    Refusal::unless_probability("the level", level)
}

/// k such that mean + k·s is above `share` of all values with probability `level`: the quantile of the noncentral t over
/// √n (ISO 16269-6; e-Handbook 7.2.6.3).
///
/// # Errors
/// [`Refusal::TooFew`] below two values, [`Refusal::OutOfRange`] for share or level.
pub fn one_sided_factor(n: usize, share: f64, level: f64) -> Result<f64, Refusal> {
    checked(n, share, level)?;
    let root = (n as f64).sqrt();
    Ok(noncentral_t_quantile(level, n as f64 - 1.0, normal_quantile(share) * root) / root)
}

/// k such that mean ± k·s holds `share` of all values with probability `level`, exact: over the mean's distribution, the
/// probability that s is large enough (ISO 16269-6, annex; Wald and Wolfowitz 1946 for the integral).
///
/// # Errors
/// As [`one_sided_factor`].
pub fn two_sided_factor(n: usize, share: f64, level: f64) -> Result<f64, Refusal> {
    checked(n, share, level)?;
    let count = n as f64;
    let (dof, root) = (count - 1.0, count.sqrt());
    // Half-width about a mean that is off by z which holds the share, on a grid that serves every k below.
    let half = |z: f64| {
        let short = |r: f64| 1.0 - share - normal_above(r - z) - normal_below(-r - z);
        crossing(short, 0.0, z + normal_quantile(0.5 + 0.5 * share) + 1.0)
    };
    let (steps, far) = (100, 8.5 / root);
    let grid: Vec<(f64, f64)> = (0..=steps)
        .map(|i| far * f64::from(i) / f64::from(steps))
        .map(|z| (normal_density(z * root), half(z)))
        .collect();
    // The integrand is even and dies away smoothly: equal steps are exact to rounding.
    let proven = |k: f64| {
        let weighed = grid.iter().enumerate().map(|(i, (density, half))| {
            let weight = if i == 0 { 1.0 } else { 2.0 };
            weight * density * chi_square_above(dof * (half / k).powi(2), dof)
        });
        weighed.sum::<f64>() * root * far / f64::from(steps)
    };
    let mut high = 4.0;
    while proven(high) < level && high < 1e6 {
        high *= 2.0;
    }
    let (mut low, mut high) = (0.0, high);
    while high - low > 1e-10 * high {
        let middle = 0.5 * (low + high);
        if proven(middle) < level {
            low = middle;
        } else {
            high = middle;
        }
    }
    Ok(0.5 * (low + high))
}

/// Limits from a reference group, if its values are normal: mean ± k·s, or one of both.
///
/// # Errors
/// [`Refusal::TooFew`] below two values, [`Refusal::NonFinite`], [`Refusal::NoVariance`], [`Refusal::OutOfRange`].
pub fn tolerance_interval(values: &[f64], share: f64, level: f64, sides: Sides) -> Result<Limits, Refusal> {
    let summary = Summary::of_spread("values of a tolerance interval", values, 2)?;
    let reach = summary.sd
        * match sides {
            Sides::Both => two_sided_factor(summary.n, share, level)?,
            Sides::Lower | Sides::Upper => one_sided_factor(summary.n, share, level)?,
        };
    let (lower, upper) = (summary.mean - reach, summary.mean + reach);
    match sides {
        Sides::Both => Limits::between(lower, upper),
        Sides::Lower => Limits::at_least(lower),
        Sides::Upper => Limits::at_most(upper),
    }
}
