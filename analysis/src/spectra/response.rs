//! Frequency response from averaged spectra: H1, H2, Hv, with random errors.

use realfft::num_complex::Complex64;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

use super::{Spectra, WelchOptions, hann, spectra};
use crate::estimate::Refusal;
use crate::frequency::{magnitude_error, phase_error_rad};

/// Which noise an estimator leaves out (Bendat and Piersol, Random Data, 4th ed., ch. 6).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Estimator {
    /// `Pxy / Pxx`: right when noise is on the output. The setpoint is free of noise, so this one is usual here.
    H1,
    /// `Pyy / conj(Pxy)`: right when noise is on the input.
    H2,
    /// `sqrt(Pyy / Pxx)` with the phase of `Pxy`: total least squares, right when both carry the same noise relative to
    /// their power (Rocklin, Crowley and Vold 1985, each record scaled by its own spectrum). Its magnitude lies between
    /// those of H1 and H2, at their geometric mean.
    Hv,
}

/// A response over the lines of a segment; lists have one entry a line, frequencies ascending from 0.
#[derive(Debug, Clone, PartialEq)]
pub struct SpectralResponse {
    /// Frequencies, Hz.
    pub f_hz: Vec<f64>,
    /// Response, delay included.
    pub h: Vec<Complex64>,
    /// Ordinary coherence.
    pub coherence: Vec<f64>,
    /// Random error of the magnitude, relative, one standard deviation.
    pub gain_rel_u: Vec<f64>,
    /// Random error of the phase, rad.
    pub phase_u_rad: Vec<f64>,
    /// Independent averages that the overlapping segments are worth.
    pub averages: f64,
}

impl Spectra {
    /// Hv estimate; see [`Estimator::Hv`]. Zero where the cross-spectrum vanishes.
    pub fn hv(&self) -> Vec<Complex64> {
        let each = |((xy, xx), yy): ((&Complex64, &f64), &f64)| {
            let size = xy.norm();
            if size > 0.0 {
                xy / size * (yy / xx).sqrt()
            } else {
                Complex64::default()
            }
        };
        self.pxy.iter().zip(&self.pxx).zip(&self.pyy).map(each).collect()
    }

    /// Response by an estimator.
    pub fn response(&self, estimator: Estimator) -> Vec<Complex64> {
        match estimator {
            Estimator::H1 => self.h1(),
            Estimator::H2 => self.h2(),
            Estimator::Hv => self.hv(),
        }
    }
}

impl WelchOptions {
    /// Independent averages that `segments` overlapping Hann segments are worth (Welch 1967): their number over
    /// `1 + 2 Σ (1 - j/K) ρ_j`, ρ the squared correlation of windows j steps apart.
    pub fn averages(&self, segments: usize) -> f64 {
        let window = hann(self.segment);
        let power: f64 = window.iter().map(|w| w * w).sum();
        let step = self.segment.saturating_sub(self.overlap).max(1);
        let count = segments as f64;
        let mut spread = 1.0;
        for j in 1..segments {
            let shift = j * step;
            if shift >= self.segment {
                break;
            }
            let shared: f64 = window[shift..].iter().zip(&window).map(|(a, b)| a * b).sum();
            spread += 2.0 * (1.0 - j as f64 / count) * (shared / power).powi(2);
        }
        count / spread
    }
}

/// Response from `x` to `y` by averaged segments.
///
/// A delay shifts the answer to a segment's end out of the segment: left in, it lowers magnitude and coherence by about
/// the share of the segment that it is (Bendat and Piersol, 4th ed., 9.3.2; Seybert and Hamilton 1978). So `delay_s`, known
/// roughly, is taken out of `y` by whole samples before it is cut, and put back into the phase exactly.
///
/// # Errors
/// As [`spectra`]; [`Refusal::DelayBeyondWindow`] for a delay that is negative or longer than a quarter of the record.
pub fn welch_response(
    x: &[f64],
    y: &[f64],
    options: &WelchOptions,
    estimator: Estimator,
    delay_s: f64,
) -> Result<SpectralResponse, Refusal> {
    let window_s = 0.25 * y.len() as f64 / options.fs_hz;
    if !(0.0..=window_s).contains(&delay_s) {
        return Err(Refusal::DelayBeyondWindow { delay_s, window_s });
    }
    if x.len() != y.len() {
        return Err(Refusal::LengthMismatch {
            what: "two records of a response".into(),
            left: x.len(),
            right: y.len(),
        });
    }
    let shift = (delay_s * options.fs_hz).round() as usize;
    let s = spectra(&x[..x.len() - shift], &y[shift..], options)?;
    let averages = options.averages(s.segments);
    let coherence = s.coherence();
    let h = s
        .response(estimator)
        .iter()
        .zip(&s.f_hz)
        .map(|(h, f)| h * Complex64::from_polar(1.0, -TAU * f * shift as f64 / options.fs_hz))
        .collect();
    Ok(SpectralResponse {
        gain_rel_u: coherence.iter().map(|c| magnitude_error(*c, averages)).collect(),
        phase_u_rad: coherence.iter().map(|c| phase_error_rad(*c, averages)).collect(),
        f_hz: s.f_hz,
        h,
        coherence,
        averages,
    })
}
