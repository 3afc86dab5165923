//! A trace of torque that was played, against what arrived: delay, error, gain by octave, distortion, cut-off peaks, and the
//! contrast at the grip limit.
//!
//! Every repeat plays the same command; records begin and end at rest.

mod bands;
mod clip;
mod delay;
mod limit;

pub use bands::{Octave, Octaves, octaves};
pub use clip::{Clip, clip};
pub use delay::{Aligned, align, shifted};
pub use limit::{Limit, LimitPlace, limit, limit_place};

use crate::estimate::{Contribution, Estimate, Refusal};
use crate::statistics::{all_finite, mean_sd};

/// Stretch at both ends over which neither errors nor delay are taken, s.
pub const ENDS_S: f64 = 0.1;
/// Longest delay looked for, s.
pub const LONGEST_S: f64 = 0.06;

/// Repeats of a trace.
#[derive(Debug, Clone, PartialEq)]
pub struct TraceRecords {
    /// Sample rate, samples/s.
    pub fs_hz: f64,
    /// The command, the same for all repeats, N·m.
    pub command_nm: Vec<f64>,
    /// Torque of each repeat from the same instant on, N·m; each longer than the command by [`LONGEST_S`] at least.
    pub arrived_nm: Vec<Vec<f64>>,
    /// Delay of the torque sensor and its standard uncertainty, s.
    pub sensor_delay_s: [f64; 2],
    /// How long each setpoint is held, s. `command_nm` has each at its beginning; on average one that is held is half of it late.
    pub held_s: f64,
    /// Standard uncertainty of the sensor's gain, relative.
    pub gain_rel_u: f64,
    /// Standard uncertainty of the sensor's zero, N·m.
    pub zero_u_nm: f64,
}

impl TraceRecords {
    /// Refuses what no method here can use.
    ///
    /// # Errors
    /// [`Refusal::TooFewRepeats`] below two repeats, [`Refusal::TooFewSamples`] for a command of less than half a second or a
    /// repeat that is not longer than it, [`Refusal::NonFinite`].
    pub fn check(&self) -> Result<(), Refusal> {
        let what = "a trace";
        if self.arrived_nm.len() < 2 {
            return Err(Refusal::TooFewRepeats {
                what: what.into(),
                got: self.arrived_nm.len(),
                needed: 2,
            });
        }
        let longer = (LONGEST_S * self.fs_hz).ceil() as usize + 1;
        let least = (0.5 * self.fs_hz).ceil() as usize;
        let lengths = self.arrived_nm.iter().map(|a| a.len().saturating_sub(longer));
        let got = lengths.fold(self.command_nm.len(), usize::min);
        let needed = self.command_nm.len().max(least);
        if got < needed {
            return Err(Refusal::TooFewSamples {
                what: what.into(),
                got,
                needed,
            });
        }
        all_finite("the command", self.command_nm.iter())?;
        self.arrived_nm
            .iter()
            .try_for_each(|arrived| all_finite("the torque", arrived.iter()))
    }

    /// What a shift has in it beside the wheelbase's own delay, s: the sensor's, and half the time that a setpoint is held.
    fn not_its_own_s(&self) -> f64 {
        self.sensor_delay_s[0] + 0.5 * self.held_s
    }

    /// Indices over which errors are taken.
    fn core(&self) -> std::ops::Range<usize> {
        let ends = (ENDS_S * self.fs_hz).round() as usize;
        ends..self.command_nm.len() - ends
    }
}

/// The mean over repeats with the scatter of the mean, and what else makes it uncertain.
pub(crate) fn over_repeats(
    values: &[f64],
    (unit, method): (&str, &str),
    others: impl IntoIterator<Item = Contribution>,
) -> Result<Estimate, Refusal> {
    let stats = mean_sd(values)?;
    let scatter = Contribution::of_mean("repeats", &stats);
    let budget = std::iter::once(scatter).chain(others).collect();
    Estimate::from_budget(stats.mean, unit, stats.n, method, budget)
}
