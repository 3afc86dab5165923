//! The iteration.

use ndarray::Array2;

use super::{Damping, Failure, Fit, Matrix, Options};
use crate::linear::{Qr, back_substitute, dot, inverse_gram, norm, qr};

/// Writes the residuals at some parameters.
type Residuals<'a> = &'a mut dyn FnMut(&[f64], &mut [f64]);
/// Writes the Jacobian (residuals × parameters) at some parameters.
type Jacobian<'a> = &'a mut dyn FnMut(&[f64], &mut Matrix);

/// Minimises the sum of squares of `count` residuals, with a Jacobian by central differences.
///
/// # Errors
/// [`Failure`]; no parameters are returned unless the fit is at a minimum.
///
/// # Example
/// ```
/// use truerim_analysis::least_squares::{minimise, Options};
/// let x = [0.0, 1.0, 2.0, 3.0];
/// let y = [2.0, 1.0, 0.5, 0.25]; // 2 exp(-x ln 2)
/// let fit = minimise(
///     &mut |p, r| for i in 0..4 { r[i] = p[0] * (-p[1] * x[i]).exp() - y[i] },
///     4, &[1.0, 1.0], &Options::default(),
/// )?;
/// assert!((fit.parameters[1] - 2.0_f64.ln()).abs() < 1e-9);
/// # Ok::<(), truerim_analysis::least_squares::Failure>(())
/// ```
pub fn minimise(
    residuals: Residuals<'_>,
    count: usize,
    start: &[f64],
    options: &Options,
) -> Result<Fit, Failure> {
    Solver::new(count, start, options)?.run(residuals, None)
}

/// As [`minimise`], with a Jacobian of one's own (derivatives of the residuals with respect to the parameters).
///
/// # Errors
/// As [`minimise`].
pub fn minimise_with_jacobian(
    residuals: Residuals<'_>,
    jacobian: Jacobian<'_>,
    count: usize,
    start: &[f64],
    options: &Options,
) -> Result<Fit, Failure> {
    Solver::new(count, start, options)?.run(residuals, Some(jacobian))
}

struct Solver<'o> {
    options: &'o Options,
    count: usize,
    scale: Vec<f64>,
    lower: Vec<f64>,
    upper: Vec<f64>,
    /// Scaled parameters.
    x: Vec<f64>,
    /// Sum of squares at the start.
    first_rss: f64,
}

/// The linearised problem at one point.
struct Linear {
    qr: Qr,
    free: Vec<usize>,
    offset: f64,
}

impl<'o> Solver<'o> {
    fn new(count: usize, start: &[f64], options: &'o Options) -> Result<Self, Failure> {
        let n = start.len();
        if n == 0 || count < n {
            return Err(Failure::Setup(format!("{count} residuals for {n} parameters")));
        }
        let default_scale = || {
            start
                .iter()
                .map(|v| if v.abs() > 0.0 { v.abs() } else { 1.0 })
                .collect()
        };
        let scale: Vec<f64> = options.scale.clone().unwrap_or_else(default_scale);
        let lower = options
            .lower
            .clone()
            .unwrap_or_else(|| vec![f64::NEG_INFINITY; n]);
        let upper = options.upper.clone().unwrap_or_else(|| vec![f64::INFINITY; n]);
        if [scale.len(), lower.len(), upper.len()]
            .iter()
            .any(|len| *len != n)
        {
            return Err(Failure::Setup(format!("scale and bounds must have {n} entries")));
        }
        if scale.iter().any(|s| !s.is_finite() || *s <= 0.0) {
            return Err(Failure::Setup("scales must be positive and finite".into()));
        }
        if lower
            .iter()
            .zip(&upper)
            .any(|(l, u)| l.is_nan() || u.is_nan() || l >= u)
        {
            return Err(Failure::Setup(
                "each lower bound must be below its upper bound".into(),
            ));
        }
        let divide = |v: &[f64]| -> Vec<f64> { v.iter().zip(&scale).map(|(v, s)| v / s).collect() };
        let (lower, upper) = (divide(&lower), divide(&upper));
        let x = divide(start)
            .iter()
            .zip(lower.iter().zip(&upper))
            .map(|(x, (l, u))| x.clamp(*l, *u))
            .collect();
        Ok(Self {
            options,
            count,
            scale,
            lower,
            upper,
            x,
            first_rss: f64::INFINITY,
        })
    }

    fn unscaled(&self, x: &[f64]) -> Vec<f64> {
        x.iter().zip(&self.scale).map(|(x, s)| x * s).collect()
    }

