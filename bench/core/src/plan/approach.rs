//! The first torque of a run, and when to judge it.

use super::{layout::Layout, piece::Role};
use crate::procedure::ApproachStep;

/// The approach on the time line. The run compares the mean torque over the judged stretch with the mean over the
/// zero check before it, and sends nothing that lies beyond `decide_by_us` before it has.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct Approach {
    /// Start of the zero check.
    pub zero_from_us: u64,
    /// End of the zero check.
    pub zero_to_us: u64,
    /// First tick of the step.
    pub start_us: u64,
    /// First tick after the step.
    pub end_us: u64,
    /// Start of the stretch to judge: the second half of the step, when the ringing is over.
    pub judge_from_us: u64,
    /// End of the stretch to judge.
    pub judge_to_us: u64,
    /// End of the rest behind the step; what follows is larger.
    pub decide_by_us: u64,
    /// The step, N·m; positive.
    pub level_nm: f64,
    /// Allowed range of measured by commanded torque, both counted from the zero check.
    pub gain_range: [f64; 2],
}

impl Approach {
    /// Measured by commanded torque, from the mean torques over the zero check and over the judged stretch.
    pub fn gain(&self, zero_nm: f64, judged_nm: f64) -> f64 {
        (judged_nm - zero_nm) / self.level_nm
    }

    /// Whether a gain is within the allowed range; never for one that is not a number.
    pub fn accepts(&self, gain: f64) -> bool {
        self.gain_range[0] <= gain && gain <= self.gain_range[1]
    }
}

/// Lays the zero check, the step and the rest behind it.
pub(super) fn lay(layout: &mut Layout<'_>, step: &ApproachStep, zero_us: u64) -> Approach {
    let level_nm = step.level.value.nm(layout.peak_torque_nm());
    let zero_from_us = layout.now_us();
    layout.stay(zero_us, Role::Zero);
    let start_us = layout.now_us();
    layout.jump_to(level_nm);
    layout.stay(step.hold_us, Role::Approach);
    let end_us = layout.now_us();
    layout.jump_to(0.0);
    layout.rest(step.rest_us);
    Approach {
        zero_from_us,
        zero_to_us: start_us,
        start_us,
        end_us,
        judge_from_us: start_us + (end_us - start_us) / 2,
        judge_to_us: end_us,
        decide_by_us: layout.now_us(),
        level_nm,
        gain_range: step.gain_range,
    }
}
