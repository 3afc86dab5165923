//! Averaged spectra of long records, as `scipy.signal.welch`, `csd` and `coherence` define them: periodic Hann window,
//! each segment's mean removed, one-sided densities, segments averaged (Welch 1967).

mod response;

pub use response::{Estimator, SpectralResponse, welch_response};

use realfft::num_complex::Complex64;
use realfft::{RealFftPlanner, RealToComplex};
use serde::{Deserialize, Serialize};
use std::sync::Arc;

use crate::estimate::Refusal;
use crate::statistics::all_finite;

/// How a record is cut into segments.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct WelchOptions {
    /// Sample rate, samples/s.
    pub fs_hz: f64,
    /// Samples in a segment, at least 2.
    pub segment: usize,
    /// Samples shared by neighbouring segments, less than `segment`; half of it is usual.
    pub overlap: usize,
}

impl WelchOptions {
    /// Segments that overlap by half.
    pub fn half_overlap(fs_hz: f64, segment: usize) -> Self {
        Self {
            fs_hz,
            segment,
            overlap: segment / 2,
        }
    }
}

/// Spectra of two records, all densities per Hz, one-sided.
#[derive(Debug, Clone, PartialEq)]
pub struct Spectra {
    /// Frequencies from 0 to half the sample rate, Hz.
    pub f_hz: Vec<f64>,
    /// Auto-spectral density of the first record.
    pub pxx: Vec<f64>,
    /// Auto-spectral density of the second.
    pub pyy: Vec<f64>,
    /// Cross-spectral density, the conjugate on the first record: `mean(conj(X) Y)`.
    pub pxy: Vec<Complex64>,
    /// Segments averaged.
    pub segments: usize,
}

impl Spectra {
    /// Ordinary coherence `|Pxy|² / (Pxx Pyy)`, 0 where either spectrum vanishes. One segment alone gives 1 everywhere
    /// and says nothing.
    pub fn coherence(&self) -> Vec<f64> {
        let each = |((xy, xx), yy): ((&Complex64, &f64), &f64)| {
            let product = xx * yy;
            if product > 0.0 {
                xy.norm_sqr() / product
            } else {
                0.0
            }
        };
        self.pxy.iter().zip(&self.pxx).zip(&self.pyy).map(each).collect()
    }

    /// H1 estimate `Pxy / Pxx` of the response from the first record to the second: right when noise is on the second.
    pub fn h1(&self) -> Vec<Complex64> {
        self.pxy.iter().zip(&self.pxx).map(|(xy, xx)| xy / xx).collect()
    }

    /// H2 estimate `Pyy / conj(Pxy)`: right when noise is on the first record.
    pub fn h2(&self) -> Vec<Complex64> {
        self.pyy
            .iter()
            .zip(&self.pxy)
            .map(|(yy, xy)| Complex64::from(*yy) / xy.conj())
            .collect()
    }
}

/// Auto-spectral density of one record: frequencies in Hz and density per Hz.
///
/// # Errors
/// As [`spectra`].
pub fn welch(x: &[f64], options: &WelchOptions) -> Result<(Vec<f64>, Vec<f64>), Refusal> {
    spectra(x, x, options).map(|s| (s.f_hz, s.pxx))
}

/// Cross-spectral density of two records: frequencies in Hz and density per Hz.
///
/// # Errors
/// As [`spectra`].
pub fn csd(x: &[f64], y: &[f64], options: &WelchOptions) -> Result<(Vec<f64>, Vec<Complex64>), Refusal> {
    spectra(x, y, options).map(|s| (s.f_hz, s.pxy))
}

/// Coherence of two records: frequencies in Hz and coherence.
///
/// # Errors
/// As [`spectra`].
pub fn coherence(x: &[f64], y: &[f64], options: &WelchOptions) -> Result<(Vec<f64>, Vec<f64>), Refusal> {
    spectra(x, y, options).map(|s| (s.f_hz.clone(), s.coherence()))
}

