//! Linear least squares, with what the columns can tell apart.
//!
//! Solved by QR. Beside the coefficients come the condition number of the columns, each divided by its length
//! (Belsley, Kuh and Welsch, Regression Diagnostics, 1980), and how much each coefficient's variance is inflated by
//! the other columns. Residuals of drivetrain records are anything but white: cogging repeats, noise is filtered. So
//! the covariance comes either from deleting one block of rows after the other (the jackknife of Quenouille and
//! Tukey with blocks longer than the memory of the residuals, Künsch 1989) or, with white residuals, from their
//! spread.

use ndarray::Array2;

use crate::estimate::Refusal;
use crate::least_squares::Matrix;
use crate::linear::{back_substitute, dot, inverse_gram, norm, qr};

/// A linear fit.
#[derive(Debug, Clone, PartialEq)]
pub struct LinearFit {
    /// One coefficient a column.
    pub coefficients: Vec<f64>,
    /// `(X' X)^-1`; times the residual variance it is the covariance when residuals are white.
    pub inverse_gram: Array2<f64>,
    /// What is left, one a row.
    pub residuals: Vec<f64>,
    /// Residual standard deviation, `sqrt(rss / dof)`.
    pub residual_sd: f64,
    /// Rows less columns.
    pub dof: usize,
    /// Condition number of the columns, each divided by its length.
    pub condition: f64,
    /// By how much the variance of each coefficient exceeds that of its column alone; 1 for an orthogonal one.
    pub inflation: Vec<f64>,
}

impl LinearFit {
    /// Correlation between coefficients `i` and `j`.
    pub fn correlation(&self, i: usize, j: usize) -> f64 {
        let g = &self.inverse_gram;
        g[[i, j]] / (g[[i, i]] * g[[j, j]]).sqrt()
    }

    /// Standard deviation of coefficient `i` when residuals are white.
    pub fn white_sd(&self, i: usize) -> f64 {
        self.residual_sd * self.inverse_gram[[i, i]].max(0.0).sqrt()
    }

    /// The column whose coefficient is most strongly tied to that of column `i`, with the correlation.
    pub fn partner(&self, i: usize) -> Option<(usize, f64)> {
        (0..self.coefficients.len())
            .filter(|j| *j != i)
            .map(|j| (j, self.correlation(i, j)))
            .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
    }
}

/// Fits `y` by the columns.
///
/// # Errors
/// [`Refusal::LengthMismatch`], [`Refusal::TooFewSamples`] below one row more than columns, [`Refusal::NonFinite`],
/// and [`Refusal::Confounded`] when the columns are linearly dependent.
pub fn fit(columns: &Matrix, y: &[f64]) -> Result<LinearFit, Refusal> {
    let (m, n) = (columns.rows(), columns.cols());
    if m != y.len() {
        return Err(Refusal::LengthMismatch {
            what: "columns and right-hand side of a linear fit".into(),
            left: m,
            right: y.len(),
        });
    }
    if m <= n {
        return Err(Refusal::TooFewSamples {
            what: format!("a linear fit of {n} coefficients"),
            got: m,
            needed: n + 1,
        });
    }
    crate::statistics::all_finite("the right-hand side of a linear fit", y.iter())?;
    for j in 0..n {
        crate::statistics::all_finite("a column of a linear fit", columns.col(j).iter())?;
    }
    let dependent = |condition: f64| Refusal::Confounded {
        what: "the coefficients of a linear fit".into(),
        with: "one another".into(),
        measure: "condition number".into(),
        value: condition,
        limit: 1e12,
        remedy: "excite the motion in more ways".into(),
    };
    let factors = qr(columns.clone(), y.to_vec());
    let condition = condition_of(&factors.r);
    if condition.is_nan() || condition > 1e12 {
        return Err(dependent(condition));
    }
    let coefficients = back_substitute(&factors.r, &factors.qtb).ok_or_else(|| dependent(condition))?;
    let gram = inverse_gram(&factors.r).ok_or_else(|| dependent(condition))?;
    let inverse = Array2::from_shape_fn((n, n), |(i, j)| gram.col(j)[i]);
    let inflation = (0..n)
        .map(|j| inverse[[j, j]] * dot(columns.col(j), columns.col(j)))
        .collect();
    let mut residuals = y.to_vec();
    for (j, c) in coefficients.iter().enumerate() {
        for (r, x) in residuals.iter_mut().zip(columns.col(j)) {
            *r -= c * x;
        }
    }
    let dof = m - n;
    Ok(LinearFit {
        residual_sd: (dot(&residuals, &residuals) / dof as f64).sqrt(),
        coefficients,
        inverse_gram: inverse,
        residuals,
        dof,
        condition,
        inflation,
    })
}

