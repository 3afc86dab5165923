//! Maximum likelihood: all parameters together, weighted by the errors of the lines.

use ndarray::Array2;
use realfft::num_complex::Complex64;
use std::f64::consts::TAU;

use super::model::{Factor, RationalModel};
use crate::least_squares::{Failure, Matrix, Options, minimise_with_jacobian};

/// A line of the response: frequency, value, error of each of real and imaginary part.
pub(crate) type Line = (f64, Complex64, f64);

/// A fit at rest.
#[derive(Debug, Clone)]
pub(crate) struct Refined {
    pub(crate) model: RationalModel,
    /// Parameters in the order of [`unpack`].
    pub(crate) parameters: Vec<f64>,
    /// Their covariance, scaled up when the residuals exceed the errors given, never down.
    pub(crate) covariance: Array2<f64>,
    /// Weighted sum of squares.
    pub(crate) rss: f64,
    pub(crate) dof: usize,
}

/// Unit of the delay among the parameters.
const DELAY_UNIT_S: f64 = 1e-3;

/// Parameters: logarithms of the poles' figures, then of the zeros', then gain, then delay in ms.
pub(crate) fn pack(model: &RationalModel) -> Vec<f64> {
    let mut p = Vec::new();
    for factor in model.poles.iter().chain(&model.zeros) {
        match factor {
            Factor::Real { corner_hz } => p.push(corner_hz.ln()),
            Factor::Pair { f_hz, damping } => p.extend([f_hz.ln(), damping.ln()]),
        }
    }
    p.extend([model.gain, model.delay_s / DELAY_UNIT_S]);
    p
}

/// The model of parameters, with factors of the kinds in `like`.
pub(crate) fn unpack(p: &[f64], like: &RationalModel) -> RationalModel {
    let mut p = p.iter().copied();
    let mut next = || p.next().unwrap_or(0.0);
    let mut factors = |like: &[Factor]| -> Vec<Factor> {
        like.iter()
            .map(|factor| match factor {
                Factor::Real { .. } => Factor::Real {
                    corner_hz: next().exp(),
                },
                Factor::Pair { .. } => Factor::Pair {
                    f_hz: next().exp(),
                    damping: next().exp(),
                },
            })
            .collect()
    };
    let (poles, zeros) = (factors(&like.poles), factors(&like.zeros));
    RationalModel {
        gain: next(),
        delay_s: next() * DELAY_UNIT_S,
        poles,
        zeros,
    }
}

/// How far a fit goes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Effort {
    pub(crate) iterations: usize,
    /// Relative reduction of the sum of squares below which it is at rest.
    pub(crate) rss_tolerance: f64,
}

/// Fits from a start. `delay_known` holds the delay where it is.
pub(crate) fn refine(
    lines: &[Line],
    from: &RationalModel,
    delay_known: bool,
    effort: Effort,
) -> Result<Refined, Failure> {
    let start = pack(from);
    let n = start.len();
    let at_delay = n - 1;
    let free: Vec<usize> = (0..n).filter(|k| !(delay_known && *k == at_delay)).collect();
    let whole = |p: &[f64]| {
        let mut all = start.clone();
        for (k, p) in free.iter().zip(p) {
            all[*k] = *p;
        }
        all
    };
    let scale = |k: usize| match n - k {
        1 => 0.1,
        2 => 0.1 * from.gain.abs().max(1e-12),
        _ => 0.3,
    };
    let options = Options {
        scale: Some(free.iter().map(|k| scale(*k)).collect()),
        max_iterations: effort.iterations,
        x_tolerance: 1e-9,
        rss_tolerance: effort.rss_tolerance,
        offset_tolerance: 1e-2,
        ..Options::default()
    };
    let residuals = &mut |p: &[f64], out: &mut [f64]| {
        let model = unpack(&whole(p), from);
        for (i, (f, h, u)) in lines.iter().enumerate() {
            let miss = (model.at(*f) - h) / u;
            (out[2 * i], out[2 * i + 1]) = (miss.re, miss.im);
        }
    };
    let jacobian = &mut |p: &[f64], out: &mut Matrix| {
        let model = unpack(&whole(p), from);
        let mut row = vec![Complex64::default(); n];
        for (i, (f, _, u)) in lines.iter().enumerate() {
            gradient(&model, *f, &mut row);
            for (j, k) in free.iter().enumerate() {
                let v = row[*k] / u;
                let column = out.col_mut(j);
                (column[2 * i], column[2 * i + 1]) = (v.re, v.im);
            }
        }
    };
    let begin: Vec<f64> = free.iter().map(|k| start[*k]).collect();
    let fit = minimise_with_jacobian(residuals, jacobian, 2 * lines.len(), &begin, &options)?;
    let parameters = whole(&fit.parameters);
    // Residuals that happen to be smaller than the errors given do not make the result better known.
    let inflate = if fit.residual_sd > 0.0 {
        (1.0 / fit.residual_sd).max(1.0).powi(2)
    } else {
        1.0
    };
    let mut covariance = Array2::zeros((n, n));
    for (a, i) in free.iter().enumerate() {
        for (b, j) in free.iter().enumerate() {
            covariance[[*i, *j]] = fit.covariance[[a, b]] * inflate;
        }
    }
    Ok(Refined {
        model: unpack(&parameters, from),
        parameters,
        covariance,
        rss: fit.rss,
        dof: fit.dof,
    })
}