    fn run(mut self, f: Residuals<'_>, mut jac: Option<Jacobian<'_>>) -> Result<Fit, Failure> {
        let mut r = vec![0.0; self.count];
        f(&self.unscaled(&self.x), &mut r);
        let mut rss = dot(&r, &r);
        if !rss.is_finite() {
            return Err(Failure::BadStart);
        }
        self.first_rss = rss;
        let (mut damping, mut growth) = (1e-3, 2.0);
        let mut weights = vec![0.0_f64; self.x.len()];
        let mut trial_r = r.clone();
        for iteration in 0..self.options.max_iterations {
            let linear = self.linearise(f, &mut jac, &r, rss);
            for (k, j) in linear.free.iter().enumerate() {
                weights[*j] = weights[*j].max(norm(linear.qr.r.col(k)));
            }
            if self.options.damping == Damping::Scale && iteration == 0 {
                let largest = weights.iter().copied().fold(0.0, f64::max);
                damping *= largest * largest;
            }
            if self.options.damping == Damping::Scale {
                weights.fill(1.0);
            }
            loop {
                let Some(step) = damped_step(&linear, damping, &weights) else {
                    return Err(Failure::Singular {
                        iterations: iteration,
                        rss,
                    });
                };
                let mut trial = self.x.clone();
                for (k, j) in linear.free.iter().enumerate() {
                    trial[*j] = (trial[*j] + step[k]).clamp(self.lower[*j], self.upper[*j]);
                }
                let moved = relative_change(&self.x, &trial);
                f(&self.unscaled(&trial), &mut trial_r);
                let trial_rss = dot(&trial_r, &trial_r);
                if trial_rss.is_finite() && trial_rss < rss {
                    let promised = predicted_reduction(&linear, &step);
                    let ratio = (rss - trial_rss) / promised.max(f64::MIN_POSITIVE);
                    let little = self.options.rss_tolerance * rss;
                    let flat = rss - trial_rss < little && promised < little;
                    damping *= (1.0 - (2.0 * ratio - 1.0).powi(3)).max(1.0 / 3.0);
                    damping = damping.max(1e-15);
                    growth = 2.0;
                    self.x = trial;
                    std::mem::swap(&mut r, &mut trial_r);
                    rss = trial_rss;
                    if moved <= self.options.x_tolerance || flat || rss <= f64::MIN_POSITIVE {
                        return self.finish(f, &mut jac, &r, rss, iteration + 1);
                    }
                    break;
                }
                if moved <= self.options.x_tolerance || damping > 1e30 {
                    return self.finish(f, &mut jac, &r, rss, iteration + 1);
                }
                damping *= growth;
                growth *= 2.0;
            }
        }
        let (iterations, offset) = (
            self.options.max_iterations,
            self.linearise(f, &mut jac, &r, rss).offset,
        );
        Err(Failure::TooManyIterations {
            iterations,
            rss,
            offset,
        })
    }

    /// Jacobian in scaled parameters, reduced to those not held by a bound.
    fn linearise(&self, f: Residuals<'_>, jac: &mut Option<Jacobian<'_>>, r: &[f64], rss: f64) -> Linear {
        let n = self.x.len();
        let mut j = Matrix::zeros(self.count, n);
        match jac {
            Some(jac) => {
                jac(&self.unscaled(&self.x), &mut j);
                for k in 0..n {
                    let s = self.scale[k];
                    j.col_mut(k).iter_mut().for_each(|v| *v *= s);
                }
            }
            None => self.differences(f, &mut j),
        }
        let held = |k: usize| {
            let slope = dot(j.col(k), r);
            (self.x[k] <= self.lower[k] && slope > 0.0) || (self.x[k] >= self.upper[k] && slope < 0.0)
        };
        let free: Vec<usize> = (0..n).filter(|k| !held(*k)).collect();
        let mut reduced = Matrix::zeros(self.count, free.len());
        for (k, source) in free.iter().enumerate() {
            reduced.col_mut(k).copy_from_slice(j.col(*source));
        }
        let factors = qr(reduced, r.iter().map(|v| -v).collect());
        // Bates and Watts: tangent part of the residual against its normal part, each per degree of freedom.
        let tangent = dot(&factors.qtb, &factors.qtb);
        let dof = (self.count - free.len()).max(1) as f64;
        let normal = ((rss - tangent) / dof).max(0.0);
        let offset = (tangent / free.len().max(1) as f64 / normal.max(f64::MIN_POSITIVE)).sqrt();
        Linear {
            qr: factors,
            free,
            offset,
        }
    }