/// Slope of the straight line through `y` over `x`.
///
/// # Errors
/// As [`fit`].
pub fn slope(x: &[f64], y: &[f64]) -> Result<f64, Refusal> {
    let mut columns = Matrix::zeros(x.len(), 2);
    columns.col_mut(0).copy_from_slice(x);
    columns.col_mut(1).fill(1.0);
    Ok(fit(&columns, y)?.coefficients[0])
}

/// Covariance by leaving out one of `blocks` runs of neighbouring rows after the other; its degrees of freedom are
/// `blocks − 1`.
///
/// # Errors
/// As [`fit`], for each part; [`Refusal::OutOfRange`] for fewer than four blocks or blocks without rows.
pub fn block_jackknife(columns: &Matrix, y: &[f64], blocks: usize) -> Result<Array2<f64>, Refusal> {
    let (m, n) = (columns.rows(), columns.cols());
    if blocks < 4 || blocks > m {
        return Err(Refusal::OutOfRange {
            what: "the number of blocks of a jackknife".into(),
            value: blocks as f64,
            low: 4.0,
            high: m as f64,
            unit: "1".into(),
        });
    }
    let mut all = Vec::with_capacity(blocks);
    for g in 0..blocks {
        let (from, to) = (g * m / blocks, (g + 1) * m / blocks);
        let keep = m - (to - from);
        let mut part = Matrix::zeros(keep, n);
        for j in 0..n {
            let (source, target) = (columns.col(j), part.col_mut(j));
            target[..from].copy_from_slice(&source[..from]);
            target[from..].copy_from_slice(&source[to..]);
        }
        let rest: Vec<f64> = y[..from].iter().chain(&y[to..]).copied().collect();
        all.push(fit(&part, &rest)?.coefficients);
    }
    let g = blocks as f64;
    let mean: Vec<f64> = (0..n)
        .map(|j| all.iter().map(|c| c[j]).sum::<f64>() / g)
        .collect();
    Ok(Array2::from_shape_fn((n, n), |(i, j)| {
        (g - 1.0) / g
            * all
                .iter()
                .map(|c| (c[i] - mean[i]) * (c[j] - mean[j]))
                .sum::<f64>()
    }))
}

/// Ratio of the largest to the smallest singular value of a triangle whose columns are divided by their lengths, by
/// one-sided rotations (Hestenes 1958).
fn condition_of(r: &Matrix) -> f64 {
    let n = r.cols();
    let mut a: Vec<Vec<f64>> = (0..n)
        .map(|j| {
            let size = norm(r.col(j)).max(f64::MIN_POSITIVE);
            r.col(j).iter().map(|v| v / size).collect()
        })
        .collect();
    for _ in 0..60 {
        let mut largest = 0.0_f64;
        for p in 0..n {
            for q in p + 1..n {
                let (alpha, beta) = (dot(&a[p], &a[p]), dot(&a[q], &a[q]));
                let gamma = dot(&a[p], &a[q]);
                if gamma.abs() <= 1e-15 * (alpha * beta).sqrt() {
                    continue;
                }
                largest = largest.max(gamma.abs() / (alpha * beta).sqrt());
                let zeta = (beta - alpha) / (2.0 * gamma);
                let t = zeta.signum() / (zeta.abs() + (1.0 + zeta * zeta).sqrt());
                let c = 1.0 / (1.0 + t * t).sqrt();
                let s = c * t;
                let (left, right) = a.split_at_mut(q);
                for (x, y) in left[p].iter_mut().zip(&mut right[0]) {
                    (*x, *y) = (c * *x - s * *y, s * *x + c * *y);
                }
            }
        }
        if largest < 1e-12 {
            break;
        }
    }
    let sizes: Vec<f64> = a.iter().map(|c| norm(c)).collect();
    let largest = sizes.iter().copied().fold(0.0, f64::max);
    let smallest = sizes.iter().copied().fold(f64::INFINITY, f64::min);
    largest / smallest
}