/// Derivatives of the response at `f_hz` with respect to all parameters.
fn gradient(model: &RationalModel, f_hz: f64, out: &mut [Complex64]) {
    let s = Complex64::new(0.0, TAU * f_hz);
    let h = model.at(f_hz);
    let mut k = 0;
    let sides = [(&model.poles, -1.0), (&model.zeros, 1.0)];
    for (factors, sign) in sides {
        for factor in factors {
            let value = factor.at(s);
            for slope in &factor.slopes(s)[..factor.count()] {
                out[k] = sign * h * slope / value;
                k += 1;
            }
        }
    }
    out[k] = h / model.gain;
    out[k + 1] = -s * DELAY_UNIT_S * h;
}

impl Refined {
    /// A figure that follows from the model, with its standard uncertainty by the covariance (central differences of a
    /// tenth of a standard deviation); `None` when the figure does not exist.
    pub(crate) fn derived(&self, figure: impl Fn(&RationalModel) -> Option<f64>) -> Option<(f64, f64)> {
        let value = figure(&self.model)?;
        let n = self.parameters.len();
        let mut slope = vec![0.0; n];
        for k in 0..n {
            let sd = self.covariance[[k, k]].max(0.0).sqrt();
            if sd <= 0.0 {
                continue;
            }
            let h = 0.1 * sd;
            let at = |sign: f64| {
                let mut p = self.parameters.clone();
                p[k] += sign * h;
                figure(&unpack(&p, &self.model))
            };
            slope[k] = (at(1.0)? - at(-1.0)?) / (2.0 * h);
        }
        let mut variance = 0.0;
        for i in 0..n {
            for j in 0..n {
                variance += slope[i] * slope[j] * self.covariance[[i, j]];
            }
        }
        variance.is_finite().then_some((value, variance.max(0.0).sqrt()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The gradient against central differences of the model.
    #[test]
    fn gradient_is_that_of_the_model() {
        let model = RationalModel {
            gain: 1.3,
            delay_s: 3e-3,
            poles: vec![
                Factor::Pair {
                    f_hz: 40.0,
                    damping: 0.2,
                },
                Factor::Real { corner_hz: 90.0 },
            ],
            zeros: vec![
                Factor::Real { corner_hz: 60.0 },
                Factor::Pair {
                    f_hz: 70.0,
                    damping: 1.4,
                },
            ],
        };
        let p = pack(&model);
        let mut found = vec![Complex64::default(); p.len()];
        gradient(&model, 33.0, &mut found);
        for (k, found) in found.iter().enumerate() {
            let at = |h: f64| {
                let mut q = p.clone();
                q[k] += h;
                unpack(&q, &model).at(33.0)
            };
            let expected = (at(1e-6) - at(-1e-6)) / 2e-6;
            assert!((found - expected).norm() < 1e-7, "{k}: {found} {expected}");
        }
    }
}
