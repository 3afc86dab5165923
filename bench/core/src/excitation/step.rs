//! Steps: jumps of the setpoint, from zero or from a preload of the same sign.

use alloc::{format, vec::Vec};
use settings_file::{Section, Time};

use super::{ExcitationKind, Timing};
use crate::{
    plan::{Against, Facts, Layout, RINGS_TO, Shape},
    procedure::{Level, Placed, Sign, read_level_or_zero, read_levels},
    units::{s_from_us, show_nm, us_from_s},
};

/// Jumps to each of several levels.
///
/// The preload has no sign of its own: it is applied in the direction of each step, so that no step crosses zero
/// torque, where backlash and friction would be measured instead.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Step {
    /// Heights of the steps, counted from the preload; either way.
    pub levels: Vec<Placed<Level>>,
    /// Torque from which they start, in the direction of each step; zero or above.
    pub preload: Placed<Level>,
    /// How long each is held, µs.
    pub hold_us: u64,
    /// Whether the levels come in random order within each repeat, so that drift is not taken for a dependence on the
    /// level.
    pub shuffle: bool,
    /// Repeats (of the whole list of levels) and rests.
    pub timing: Timing,
}

impl Step {
    pub(super) fn read(s: &Section<'_>) -> Self {
        Self {
            levels: read_levels(s, "levels", Sign::NotZero, 1..=100),
            preload: read_level_or_zero(s, "preload", Sign::NotNegative),
            hold_us: us_from_s(s.quantity::<Time>("hold", 0.005..=60.0)),
            shuffle: s.boolean_or("shuffle", true),
            timing: Timing::read(s),
        }
    }

    pub(super) fn check(&self, against: &mut Against<'_>) {
        let preload_nm = against.nm(&self.preload);
        let largest_nm = self
            .levels
            .iter()
            .map(|level| against.nm(level).abs())
            .fold(0.0, f64::max);
        against.jumps("a step", "steps", largest_nm);
        for level in &self.levels {
            let step_nm = against.nm(level).abs();
            if !against.setpoint(&level.place, "preload and step together", preload_nm + step_nm) {
                continue;
            }
            let reached_nm = preload_nm + step_nm;
            let push_nm_s = preload_nm * s_from_us(self.timing.settle_us)
                + reached_nm * s_from_us(self.hold_us)
                + against.ramp_push_nm_s(preload_nm)
                + against.ramp_push_nm_s(reached_nm);
            against.spun_up(&level.place, "a step", push_nm_s);
            let allowed = |limit_nm: f64| {
                let most_nm = (limit_nm - preload_nm) / RINGS_TO;
                (most_nm > 0.0).then(|| format!("steps of at most {} from this preload", show_nm(most_nm)))
            };
            against.rings(&level.place, "step", preload_nm + RINGS_TO * step_nm, allowed);
        }
    }

    pub(super) fn lay(&self, layout: &mut Layout<'_>) {
        let peak_nm = layout.peak_torque_nm();
        let preload_nm = self.preload.value.nm(peak_nm);
        for _ in 0..self.timing.repeats {
            let mut order: Vec<usize> = (0..self.levels.len()).collect();
            if self.shuffle {
                layout.shuffle(&mut order);
            }
            for index in order {
                let Some(level) = self.levels.get(index) else {
                    continue;
                };
                if layout.is_full() {
                    return;
                }
                let step_nm = level.value.nm(peak_nm);
                let from_nm = preload_nm.copysign(step_nm);
                layout.prepare(&self.timing, from_nm);
                layout.jump_to(from_nm + step_nm);
                layout.excite(self.hold_us, Shape::Level(from_nm + step_nm));
                layout.window(Facts {
                    level: index,
                    amplitude_nm: step_nm.abs(),
                    preload_nm: from_nm,
                    ..Facts::between(ExcitationKind::Step, from_nm, from_nm + step_nm)
                });
                layout.ramp_to(0.0);
                layout.next_repeat();
            }
        }
    }
}
