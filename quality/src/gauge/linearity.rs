//! Linearity of a gauge: does its bias change over the range?

use crate::distributions::{fisher_above, student_quantile, student_two_sided};
use crate::{Interval, Refusal};
use serde::Serialize;

/// The line of bias over reference.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Linearity {
    /// Change of bias per unit of reference.
    pub slope: f64,
    /// Standard error of the slope.
    pub slope_u: f64,
    /// Probability of such a slope if there is none.
    pub slope_p: f64,
    /// Bias at a reference of zero.
    pub intercept: f64,
    /// Standard error of the intercept.
    pub intercept_u: f64,
    /// Probability of such an intercept if it is zero.
    pub intercept_p: f64,
    /// Standard deviation about the line.
    pub residual: f64,
    /// Degrees of freedom of it.
    pub dof: f64,
    /// Share of the variation that the line explains.
    pub r2: f64,
    /// Probability of such departures of the references' means from the line if it is straight; `None` without repeats.
    pub curved_p: Option<f64>,
    /// Mean of the references.
    centre: f64,
    /// Sum of squares of the references about it.
    squares: f64,
}

impl Linearity {
    /// Interval of the mean bias at a reference.
    pub fn bias_at(&self, reference: f64, level: f64) -> Interval {
        let n = self.dof + 2.0;
        let u = self.residual * (1.0 / n + (reference - self.centre).powi(2) / self.squares).sqrt();
        let reach = student_quantile(0.5 + 0.5 * level, self.dof) * u;
        let value = self.intercept + self.slope * reference;
        Interval {
            low: value - reach,
            high: value + reach,
            level,
        }
    }
}

/// Fits bias = intercept + slope · reference to pairs of reference and bias, each reference measured several times.
///
/// # Errors
/// [`Refusal::LengthMismatch`], [`Refusal::TooFew`] below three pairs, [`Refusal::NonFinite`], [`Refusal::NoVariance`] if all
/// references are the same.
pub fn linearity(references: &[f64], biases: &[f64]) -> Result<Linearity, Refusal> {
    if references.len() != biases.len() {
        return Err(Refusal::LengthMismatch {
            what: "references and biases".into(),
            left: references.len(),
            right: biases.len(),
        });
    }
    Refusal::unless_enough("pairs of reference and bias", references.len(), 3)?;
    Refusal::unless_finite("references", references)?;
    Refusal::unless_finite("biases", biases)?;
    let n = references.len() as f64;
    let centre = references.iter().sum::<f64>() / n;
    let mean = biases.iter().sum::<f64>() / n;
    let pairs = || references.iter().zip(biases);
    let squares: f64 = references.iter().map(|x| (x - centre).powi(2)).sum();
    if squares <= 0.0 {
        return Err(Refusal::NoVariance {
            what: "references".into(),
            value: centre,
        });
    }
    let slope = pairs().map(|(x, b)| (x - centre) * (b - mean)).sum::<f64>() / squares;
    let intercept = mean - slope * centre;
    let left: f64 = pairs()
        .map(|(x, b)| (b - mean - slope * (x - centre)).powi(2))
        .sum();
    let whole: f64 = biases.iter().map(|b| (b - mean).powi(2)).sum();
    let dof = n - 2.0;
    let residual = (left / dof).sqrt();
    let slope_u = residual / squares.sqrt();
    let intercept_u = residual * (1.0 / n + centre * centre / squares).sqrt();
    Ok(Linearity {
        slope,
        slope_u,
        slope_p: student_two_sided(slope / slope_u, dof),
        intercept,
        intercept_u,
        intercept_p: student_two_sided(intercept / intercept_u, dof),
        residual,
        dof,
        r2: if whole > 0.0 { 1.0 - left / whole } else { 0.0 },
        curved_p: curved(references, biases, left),
        centre,
        squares,
    })
}

/// Lack of fit: what the means of equal references depart from the line, against the scatter about those means.
fn curved(references: &[f64], biases: &[f64], left: f64) -> Option<f64> {
    let mut order: Vec<usize> = (0..references.len()).collect();
    order.sort_by(|a, b| references[*a].total_cmp(&references[*b]));
    let groups: Vec<Vec<f64>> = order
        .chunk_by(|a, b| (references[*a] - references[*b]).abs() <= 0.0)
        .map(|group| group.iter().map(|i| biases[*i]).collect())
        .collect();
    let pure: f64 = groups
        .iter()
        .map(|g| {
            let mean = g.iter().sum::<f64>() / g.len() as f64;
            g.iter().map(|b| (b - mean).powi(2)).sum::<f64>()
        })
        .sum();
    let (upper, lower) = (
        groups.len() as f64 - 2.0,
        (references.len() - groups.len()) as f64,
    );
    if upper < 1.0 || lower < 1.0 || pure <= 0.0 {
        return None;
    }
    let f = (left - pure).max(0.0) / upper / (pure / lower);
    Some(fisher_above(f, [upper, lower]))
}
