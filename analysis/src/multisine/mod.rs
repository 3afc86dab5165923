//! Best linear approximation from periodic random-phase multisines: response, noise and distortion told apart.
//!
//! The robust method of Pintelon and Schoukens (System Identification, 2nd ed., ch. 4): M realisations with other random
//! phases, P periods each. What scatters from period to period is noise; what repeats within a realisation but scatters from
//! one to the next is distortion, since it depends on the phases; the mean is the linear response that lies nearest. Lines
//! without power show distortion at once: odd ones what friction, gaps and clipping do alike in both directions, even
//! ones what is not symmetric. Whole periods leak nothing, so no window is needed.
//!
//! A firmware that polls adds a wait that is another in each realisation. Left in, it would pass for distortion; each
//! realisation's own delay is taken out first (and costs half a degree of freedom of one line).

mod bla;
mod crest;
mod distortion;
mod lines;
mod period;

pub use bla::{BestLinear, MultisineSpectra, best_linear_approximation};
pub use crest::{clip_phases, crest_factor, multisine, schroeder_phases};
pub use distortion::Distortion;
pub use lines::{MultisineLines, odd_random_lines, off_lines};

use ndarray::ArrayView1;
use serde::{Deserialize, Serialize};

/// One realisation as recorded.
#[derive(Debug, Clone, Copy)]
pub struct MultisineRecord<'a> {
    /// Sample rate of both arrays, samples/s.
    pub fs_hz: f64,
    /// Setpoint in force at each sample of one period, N·m.
    pub input_nm: ArrayView1<'a, f64>,
    /// Rim torque, N·m: whole periods, the first sample at the start of one.
    pub output_nm: ArrayView1<'a, f64>,
    /// How long a value had been in force when the first sample saw it, s, from 0 to the sample interval.
    pub input_age_s: f64,
}

/// What was played and what is known beforehand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MultisineOptions {
    /// Lines of the excitation, the same in all realisations.
    pub lines: MultisineLines,
    /// Periods at the start of each realisation that are left out, because the system has not settled.
    pub discard: usize,
    /// Declared group delay of the torque sensor, s, taken out of the phase.
    pub output_delay_s: f64,
    /// Its standard uncertainty, s.
    pub output_delay_u_s: f64,
    /// Whether each realisation's own delay is taken out before they are averaged.
    pub align: bool,
    /// Fewest realisations.
    pub min_realisations: usize,
    /// Least coherence, averaged over the excited lines.
    pub min_coherence: f64,
    /// Magnitude at which the output cuts off, N·m, if known.
    pub saturation_nm: Option<f64>,
}

impl MultisineOptions {
    /// The usual choices for a set of lines: one period left out, at least two realisations (seven are usual).
    pub fn new(lines: MultisineLines) -> Self {
        Self {
            lines,
            discard: 1,
            output_delay_s: 0.0,
            output_delay_u_s: 0.0,
            align: true,
            min_realisations: 2,
            min_coherence: 0.5,
            saturation_nm: None,
        }
    }
}
