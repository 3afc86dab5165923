//! Combination of contributions and the coverage factor (JCGM 100, 5.1.2 and annex G).

use statrs::distribution::{Continuous, ContinuousCDF, Normal, StudentsT};

use super::{Contribution, Refusal};

/// A combined standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Combined {
    /// Root of the sum of squares.
    pub std_uncertainty: f64,
    /// Effective degrees of freedom, possibly infinite.
    pub dof: f64,
}

/// Combines independent contributions: root sum of squares, with effective degrees of freedom
/// `u_c^4 / sum(u_i^4 / nu_i)` (Welch–Satterthwaite, JCGM 100 G.2b).
///
/// # Errors
/// [`Refusal::NonFinite`] for a contribution that is negative or not finite; [`Refusal::TooFewRepeats`] for one whose
/// degrees of freedom are not positive.
pub fn combine(budget: &[Contribution]) -> Result<Combined, Refusal> {
    let mut variance = 0.0;
    for (index, part) in budget.iter().enumerate() {
        if !part.std_uncertainty.is_finite() || part.std_uncertainty < 0.0 {
            return Err(Refusal::NonFinite {
                what: format!("the uncertainty from {}", part.source),
                index,
            });
        }
        if part.dof.is_some_and(|dof| dof.is_nan() || dof <= 0.0) {
            return Err(Refusal::TooFewRepeats {
                what: part.source.clone(),
                got: 1,
                needed: 2,
            });
        }
        variance += part.std_uncertainty.powi(2);
    }
    if variance <= 0.0 {
        return Ok(Combined {
            std_uncertainty: 0.0,
            dof: f64::INFINITY,
        });
    }
    // Relative variances keep the fourth powers away from underflow for microsecond-sized uncertainties.
    let spread: f64 = budget
        .iter()
        .filter_map(|p| {
            p.dof
                .map(|nu| (p.std_uncertainty.powi(2) / variance).powi(2) / nu)
        })
        .sum();
    let dof = if spread > 0.0 { 1.0 / spread } else { f64::INFINITY };
    Ok(Combined {
        std_uncertainty: variance.sqrt(),
        dof,
    })
}

/// Two-sided coverage factor: Student's t quantile for probability `level` and `dof` degrees of freedom (normal
/// beyond 1e7).
///
/// # Errors
/// [`Refusal::OutOfRange`] when `level` is not strictly between 0 and 1 or `dof` is not positive.
pub fn coverage_factor(level: f64, dof: f64) -> Result<f64, Refusal> {
    if !(level > 0.0 && level < 1.0) {
        return Err(Refusal::OutOfRange {
            what: "the level of an interval".into(),
            value: level,
            low: 0.0,
            high: 1.0,
            unit: "1".into(),
        });
    }
    let bad_dof = || Refusal::OutOfRange {
        what: "the degrees of freedom".into(),
        value: dof,
        low: 0.0,
        high: f64::INFINITY,
        unit: "1".into(),
    };
    if dof.is_nan() || dof <= 0.0 {
        return Err(bad_dof());
    }
    let p = 0.5 + 0.5 * level;
    if dof > 1e7 {
        return Ok(Normal::standard().inverse_cdf(p));
    }
    let t = StudentsT::new(0.0, 1.0, dof).map_err(|_| bad_dof())?;
    let mut q = t.inverse_cdf(p);
    // Two Newton steps take the library's bisection to full precision.
    for _ in 0..2 {
        let density = t.pdf(q);
        if density > 0.0 {
            let next = q - (t.cdf(q) - p) / density;
            if next.is_finite() && (next - q).abs() < 0.1 * q.abs() {
                q = next;
            }
        }
    }
    Ok(q)
}
