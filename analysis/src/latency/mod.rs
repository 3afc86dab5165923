//! Latency: the pure delay from the setpoint coming into force to the onset of torque.
//!
//! A wheelbase delays a setpoint (it waits to be polled, passes a link and a queue) and then takes time to build
//! torque (slew limit, current loop, resonance on the sensor spring). Only the first is latency. Both are told apart
//! by fitting one model of the rise to all repeats, with one delay for each repeat:
//!
//! `torque(t) = base_i + shape(t - delay_i; change_i, friction_i)`,
//! `shape` = slew limit → first-order lag → rotor with friction on a spring → hub on the rig's spring → sensor.
//!
//! - Shared by all: gain, slew rate, lag, both modes and their damping. Steps of different sizes tell slew limit from
//!   lag: the ramp's duration grows with the step, the lag does not.
//! - Each repeat has its own delay, base and friction. How much friction a rotor has to turn round, nothing to twice the
//!   Coulomb torque, depends on where the step before it left the rotor: steps from zero come from either side, steps
//!   from a preload mostly from the same. So both kinds are used, and neither is taken for clean.
//! - Fitted is what comes before the rotor first turns back, while friction acts with one sign.
//! - A jump that the rig spreads may be taken over in two parts; such repeats are fitted apart ([`fit_latency_groups`]).
//!
//! What belongs to a repeat is eliminated by variable projection (Golub and Pereyra 1973, in Kaufman's form). The mean of
//! the delays is the latency; their spread is the jitter, of which a polled command gives `period/sqrt(12)`.

mod arrival;
mod fit;
mod gap;
mod marks;
mod outcome;
mod prepare;
mod problem;
mod shape;
mod split;
mod table;

pub use arrival::{ArrivalOptions, Arrivals, arrivals};
pub use fit::{LatencyGroups, LatencyRecords, fit_latency, fit_latency_groups};
pub use gap::{GapCrossing, gap_between_sizes, gap_crossing};
pub use marks::{OnsetMarks, marks_agree, onset_marks};
pub use shape::{SensorForm, ShapeModel};

use serde::{Deserialize, Serialize};

use crate::estimate::{Check, Outcome};

/// What is known beforehand, and limits of the fit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LatencyOptions {
    /// Declared delay of torque sensor, amplifier and anti-alias filter together, s. Taken out of the result.
    pub sensor_delay_s: f64,
    /// Its standard uncertainty, s.
    pub sensor_delay_u_s: f64,
    /// How that delay arises: a filter's lag bends the onset, a pipeline's does not.
    pub sensor_form: SensorForm,
    /// Whether the form is known. If not, the shift that another form would give enters the budget.
    pub sensor_form_known: bool,
    /// Resolution of the rig's clock, s: the instant of a setpoint and of a sample are known to this.
    pub tick_s: f64,
    /// Nominal period at which the firmware looks for setpoints, s, if declared; used for the dead time alone.
    pub update_period_s: Option<f64>,
    /// Fastest change of the drive's torque, N·m/s, if declared.
    pub slew_nm_per_s: Option<f64>,
    /// Relative standard uncertainty of that, 1.
    pub slew_rel_u: f64,
    /// Gears and belts between rotor and rim, one after the other, if declared. Two and more put a mass between them,
    /// whose frequency the rise hardly shows and which hides the onset a little longer.
    pub drive_stages: Option<usize>,
    /// Fewest usable repeats.
    pub min_repeats: usize,
    /// Least ratio of the commanded change to the noise.
    pub min_amplitude_to_noise: f64,
    /// Magnitude at which the torque sensor cuts off, N·m, if known.
    pub saturation_nm: Option<f64>,
}

impl Default for LatencyOptions {
    fn default() -> Self {
        Self {
            sensor_delay_s: 0.0,
            sensor_delay_u_s: 0.0,
            sensor_form: SensorForm::SecondOrder,
            sensor_form_known: true,
            tick_s: 1e-6,
            update_period_s: None,
            slew_nm_per_s: None,
            drive_stages: None,
            slew_rel_u: 0.1,
            min_repeats: 5,
            min_amplitude_to_noise: 20.0,
            saturation_nm: None,
        }
    }
}

/// Latency and its spread over the repeats of one amplitude class.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LatencyFit {
    /// Mean delay over repeats, s.
    pub latency: Outcome,
    /// Standard deviation of the delay over repeats, s.
    pub jitter: Outcome,
    /// Mean delay less half the update period, s; only when a period was declared.
    pub dead_time: Option<Outcome>,
    /// Delay of each repeat, s, in the order given; `None` where a repeat could not be used.
    pub per_repeat_s: Vec<Option<f64>>,
    /// Why repeats were left out: index and message.
    pub left_out: Vec<(usize, String)>,
    /// The shared shape, if the fit came to rest.
    pub model: Option<ShapeModel>,
    /// Residual of the fit, root mean square, N·m.
    pub residual_rms_nm: Option<f64>,
    /// Noise before the step, root mean square, N·m.
    pub noise_rms_nm: Option<f64>,
    /// Curve for display: instants from onset, s.
    pub curve_t_s: Vec<f64>,
    /// Modelled torque there, N·m from the base, in the direction of the step.
    pub curve_model_nm: Vec<f64>,
    /// Mean of the aligned measured torque there; NaN-free, cells without data are left out of all three lists.
    pub curve_measured_nm: Vec<f64>,
    /// Checks on the fit.
    pub checks: Vec<Check>,
}
