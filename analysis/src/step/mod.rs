//! One step of torque: state levels, transition, overshoot, settling.
//!
//! Terms follow IEEE Std 181-2011 and IEC 60469: state levels are the two modes of a histogram of the waveform,
//! reference levels are 10, 50 and 90 % between them, the transition duration runs from the first to the last of these.
//! Negative steps are turned over first, so "low" is always the level left and "high" the level reached.

mod band;
mod filter;
mod fine;
mod levels;
mod measure;
mod smooth;
mod summary;

pub use band::{Percentiles, StepBand, StepSpread, spread_of_steps, step_band};
pub use filter::filtered_again;
pub use levels::{StateLevels, state_levels};
pub use measure::measure_step;
pub(crate) use measure::{check_record, noise_sd};
pub use summary::{StepSummary, SummaryOptions, between_samples, summarise_steps};

use ndarray::ArrayView1;
use serde::{Deserialize, Serialize};

/// One step as recorded.
#[derive(Debug, Clone, Copy)]
pub struct StepRecord<'a> {
    /// Evenly spaced instants, s; 0 is the instant at which the setpoint came into force on the rig.
    pub t_s: ArrayView1<'a, f64>,
    /// Torque at those instants, N·m.
    pub torque_nm: ArrayView1<'a, f64>,
    /// Torque commanded before the step, N·m.
    pub from_nm: f64,
    /// Torque commanded after it, N·m.
    pub to_nm: f64,
}

/// What counts as settled, and what is too little to measure.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StepOptions {
    /// Half-width of the settling band as a fraction of the amplitude.
    pub settle_band: f64,
    /// Share of the record, at its end, that must lie within the band.
    pub settled_share: f64,
    /// Bins of the histogram over the range of the record.
    pub histogram_bins: usize,
    /// Least ratio of amplitude to noise (one standard deviation).
    pub min_amplitude_to_noise: f64,
    /// Magnitude at which the sensor or its converter cuts off, N·m, if known.
    pub saturation_nm: Option<f64>,
}

impl Default for StepOptions {
    fn default() -> Self {
        Self {
            settle_band: 0.02,
            settled_share: 0.1,
            histogram_bins: 256,
            min_amplitude_to_noise: 10.0,
            saturation_nm: None,
        }
    }
}

/// What one step shows. Times are from the instant the setpoint came into force.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StepMeasures {
    /// Level left, N·m.
    pub low_nm: f64,
    /// Level reached, N·m.
    pub high_nm: f64,
    /// Magnitude of the change, N·m.
    pub amplitude_nm: f64,
    /// Commanded change, N·m, with its sign.
    pub commanded_nm: f64,
    /// First passage of 10 %, s.
    pub t10_s: f64,
    /// First passage of 50 %, s.
    pub t50_s: f64,
    /// First passage of 90 %, s.
    pub t90_s: f64,
    /// Transition duration `t90_s - t10_s`, s.
    pub transition_s: f64,
    /// 0.8 · amplitude / transition duration, N·m/s.
    pub slew_nm_per_s: f64,
    /// Steepest slope over the transition, N·m/s, what chords fall short of it made good.
    pub steepest_nm_per_s: f64,
    /// How far that is in doubt, N·m/s: what a chord over two samples falls short by, and what chords beside it differ by.
    pub chord_nm_per_s: f64,
    /// Rate kept over half the amplitude: that half over the shortest time in which the torque rises by it, N·m/s. A single
    /// steep difference does not make it.
    pub sustained_nm_per_s: f64,
    /// Largest excursion beyond the level reached, as a fraction of the amplitude; not negative.
    pub overshoot: f64,
    /// Largest excursion short of the level reached after the first peak, as a fraction of the amplitude.
    pub undershoot: f64,
    /// Largest excursion on the far side of the level left, before the 50 % instant, as a fraction of the amplitude.
    pub preshoot: f64,
    /// Torque at the largest excursion, N·m.
    pub peak_nm: f64,
    /// Its instant, s.
    pub peak_s: f64,
    /// Last entry into the settling band, s; noise that a running parabola takes away left out.
    pub settling_s: f64,
    /// How far that moves when the band's edge is a standard deviation of the noise in doubt, s: half a period of the ringing where a
    /// peak just meets the edge.
    pub settling_doubt_s: f64,
    /// Half-width of the band used, as a fraction of the amplitude: the one asked for, or four times the noise.
    pub settle_band: f64,
    /// Standard deviation of the noise, N·m.
    pub noise_nm: f64,
    /// Interval of the samples, s.
    pub sample_s: f64,
}
