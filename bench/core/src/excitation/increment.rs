//! Increments: small changes on preloads, up and down, and trials without one.

use alloc::{format, vec::Vec};
use settings_file::{Section, Time};

use super::{ExcitationKind, Timing};
use crate::{
    plan::{Against, Facts, Layout, RINGS_TO, Shape},
    procedure::{Level, Placed, Sign, read_levels},
    units::{show_nm, us_from_s},
};

/// Most sizes, and most preloads.
const MOST: usize = 20;

/// Small changes of several sizes on each of several preloads, away from zero and towards it.
///
/// Each trial begins at zero and comes to its preload from there, so that all have one history: a step up goes on the way that
/// friction already holds against, a step down turns round. Behind trials on another preload friction keeps something of those, so a
/// way to each preload comes first that is not read. Trials without a change, as many as have one size and direction, tell what is
/// seen when nothing is sent.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Increment {
    /// The preloads, either way; zero is allowed.
    pub preloads: Vec<Placed<Level>>,
    /// Sizes of the changes; above zero.
    pub sizes: Vec<Placed<Level>>,
    /// How long the torque before is held to be read, and that behind, µs.
    pub hold_us: u64,
    /// Repeats and rests.
    pub timing: Timing,
}

impl Increment {
    pub(super) fn read(s: &Section<'_>) -> Self {
        Self {
            preloads: read_levels(s, "preloads", Sign::Any, 1..=MOST),
            sizes: read_levels(s, "sizes", Sign::Positive, 1..=MOST),
            hold_us: us_from_s(s.quantity::<Time>("hold", 0.02..=10.0)),
            timing: Timing::read(s),
        }
    }

    pub(super) fn check(&self, against: &mut Against<'_>) {
        against.held_rim("a preload");
        let largest_nm = self.sizes.iter().map(|size| against.nm(size)).fold(0.0, f64::max);
        against.jumps("an increment", "increments", largest_nm);
        for preload in &self.preloads {
            let preload_nm = against.nm(preload).abs();
            if against.setpoint(
                &preload.place,
                "preload and largest increment together",
                preload_nm + largest_nm,
            ) {
                let allowed = |limit_nm: f64| {
                    let most_nm = limit_nm - RINGS_TO * largest_nm;
                    (most_nm > 0.0).then(|| format!("preloads of at most {}", show_nm(most_nm)))
                };
                let rings_to_nm = preload_nm + RINGS_TO * largest_nm;
                against.rings(&preload.place, "increment", rings_to_nm, allowed);
            }
        }
    }

    pub(super) fn lay(&self, layout: &mut Layout<'_>) {
        let peak_nm = layout.peak_torque_nm();
        for _ in 0..self.timing.repeats {
            for (level, preload) in self.preloads.iter().enumerate() {
                let preload_nm = preload.value.nm(peak_nm);
                let away = if preload_nm < 0.0 { -1.0 } else { 1.0 };
                let sizes = self.sizes.iter().map(|size| away * size.value.nm(peak_nm));
                let mut changes: Vec<f64> = sizes.flat_map(|nm| [nm, -nm]).chain([0.0]).collect();
                layout.shuffle(&mut changes);
                self.lay_unread(layout, preload_nm);
                for change_nm in changes {
                    if layout.is_full() {
                        return;
                    }
                    self.lay_one(layout, level, preload_nm, change_nm);
                }
            }
            layout.next_repeat();
        }
    }

    /// The way to a preload and back, as long as a trial.
    fn lay_unread(&self, layout: &mut Layout<'_>, preload_nm: f64) {
        if layout.is_full() {
            return;
        }
        layout.prepare(&self.timing, preload_nm);
        layout.rest(2 * self.hold_us);
        layout.ramp_to(0.0);
    }

    fn lay_one(&self, layout: &mut Layout<'_>, level: usize, preload_nm: f64, change_nm: f64) {
        let to_nm = preload_nm + change_nm;
        layout.prepare(&self.timing, preload_nm);
        // What is read before belongs to the trial: it is not shortened by a preload's settling.
        layout.rest(self.hold_us);
        layout.jump_to(to_nm);
        layout.excite(self.hold_us, Shape::Level(to_nm));
        layout.window(Facts {
            level,
            amplitude_nm: change_nm,
            preload_nm,
            ..Facts::between(ExcitationKind::Increment, preload_nm, to_nm)
        });
        layout.ramp_to(0.0);
    }
}