    fn differences(&self, f: Residuals<'_>, j: &mut Matrix) {
        let (mut above, mut below) = (vec![0.0; self.count], vec![0.0; self.count]);
        for k in 0..self.x.len() {
            let h = f64::EPSILON.cbrt() * self.x[k].abs().max(1e-3);
            let mut x = self.x.clone();
            // Beside a bound the difference becomes one-sided rather than leave the allowed range.
            let (hi, lo) = (
                (self.x[k] + h).min(self.upper[k]),
                (self.x[k] - h).max(self.lower[k]),
            );
            x[k] = hi;
            f(&self.unscaled(&x), &mut above);
            x[k] = lo;
            f(&self.unscaled(&x), &mut below);
            for (d, (a, b)) in j.col_mut(k).iter_mut().zip(above.iter().zip(&below)) {
                *d = (a - b) / (hi - lo);
            }
        }
    }

    fn finish(
        &self,
        f: Residuals<'_>,
        jac: &mut Option<Jacobian<'_>>,
        r: &[f64],
        rss: f64,
        iterations: usize,
    ) -> Result<Fit, Failure> {
        let linear = self.linearise(f, jac, r, rss);
        let n = self.x.len();
        if self.options.fail_at_bound && linear.free.len() < n {
            return Err(Failure::AtBound { iterations, rss });
        }
        let Some(gram) = inverse_gram(&linear.qr.r) else {
            return Err(Failure::Singular { iterations, rss });
        };
        // A residual at rounding level has no direction worth testing.
        let exact = rss <= 1e-18 * self.first_rss;
        if linear.offset > self.options.offset_tolerance && !exact {
            return Err(Failure::Stuck {
                iterations,
                rss,
                offset: linear.offset,
            });
        }
        let dof = self.count - linear.free.len();
        let variance = if dof > 0 { rss / dof as f64 } else { 0.0 };
        let mut covariance = Array2::zeros((n, n));
        let mut at_bound = vec![true; n];
        for (a, i) in linear.free.iter().enumerate() {
            at_bound[*i] = false;
            for (b, k) in linear.free.iter().enumerate() {
                covariance[[*i, *k]] = variance * gram.col(b)[a] * self.scale[*i] * self.scale[*k];
            }
        }
        let parameters = self.unscaled(&self.x);
        Ok(Fit {
            parameters,
            covariance,
            at_bound,
            rss,
            residual_sd: variance.sqrt(),
            dof,
            iterations,
        })
    }
}

/// Minimises `|R s - q|² + damping |W s|²`.
fn damped_step(linear: &Linear, damping: f64, weights: &[f64]) -> Option<Vec<f64>> {
    let n = linear.free.len();
    let mut a = Matrix::zeros(2 * n, n);
    for j in 0..n {
        let column = a.col_mut(j);
        column[..n].copy_from_slice(linear.qr.r.col(j));
        column[n + j] = damping.sqrt() * weights[linear.free[j]].max(f64::MIN_POSITIVE.sqrt());
    }
    let mut b = linear.qr.qtb.clone();
    b.resize(2 * n, 0.0);
    let factors = qr(a, b);
    back_substitute(&factors.r, &factors.qtb)
}

/// Reduction of the sum of squares that the linear model promises.
fn predicted_reduction(linear: &Linear, step: &[f64]) -> f64 {
    let n = step.len();
    let before = dot(&linear.qr.qtb, &linear.qr.qtb);
    let after: f64 = (0..n)
        .map(|i| (linear.qr.qtb[i] - (i..n).map(|j| linear.qr.r.col(j)[i] * step[j]).sum::<f64>()).powi(2))
        .sum();
    before - after
}

fn relative_change(from: &[f64], to: &[f64]) -> f64 {
    let change: Vec<f64> = from.iter().zip(to).map(|(a, b)| a - b).collect();
    norm(&change) / norm(to).max(f64::MIN_POSITIVE)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A line through y = 2x whose slope may be 1 at most: the best allowed is 1, held there; where that is to fail, it does. A bound
    /// beyond 2 holds nothing.
    #[test]
    fn a_bound_holds_a_parameter_or_fails_the_fit() {
        let fit = |upper: f64, fail_at_bound: bool| {
            let options = Options {
                upper: Some(vec![upper]),
                fail_at_bound,
                ..Options::default()
            };
            let residuals = &mut |p: &[f64], r: &mut [f64]| {
                for (i, r) in r.iter_mut().enumerate() {
                    *r = (p[0] - 2.0) * i as f64;
                }
            };
            minimise(residuals, 5, &[0.5], &options)
        };
        let held = fit(1.0, false).map(|fit| (fit.parameters, fit.at_bound));
        assert_eq!(held, Ok((vec![1.0], vec![true])));
        assert!(matches!(fit(1.0, true), Err(Failure::AtBound { .. })));
        let free = fit(3.0, true).map(|fit| fit.parameters[0]);
        assert!(free.is_ok_and(|slope| (slope - 2.0).abs() < 1e-9));
    }
}
