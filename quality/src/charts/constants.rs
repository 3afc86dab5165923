//! Constants of control charts, from their definitions.

use crate::Refusal;
use crate::distributions::{normal_above, normal_below, normal_density};
use crate::quadrature::integral;
use statrs::function::gamma::ln_gamma;
use std::sync::OnceLock;

/// Largest subgroup that constants are given for.
pub const LARGEST: usize = 50;

/// Mean and standard deviation of range and standard deviation of `n` standard normal values.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Constants {
    /// Size of the subgroup.
    pub n: usize,
    /// Mean of the range.
    pub d2: f64,
    /// Standard deviation of the range.
    pub d3: f64,
    /// Mean of the standard deviation.
    pub c4: f64,
}

/// Constants for subgroups of `n`.
///
/// d2 and d3 are moments of the range R: E R = ∫ P(R > r) dr and E R² = 2 ∫ r P(R > r) dr with
/// P(R ≤ r) = n ∫ φ(x) (Φ(x + r) − Φ(x))ⁿ⁻¹ dx (Tippett 1925); c4 is √(2/(n − 1)) Γ(n/2) / Γ((n − 1)/2).
///
/// # Errors
/// [`Refusal::OutOfRange`] outside 2 to [`LARGEST`].
pub fn constants(n: usize) -> Result<Constants, Refusal> {
    static FOUND: [OnceLock<Constants>; LARGEST + 1] = [const { OnceLock::new() }; LARGEST + 1];
    Refusal::unless_within("the size of a subgroup", n as f64, 2.0, LARGEST as f64)?;
    Ok(*FOUND[n].get_or_init(|| compute(n)))
}

fn compute(n: usize) -> Constants {
    let size = n as f64;
    let (d2, second) = if n == 2 {
        // |x − y| of two is a folded normal with variance 2.
        (2.0 / std::f64::consts::PI.sqrt(), 2.0)
    } else {
        let first = integral(|r| above(size, r), 0.0, 16.0, 1e-10);
        (first, 2.0 * integral(|r| r * above(size, r), 0.0, 16.0, 1e-10))
    };
    let half = 0.5 * (size - 1.0);
    Constants {
        n,
        d2,
        d3: (second - d2 * d2).sqrt(),
        c4: (ln_gamma(half + 0.5) - ln_gamma(half)).exp() / half.sqrt(),
    }
}

/// P(R > r) for n values. Equal steps are exact to rounding for an integrand that dies away smoothly on both sides.
fn above(n: f64, r: f64) -> f64 {
    const STEP: f64 = 0.125;
    let steps = ((17.0 + r) / STEP).ceil() as u32;
    let sum: f64 = (0..=steps)
        .map(|i| -8.5 - r + STEP * f64::from(i))
        .map(|x| {
            let between = if x > 0.0 {
                normal_above(x) - normal_above(x + r)
            } else {
                normal_below(x + r) - normal_below(x)
            };
            normal_density(x) * between.powf(n - 1.0)
        })
        .sum();
    (1.0 - n * STEP * sum).max(0.0)
}

impl Constants {
    /// Limits of means by ranges: mean ± A2 R̄.
    pub fn a2(&self) -> f64 {
        3.0 / (self.d2 * (self.n as f64).sqrt())
    }

    /// Limits of means by standard deviations: mean ± A3 s̄.
    pub fn a3(&self) -> f64 {
        3.0 / (self.c4 * (self.n as f64).sqrt())
    }

    /// Lower limit of ranges: D3 R̄.
    pub fn lower_range(&self) -> f64 {
        (1.0 - 3.0 * self.d3 / self.d2).max(0.0)
    }

    /// Upper limit of ranges: D4 R̄.
    pub fn upper_range(&self) -> f64 {
        1.0 + 3.0 * self.d3 / self.d2
    }

    /// Lower limit of standard deviations: B3 s̄.
    pub fn lower_spread(&self) -> f64 {
        (1.0 - self.spread_reach()).max(0.0)
    }

    /// Upper limit of standard deviations: B4 s̄.
    pub fn upper_spread(&self) -> f64 {
        1.0 + self.spread_reach()
    }

    /// Limits of single values by ranges: mean ± E2 R̄.
    pub fn e2(&self) -> f64 {
        3.0 / self.d2
    }

    /// Three standard deviations of s over its mean.
    fn spread_reach(&self) -> f64 {
        3.0 * (1.0 - self.c4 * self.c4).sqrt() / self.c4
    }
}

/// d2* for the mean of `groups` ranges of `n` values: √(d2² + d3²/groups), by which that mean is divided so that its
/// square estimates the variance without bias (Duncan 1974, table D3).
///
/// # Errors
/// As [`constants`]; [`Refusal::TooFew`] without groups.
pub fn range_of_means(n: usize, groups: usize) -> Result<f64, Refusal> {
    Refusal::unless_enough("groups of ranges", groups, 1)?;
    let c = constants(n)?;
    Ok((c.d2 * c.d2 + c.d3 * c.d3 / groups as f64).sqrt())
}