/// Auto- and cross-spectra in one pass.
///
/// # Errors
/// [`Refusal::LengthMismatch`], [`Refusal::NonFinite`], [`Refusal::TooFewSamples`] for a record shorter than a segment,
/// [`Refusal::OutOfRange`] for a segment below 2, an overlap that is not less than it, or a rate that is not positive.
pub fn spectra(x: &[f64], y: &[f64], options: &WelchOptions) -> Result<Spectra, Refusal> {
    let WelchOptions {
        fs_hz,
        segment: n,
        overlap,
    } = *options;
    if x.len() != y.len() {
        return Err(Refusal::LengthMismatch {
            what: "two records of a spectrum".into(),
            left: x.len(),
            right: y.len(),
        });
    }
    if n < 2 {
        return Err(Refusal::out_of_range(
            "the length of a segment",
            n as f64,
            2.0,
            f64::INFINITY,
            "1",
        ));
    }
    if overlap >= n {
        return Err(Refusal::out_of_range(
            "the overlap of segments",
            overlap as f64,
            0.0,
            (n - 1) as f64,
            "1",
        ));
    }
    if !fs_hz.is_finite() || fs_hz <= 0.0 {
        return Err(Refusal::out_of_range(
            "the sample rate",
            fs_hz,
            0.0,
            f64::INFINITY,
            "1",
        ));
    }
    if x.len() < n {
        return Err(Refusal::TooFewSamples {
            what: "a spectrum".into(),
            got: x.len(),
            needed: n,
        });
    }
    all_finite("the first record", x.iter())?;
    all_finite("the second record", y.iter())?;
    let window = hann(n);
    let mut transform = Transform::new(n);
    let bins = n / 2 + 1;
    let (mut pxx, mut pyy, mut pxy) = (vec![0.0; bins], vec![0.0; bins], vec![Complex64::default(); bins]);
    let mut segments = 0;
    for start in (0..=x.len() - n).step_by(n - overlap) {
        let fx = transform.windowed(&x[start..start + n], &window);
        let fy = transform.windowed(&y[start..start + n], &window);
        for k in 0..bins {
            pxx[k] += fx[k].norm_sqr();
            pyy[k] += fy[k].norm_sqr();
            pxy[k] += fx[k].conj() * fy[k];
        }
        segments += 1;
    }
    let density = 1.0 / (fs_hz * window.iter().map(|w| w * w).sum::<f64>() * segments as f64);
    for k in 0..bins {
        let both_sides = if k == 0 || 2 * k == n { 1.0 } else { 2.0 };
        pxx[k] *= density * both_sides;
        pyy[k] *= density * both_sides;
        pxy[k] *= density * both_sides;
    }
    let f_hz = (0..bins).map(|k| k as f64 * fs_hz / n as f64).collect();
    Ok(Spectra {
        f_hz,
        pxx,
        pyy,
        pxy,
        segments,
    })
}

/// Periodic Hann window.
fn hann(n: usize) -> Vec<f64> {
    (0..n)
        .map(|i| 0.5 - 0.5 * (std::f64::consts::TAU * i as f64 / n as f64).cos())
        .collect()
}

/// A real transform of one length. Division by zero cannot occur and lengths are right by construction, so the
/// library's errors are not reachable; they would leave zeros, which every caller's checks refuse.
pub(crate) struct Transform {
    plan: Arc<dyn RealToComplex<f64>>,
}

impl Transform {
    pub(crate) fn new(n: usize) -> Self {
        Self {
            plan: RealFftPlanner::new().plan_fft_forward(n),
        }
    }

    /// Transform of `x` less its mean, times `window`.
    fn windowed(&mut self, x: &[f64], window: &[f64]) -> Vec<Complex64> {
        let mean = x.iter().sum::<f64>() / x.len() as f64;
        self.forward(x.iter().zip(window).map(|(x, w)| (x - mean) * w).collect())
    }

    /// The record of `n` values that has this transform.
    pub(crate) fn backward(mut spectrum: Vec<Complex64>, n: usize) -> Vec<f64> {
        let plan = RealFftPlanner::new().plan_fft_inverse(n);
        let mut out = plan.make_output_vec();
        if plan.process(&mut spectrum, &mut out).is_err() {
            out.fill(0.0);
        }
        out.iter_mut().for_each(|x| *x /= n as f64);
        out
    }

    /// Transform of a whole record.
    pub(crate) fn forward(&mut self, mut x: Vec<f64>) -> Vec<Complex64> {
        let mut out = self.plan.make_output_vec();
        if self.plan.process(&mut x, &mut out).is_err() {
            out.fill(Complex64::default());
        }
        out
    }
}
