//! Frequency response from repeated chirps, and what is read off it.
//!
//! The setpoint is known without noise, so H1 is the right estimator (Bendat and Piersol, Random Data, ch. 6). Each
//! record is transformed whole, the bulk delay of each repeat is taken out, and the response is estimated in bands of
//! neighbouring lines by complex least squares with a local polynomial (Pintelon and Schoukens, System Identification,
//! ch. 7), which removes the curvature bias that plain averaging leaves beside a lightly damped resonance. Repeats are
//! aligned before they are averaged, so a command that waits a random part of the update period costs no gain.

mod bands;
mod bristle;
mod crossing;
mod curve;
mod delay;
mod errors;
mod phase;
mod polled;
mod resonance;
mod response;
mod start;
mod two_mass;

pub use crossing::{BandwidthOptions, Crossing, bandwidth, flat_band};
pub use delay::{DESCRIBES, DelayOptions, phase_delay};
pub use errors::{
    auto_spectrum_error, coherence_error, cross_spectrum_error, magnitude_error, phase_error_rad,
};

pub use phase::{GroupDelay, PhaseOptions, phase_frequency};
pub use resonance::{Resonance, ResonanceOptions, first_resonance};
pub use response::{SweepSpectra, frequency_response};
pub use start::REACH;
pub use two_mass::TwoMassModel;

use ndarray::ArrayView1;
use serde::{Deserialize, Serialize};

use crate::estimate::Check;

/// One sweep as recorded: the rest before and after belongs to it.
#[derive(Debug, Clone, Copy)]
pub struct SweepRecord<'a> {
    /// Sample rate of both arrays, samples/s.
    pub fs_hz: f64,
    /// Setpoint in force at each sample, N·m.
    pub input_nm: ArrayView1<'a, f64>,
    /// Rim torque at each sample, N·m.
    pub output_nm: ArrayView1<'a, f64>,
    /// How long each listed input value stands, s: the sample interval, or a whole multiple of it when a value is
    /// listed several times because the setpoints come more slowly than the samples.
    pub input_hold_s: f64,
    /// How long a value had been in force when the first sample saw it, s, from 0 to the sample interval.
    pub input_age_s: f64,
}

/// What to estimate and what is known beforehand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FrequencyOptions {
    /// Lowest frequency, Hz.
    pub f_min_hz: f64,
    /// Highest frequency, Hz; at most 0.4 of the sample rate.
    pub f_max_hz: f64,
    /// Declared group delay of the torque sensor, s, taken out of the phase.
    pub output_delay_s: f64,
    /// Its standard uncertainty, s.
    pub output_delay_u_s: f64,
    /// Bands an octave, logarithmically spaced.
    pub bands_per_octave: f64,
    /// Fewest spectral lines a band draws on.
    pub min_lines: usize,
    /// Fewest repeats.
    pub min_repeats: usize,
    /// Least coherence for a band to be kept.
    pub min_coherence: f64,
    /// Largest share of bands that may fall below it before the whole response is refused.
    pub max_low_share: f64,
    /// Magnitude at which the output cuts off, N·m, if known.
    pub saturation_nm: Option<f64>,
}

impl Default for FrequencyOptions {
    fn default() -> Self {
        Self {
            f_min_hz: 0.5,
            f_max_hz: 300.0,
            output_delay_s: 0.0,
            output_delay_u_s: 0.0,
            bands_per_octave: 48.0,
            min_lines: 12,
            min_repeats: 3,
            min_coherence: 0.5,
            max_low_share: 0.5,
            saturation_nm: None,
        }
    }
}

/// Frequency response over bands; all lists have one entry a band, frequencies ascending.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FrequencyResponse {
    /// Centre of each band, Hz.
    pub f_hz: Vec<f64>,
    /// Real part, delay included, sensor delay taken out.
    pub re: Vec<f64>,
    /// Imaginary part.
    pub im: Vec<f64>,
    /// Ordinary coherence.
    pub coherence: Vec<f64>,
    /// Random error of the magnitude, relative, one standard deviation (Bendat and Piersol).
    pub gain_rel_u: Vec<f64>,
    /// Random error of the phase, rad.
    pub phase_u_rad: Vec<f64>,
    /// Equivalent number of independent averages.
    pub averages: Vec<f64>,
    /// Whether the coherence reaches the limit.
    pub usable: Vec<bool>,
    /// That limit.
    pub min_coherence: f64,
    /// Magnitude and phase of each repeat alone, aligned with the mean: `[repeat][band] = [re, im]`.
    pub repeats: Vec<Vec<[f64; 2]>>,
    /// Bulk delay of each repeat, s, sensor delay taken out: a common delay plus the repeat's own deviation.
    pub repeat_delay_s: Vec<f64>,
    /// Sensor delay taken out of the phase, s.
    pub output_delay_s: f64,
    /// Its standard uncertainty, s.
    pub output_delay_u_s: f64,
    /// Delay of the held input that was taken out as well, s: half the hold less the age.
    pub input_hold_delay_s: f64,
    /// Sample rate, samples/s.
    pub fs_hz: f64,
    /// Spacing of the spectral lines behind the bands, Hz.
    pub line_hz: f64,
    /// Checks.
    pub checks: Vec<Check>,
}

impl FrequencyResponse {
    /// Magnitude of each band.
    pub fn gain(&self) -> Vec<f64> {
        self.re
            .iter()
            .zip(&self.im)
            .map(|(re, im)| re.hypot(*im))
            .collect()
    }

    /// Unwrapped phase of each band, rad. The first band is taken within ±π.
    pub fn phase_rad(&self) -> Vec<f64> {
        let mut turns = 0.0;
        let mut last: Option<f64> = None;
        self.re
            .iter()
            .zip(&self.im)
            .map(|(re, im)| {
                let raw = im.atan2(*re);
                if let Some(before) = last {
                    turns -= ((raw - before) / std::f64::consts::TAU).round();
                }
                last = Some(raw);
                raw + turns * std::f64::consts::TAU
            })
            .collect()
    }
}
