//! Holds: levels reached and left by ramps, each held for a while.

use alloc::vec::Vec;
use settings_file::{Section, Time};

use super::{ExcitationKind, Timing};
use crate::{
    plan::{Against, Facts, Layout, Shape},
    procedure::{Level, Placed, Sign, read_levels},
    units::{s_from_us, us_from_s},
};

/// Levels reached from zero by a ramp, held, and left by a ramp; in the order of the file.
#[derive(Clone, Debug, Default, PartialEq)]
#[non_exhaustive]
pub struct Hold {
    /// The levels, either way; zero is allowed.
    pub levels: Vec<Placed<Level>>,
    /// How long each is held, µs.
    pub hold_us: u64,
    /// Repeats (of the whole list of levels) and rests.
    pub timing: Timing,
}

impl Hold {
    pub(super) fn read(s: &Section<'_>) -> Self {
        Self {
            levels: read_levels(s, "levels", Sign::Any, 1..=100),
            hold_us: us_from_s(s.quantity::<Time>("hold", 0.02..=3600.0)),
            timing: Timing::read(s),
        }
    }

    pub(super) fn check(&self, against: &mut Against<'_>) {
        for level in &self.levels {
            let torque_nm = against.nm(level).abs();
            if against.setpoint(&level.place, "the level", torque_nm) {
                let push_nm_s = torque_nm * s_from_us(self.hold_us) + 2.0 * against.ramp_push_nm_s(torque_nm);
                against.spun_up(&level.place, "a hold", push_nm_s);
            }
        }
    }

    pub(super) fn lay(&self, layout: &mut Layout<'_>) {
        let peak_nm = layout.peak_torque_nm();
        for _ in 0..self.timing.repeats {
            for (index, level) in self.levels.iter().enumerate() {
                if layout.is_full() {
                    return;
                }
                let to_nm = level.value.nm(peak_nm);
                layout.prepare(&self.timing, 0.0);
                layout.ramp_to(to_nm);
                layout.excite(self.hold_us, Shape::Level(to_nm));
                layout.window(Facts {
                    level: index,
                    preload_nm: to_nm,
                    ..Facts::between(ExcitationKind::Hold, 0.0, to_nm)
                });
                layout.ramp_to(0.0);
                layout.next_repeat();
            }
        }
    }
}
