//! Magnitude against the gain at low frequency, and smooth pieces of it: what the readings share.

use std::ops::RangeInclusive;

use super::FrequencyResponse;
use crate::estimate::{Contribution, Refusal};
use crate::linear::{Matrix, back_substitute, inverse_gram, qr};
use crate::statistics::mean_sd;

/// Magnitudes of the mean response or of one repeat.
pub(crate) fn gains(response: &FrequencyResponse, repeat: Option<usize>) -> Vec<f64> {
    match repeat {
        Some(r) => response.repeats[r].iter().map(|h| h[0].hypot(h[1])).collect(),
        None => response.gain(),
    }
}

/// Mean gain over a low band, its relative random error, and the index of the first band above it.
pub(crate) fn reference(
    response: &FrequencyResponse,
    gains: &[f64],
    band_hz: [f64; 2],
) -> Result<(f64, f64, usize), Refusal> {
    let inside: Vec<usize> = (0..gains.len())
        .filter(|b| (band_hz[0]..=band_hz[1]).contains(&response.f_hz[*b]) && response.usable[*b])
        .collect();
    if inside.len() < 3 {
        return Err(Refusal::TooFewSamples {
            what: format!(
                "usable bands for the gain between {} and {} Hz",
                band_hz[0], band_hz[1]
            ),
            got: inside.len(),
            needed: 3,
        });
    }
    let n = inside.len() as f64;
    let gain = inside.iter().map(|b| gains[*b]).sum::<f64>() / n;
    // At low frequency neighbouring bands draw on the same lines; how many independent ones there are follows from the
    // span of the band in widths of the lines each needs.
    let span_hz = response.f_hz[inside[inside.len() - 1]] - response.f_hz[inside[0]];
    let independent = (span_hz / (12.0 * response.line_hz)).clamp(1.0, n);
    let mean_square = inside
        .iter()
        .map(|b| response.gain_rel_u[*b].powi(2))
        .sum::<f64>()
        / n;
    let start = (0..gains.len())
        .find(|b| response.f_hz[*b] > band_hz[1])
        .unwrap_or(gains.len());
    Ok((gain, (mean_square / independent).sqrt(), start))
}

/// A polynomial through part of a curve.
pub(crate) struct Piece {
    coefficients: Vec<f64>,
    covariance: Matrix,
    centre: f64,
}

impl Piece {
    /// A parabola over the logarithm of frequency through some bands of `values` with errors `u`; `None` when they do
    /// not determine it.
    ///
    /// # Errors
    /// [`Refusal::LowCoherence`] when one of the bands is not usable.
    pub(crate) fn through(
        response: &FrequencyResponse,
        values: &[f64],
        u: &[f64],
        bands: RangeInclusive<usize>,
    ) -> Result<Option<Self>, Refusal> {
        if let Some(bad) = bands.clone().find(|i| !response.usable[*i]) {
            let (f_hz, coherence) = (response.f_hz[bad], response.coherence[bad]);
            return Err(Refusal::LowCoherence {
                f_hz,
                coherence,
                limit: response.min_coherence,
            });
        }
        let x: Vec<f64> = response.f_hz[bands.clone()].iter().map(|f| f.ln()).collect();
        let u: Vec<f64> = u[bands.clone()].iter().map(|u| u.max(1e-4)).collect();
        Ok(Self::new(&x, &values[bands], &u, 2))
    }

    /// Weighted least squares of `order` through points with errors `u`; `None` when they do not determine it.
    pub(crate) fn new(x: &[f64], y: &[f64], u: &[f64], order: usize) -> Option<Self> {
        let (m, n) = (x.len(), order + 1);
        if m < n {
            return None;
        }
        let centre = x.iter().sum::<f64>() / m as f64;
        let mut a = Matrix::zeros(m, n);
        for p in 0..n {
            for (i, v) in a.col_mut(p).iter_mut().enumerate() {
                *v = (x[i] - centre).powi(p as i32) / u[i];
            }
        }
        let factors = qr(a, y.iter().zip(u).map(|(y, u)| y / u).collect());
        let coefficients = back_substitute(&factors.r, &factors.qtb)?;
        Some(Self {
            coefficients,
            covariance: inverse_gram(&factors.r)?,
            centre,
        })
    }

    /// Coefficient of a power of `x` less the mean of all `x`.
    pub(crate) fn coefficient(&self, power: usize) -> Option<f64> {
        self.coefficients.get(power).copied()
    }

    /// Standard uncertainty of the slope of a straight line.
    pub(crate) fn slope_u(&self) -> f64 {
        self.covariance.col(1)[1].max(0.0).sqrt()
    }

    /// Value, slope and standard uncertainty of the value at `x`.
    pub(crate) fn at(&self, x: f64) -> (f64, f64, f64) {
        let (d, n) = (x - self.centre, self.coefficients.len());
        let powers: Vec<f64> = (0..n).map(|p| d.powi(p as i32)).collect();
        let value = self.coefficients.iter().zip(&powers).map(|(c, p)| c * p).sum();
        let slope = (1..n)
            .map(|p| p as f64 * self.coefficients[p] * powers[p - 1])
            .sum();
        let mut variance = 0.0;
        for i in 0..n {
            for j in 0..n {
                variance += powers[i] * powers[j] * self.covariance.col(j)[i];
            }
        }
        (value, slope, variance.max(0.0).sqrt())
    }
}

/// Random error with what the repeats scatter beyond it. The scatter of the repeats contains the random error once
/// already, so only the excess is added; an excess that is negative is none.
pub(crate) fn random_and_scatter(
    random_u: f64,
    random_dof: f64,
    repeats: &[f64],
) -> Result<Vec<Contribution>, Refusal> {
    let mut budget = vec![Contribution::type_a(
        "random error from the coherence",
        random_u,
        random_dof,
    )];
    if repeats.len() >= 2 {
        let stats = mean_sd(repeats)?;
        let n = stats.n as f64;
        let excess = (stats.sd.powi(2) / n - random_u.powi(2)).max(0.0).sqrt();
        budget.push(Contribution::type_a(
            "scatter of repeats beyond it",
            excess,
            n - 1.0,
        ));
    }
    Ok(budget)
}
