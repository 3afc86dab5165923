//! Maximum likelihood: all parameters together, weighted by the errors of the lines.

use std::cell::RefCell;

use ndarray::Array2;
use realfft::num_complex::Complex64;

use super::model::{Factor, RationalModel};
use super::on_lines::OnLines;
use super::vector::range;
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
pub(crate) const DELAY_UNIT_S: f64 = 1e-3;

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

/// How far beyond the lowest and the highest line a corner or natural frequency may lie, as a factor.
const BEYOND: [f64; 2] = [10.0, 20.0];

/// Damping ratios that make sense; two real roots lie four times its square apart.
const DAMPING: [f64; 2] = [1e-4, 30.0];

/// Least and largest parameters, in the order of [`pack`].
fn bounds(lines: &[Line], like: &RationalModel) -> (Vec<f64>, Vec<f64>) {
    let (low_hz, high_hz) = range(lines);
    let corner = [low_hz / BEYOND[0], high_hz * BEYOND[1]].map(f64::ln);
    let mut of = Vec::new();
    for factor in like.poles.iter().chain(&like.zeros) {
        of.push(corner);
        if matches!(factor, Factor::Pair { .. }) {
            of.push(DAMPING.map(f64::ln));
        }
    }
    // Gain and delay.
    of.extend([[f64::NEG_INFINITY, f64::INFINITY]; 2]);
    of.iter().map(|[low, high]| (*low, *high)).unzip()
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
    let (lower, upper) = bounds(lines, from);
    let options = Options {
        lower: Some(free.iter().map(|k| lower[*k]).collect()),
        upper: Some(free.iter().map(|k| upper[*k]).collect()),
        // A root that lies beyond what the lines tell goes on to wander; such a model has one root too many.
        fail_at_bound: true,
        scale: Some(free.iter().map(|k| scale(*k)).collect()),
        max_iterations: effort.iterations,
        x_tolerance: 1e-9,
        rss_tolerance: effort.rss_tolerance,
        offset_tolerance: 1e-2,
        ..Options::default()
    };
    let on = RefCell::new(OnLines::new(lines));
    let mut column_of = vec![None; n];
    free.iter()
        .enumerate()
        .for_each(|(column, k)| column_of[*k] = Some(column));
    let residuals = &mut |p: &[f64], out: &mut [f64]| on.borrow_mut().misfits(&unpack(&whole(p), from), out);
    let jacobian = &mut |p: &[f64], out: &mut Matrix| {
        on.borrow_mut().slopes(&unpack(&whole(p), from), &column_of, out);
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
