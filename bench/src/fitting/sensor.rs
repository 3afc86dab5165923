//! What a recording declares of its torque sensor, as the fits need it.

use super::{FittingError, parts};
use crate::recording::Recording;

/// Delay, gain, zero and range of the torque channel. An uncertainty that is not declared is NaN, and every result that
/// needs it is refused.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct SensorTerms {
    /// Group delay, s.
    pub(crate) delay_s: f64,
    /// Standard uncertainty of the time between torque and setpoint, s: the three below together.
    pub(crate) delay_u_s: f64,
    /// That of the declared delay alone, s.
    pub(crate) declared_delay_u_s: f64,
    /// What clocks leave that are not one, s; 0 where there is one.
    pub(crate) clock_u_s: f64,
    /// What it leaves that the torque is read at a rate of its own, s; 0 where it is read for each row.
    pub(crate) readings_u_s: f64,
    /// Standard uncertainty of the gain, relative.
    pub(crate) gain_rel_u: f64,
    /// Standard uncertainty of the zero, N·m.
    pub(crate) zero_u_nm: f64,
    /// Resolution of the rig's clock, s.
    pub(crate) tick_s: f64,
    /// Torque at which the converter ends, N·m, the nearer of both ends.
    pub(crate) end_nm: f64,
}

impl SensorTerms {
    /// Name of the delay in budgets; the same as the analysis uses, so that what two results share can be told.
    pub(crate) const DELAY: &'static str = "declared sensor delay";

    pub(crate) fn of(recording: &Recording) -> Result<Self, FittingError> {
        let header = recording.header();
        let torque = recording.channel("torque")?;
        // Half a count beyond the last good one: a count at the end itself is still a measurement.
        let end = |count: f64| (torque.scale * count + torque.offset).abs();
        let ends = [
            end(f64::from(torque.raw_min) - 0.5),
            end(f64::from(torque.raw_max) + 0.5),
        ];
        let declared_delay_u_s = header.sensor.delay_uncertainty_s;
        let clock_u_s = parts::clock_uncertainty_s(recording)?;
        let readings_u_s = parts::readings_uncertainty_s(recording);
        Ok(Self {
            delay_s: torque.group_delay_s,
            delay_u_s: declared_delay_u_s.hypot(clock_u_s).hypot(readings_u_s),
            declared_delay_u_s,
            clock_u_s,
            readings_u_s,
            gain_rel_u: header.sensor.gain_uncertainty,
            zero_u_nm: header.sensor.zero_uncertainty_nm,
            tick_s: header.tick_s,
            end_nm: ends[0].min(ends[1]),
        })
    }
}
