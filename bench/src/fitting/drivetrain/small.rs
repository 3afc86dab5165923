//! Small loops of torque on a free rim, below what friction holds: the spring that friction is before it gives.

use ndarray::ArrayView1;
use truerim_analysis::estimate::{Contribution, Outcome};
use truerim_analysis::friction::{Axis, PreslidingOptions, Reversals, TorqueScale, fit_presliding};

use super::One;
use crate::fitting::FittingError;
use crate::fitting::document::{Conditions, Measurand, Quantity};
use crate::fitting::groups::with_checks;
use crate::fitting::motion::track;
use crate::recording::{Recording, SegmentRow};

/// Low-pass over the rate of the loops: below the ringing of a disc on friction's spring (20 Hz and so).
const CORNER: f64 = 20.0;
/// The drive's gain is not known better than this where nothing measured it, as a standard uncertainty.
const DRIVE_GAIN: f64 = 0.05;
/// Cogging has a slope at the place where the rim lies, up to this share of friction's spring either way (540 a turn of 0.04 N·m
/// beside 180 N·m/rad).
const COGGING: f64 = 0.15;

/// Stiffness of friction before it gives; nothing for a recording without small loops of a free rim.
pub(crate) fn of(recording: &Recording, conditions: &Conditions) -> Result<Vec<Measurand>, FittingError> {
    let rows: Vec<&SegmentRow> = recording
        .segments()
        .iter()
        // The first loops may still slide to where friction holds.
        .filter(|row| row.excitation == "reversal" && row.is_excitation())
        .collect();
    let (Some(first), Some(last)) = (rows.first(), rows.last()) else {
        return Ok(Vec::new());
    };
    if recording.header().mounting != "free" {
        return Ok(Vec::new());
    }
    let period_s = (first.end_tick - first.start_tick) as f64 * recording.header().tick_s;
    let track = track::read(
        recording,
        recording.rows_between(first.start_tick, last.end_tick)?,
    )?;
    let options = PreslidingOptions {
        axis: Axis::Rotary,
        torque: TorqueScale::default(),
        corner_hz: CORNER / period_s,
        angle_step_rad: recording.channel("rim_angle")?.scale.abs(),
    };
    let record = Reversals {
        fs_hz: track.fs_hz,
        angle_rad: ArrayView1::from(&track.rim_rad),
        torque_nm: ArrayView1::from(&track.setpoint_nm),
    };
    let result = match fit_presliding(&record, &options) {
        Ok(fit) => with_checks(known(&fit.stiffness), fit.checks),
        Err(refusal) => refusal.into(),
    };
    Ok(vec![
        One::alone(Quantity::PreslidingStiffness, result).measurand(conditions),
    ])
}

/// The stiffness with what is known of drive and cogging.
fn known(stiffness: &Outcome) -> Outcome {
    let Outcome::Estimate(estimate) = stiffness else {
        return stiffness.clone();
    };
    let value = estimate.value;
    let gain = Contribution::type_b("gain of the drive, assumed", value * DRIVE_GAIN);
    let cogging = Contribution::rectangular("cogging's slope at this place, assumed", value * COGGING);
    let made = estimate.clone().with_contribution(gain);
    made.and_then(|estimate| estimate.with_contribution(cogging))
        .into()
}
