//! Staircases: levels one after another, up and down on both sides of zero, each held until it has settled.

use alloc::{format, vec::Vec};
use settings_file::{Section, Time};

use super::{Correction, ExcitationKind, Timing};
use crate::{
    plan::{Against, Facts, Layout, Shape},
    procedure::{Level, Placed, Sign, read_level},
    units::{show_nm, us_from_s},
};

/// Most levels of a branch.
const MOST_STEPS: i64 = 100;

/// Cycles from zero up to a torque, back, down to the same torque the other way, and back.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Staircase {
    /// How far it goes, either way.
    pub to: Placed<Level>,
    /// Levels of a branch, evenly spaced; zero is not counted.
    pub steps: u32,
    /// How long each is held, µs.
    pub dwell_us: u64,
    /// What turns levels into commands; levels are commands where left out.
    pub correction: Option<Correction>,
    /// Cycles and rests.
    pub timing: Timing,
}

impl Staircase {
    pub(super) fn read(s: &Section<'_>) -> Self {
        Self {
            to: read_level(s, "to", Sign::Positive),
            steps: u32::try_from(s.integer("steps", 2..=MOST_STEPS)).unwrap_or(2),
            dwell_us: us_from_s(s.quantity::<Time>("dwell", 0.05..=60.0)),
            correction: s.optional_text("correction").map(|file| Correction {
                file: Placed::of(s, "correction", file),
                curve: None,
            }),
            timing: Timing::read(s),
        }
    }

    /// The command for a level, N·m.
    fn command_nm(&self, level_nm: f64) -> f64 {
        let curve = self.correction.as_ref().and_then(|c| c.curve.as_ref());
        curve.map_or(level_nm, |curve| curve.command_nm(level_nm))
    }

    /// Levels of a whole cycle in order, N·m, from the first above zero to zero again.
    pub fn levels_nm(&self, peak_torque_nm: f64) -> Vec<f64> {
        let (to_nm, n) = (self.to.value.nm(peak_torque_nm), self.steps as i32);
        let up = 1..=n;
        let way = up.chain((-n..n).rev()).chain(-n + 1..=0);
        way.map(|i| to_nm * f64::from(i) / f64::from(n)).collect()
    }

    pub(super) fn check(&self, against: &mut Against<'_>) {
        against.held_rim("a staircase");
        let to_nm = against.nm(&self.to);
        if let Some(correction) = &self.correction {
            let place = &correction.file.place;
            let Some(curve) = &correction.curve else {
                let fix = "plan it with the file's rows";
                against.finding(place, "its rows were not supplied", None, fix);
                return;
            };
            let [low, high] = curve.range_nm();
            let most_nm = (-low).min(high);
            if to_nm > most_nm {
                let problem = format!("the correction has no command for {} either way", show_nm(to_nm));
                let allowed = (most_nm > 0.0).then(|| format!("at most {}", show_nm(most_nm)));
                let fix = "lower `to`, or make the correction from a staircase that goes further";
                against.finding(&self.to.place, problem, allowed, fix);
                return;
            }
        }
        let largest_nm = self.command_nm(to_nm).abs().max(self.command_nm(-to_nm).abs());
        against.setpoint(&self.to.place, "the highest level", largest_nm);
    }

    pub(super) fn lay(&self, layout: &mut Layout<'_>) {
        let levels = self.levels_nm(layout.peak_torque_nm());
        for cycle in 0..self.timing.repeats {
            layout.prepare(&self.timing, 0.0);
            let mut from_nm = 0.0;
            for (index, level_nm) in levels.iter().copied().enumerate() {
                if layout.is_full() {
                    return;
                }
                let to_nm = self.command_nm(level_nm);
                layout.ramp_to(to_nm);
                layout.excite_on(self.dwell_us, Shape::Level(to_nm));
                layout.window(Facts {
                    level: index,
                    // What is asked for; the setpoint is the command for it.
                    preload_nm: level_nm,
                    // The first starts from another history than those behind it.
                    transient: cycle == 0 && self.timing.repeats > 1,
                    ..Facts::between(ExcitationKind::Staircase, from_nm, to_nm)
                });
                from_nm = to_nm;
            }
            layout.ramp_to(0.0);
            layout.next_repeat();
        }
    }
}
