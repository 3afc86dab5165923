//! Location and covariance that a few odd units do not move.

use crate::distributions::{chi_square_below, chi_square_quantile};
use crate::matrix::{Matrix, eigenvectors, product, unit};
use crate::{Refusal, median, median_absolute_deviation};

/// Location and covariance of the bulk.
#[derive(Debug, Clone, PartialEq)]
pub struct Robust {
    /// Mean of the bulk, one for each measurand.
    pub mean: Vec<f64>,
    /// Covariance of the bulk, rescaled to be that of normal values.
    pub covariance: Vec<Vec<f64>>,
    /// How many units the bulk is.
    pub bulk: usize,
}

/// Share of normal values that the bulk keeps.
const KEPT: f64 = 0.9;
/// Median absolute deviation of a standard normal: Φ⁻¹(3/4).
const MAD: f64 = 0.674_489_750_196_081_7;

/// Scale of each column; refuses one that does not vary.
fn scales(columns: &[Vec<f64>]) -> Result<Vec<f64>, Refusal> {
    let mut found = Vec::with_capacity(columns.len());
    for (index, column) in columns.iter().enumerate() {
        let scale = median_absolute_deviation(column)? / MAD;
        if scale <= 0.0 {
            return Err(Refusal::NoVariance {
                what: format!("more than half of the values of measurand {}", index + 1),
                value: median(column)?,
            });
        }
        found.push(scale);
    }
    Ok(found)
}

/// Gnanadesikan and Kettenring's correlations of scaled columns: from the scales of sums and differences.
fn correlations(columns: &[Vec<f64>]) -> Result<Matrix, Refusal> {
    let mut found = unit(columns.len());
    for i in 0..columns.len() {
        for j in 0..i {
            let combined = |sign: f64| {
                let values: Vec<f64> = columns[i]
                    .iter()
                    .zip(&columns[j])
                    .map(|(a, b)| a + sign * b)
                    .collect();
                Ok((median_absolute_deviation(&values)? / MAD).powi(2))
            };
            found[i][j] = 0.25 * (combined(1.0)? - combined(-1.0)?);
            found[j][i] = found[i][j];
        }
    }
    Ok(found)
}

/// Robust location and covariance of `units`, each a list of the same measurands: orthogonalised estimates from pairs with
/// the median and MAD, twice, then mean and covariance of the 90 % nearest, rescaled (Maronna and Zamar, Technometrics 44,
/// 2002).
///
/// # Errors
/// [`Refusal::TooFew`] unless at least ten units and twice as many as measurands, plus two; [`Refusal::LengthMismatch`],
/// [`Refusal::NonFinite`], [`Refusal::NoVariance`] for a measurand of which more than half the values agree.
pub fn robust_estimates(units: &[Vec<f64>]) -> Result<Robust, Refusal> {
    let count = units.first().map_or(0, Vec::len);
    Refusal::unless_enough("units", units.len(), (2 * count + 2).max(10))?;
    Refusal::unless_enough("measurands", count, 1)?;
    for unit in units {
        if unit.len() != count {
            return Err(Refusal::LengthMismatch {
                what: "measurands of units".into(),
                left: count,
                right: unit.len(),
            });
        }
        Refusal::unless_finite("measurands of a unit", unit)?;
    }
    let mut columns: Vec<Vec<f64>> = (0..count).map(|j| units.iter().map(|u| u[j]).collect()).collect();
    for _ in 0..2 {
        let scale = scales(&columns)?;
        for (column, scale) in columns.iter_mut().zip(&scale) {
            column.iter_mut().for_each(|v| *v /= scale);
        }
        let turned = eigenvectors(&correlations(&columns)?);
        columns = (0..count)
            .map(|j| {
                (0..units.len())
                    .map(|u| columns.iter().zip(&turned).map(|(c, row)| c[u] * row[j]).sum())
                    .collect()
            })
            .collect();
    }
    let scale = scales(&columns)?;
    let mut far = vec![0.0; units.len()];
    for (column, scale) in columns.iter().zip(&scale) {
        let centre = median(column)?;
        for (far, value) in far.iter_mut().zip(column) {
            *far += ((value - centre) / scale).powi(2);
        }
    }
    let dof = count as f64;
    let cutoff = median(&far)? / chi_square_quantile(0.5, dof) * chi_square_quantile(KEPT, dof);
    let near: Vec<&Vec<f64>> = units
        .iter()
        .zip(&far)
        .filter(|(_, d)| **d <= cutoff)
        .map(|(u, _)| u)
        .collect();
    Ok(of_bulk(&near, count))
}

/// Mean and covariance of the bulk, the latter made larger by what normal values lose when the outermost are cut.
fn of_bulk(near: &[&Vec<f64>], count: usize) -> Robust {
    let n = near.len() as f64;
    let dof = count as f64;
    let mean: Vec<f64> = (0..count)
        .map(|j| near.iter().map(|u| u[j]).sum::<f64>() / n)
        .collect();
    let rows: Matrix = near
        .iter()
        .map(|u| u.iter().zip(&mean).map(|(v, m)| v - m).collect())
        .collect();
    let columns: Matrix = (0..count).map(|j| rows.iter().map(|r| r[j]).collect()).collect();
    let larger = KEPT / chi_square_below(chi_square_quantile(KEPT, dof), dof + 2.0);
    let mut covariance = product(&columns, &rows);
    for value in covariance.iter_mut().flatten() {
        *value *= larger / (n - 1.0);
    }
    Robust {
        mean,
        covariance,
        bulk: near.len(),
    }
}
