//! End stops: a free rim is brought to each of its two stops by short pushes, then pressed onto it slowly and let go.
//!
//! The drive takes torque alone, so speed is bounded by what is known beforehand: a push of torque `T` for a time `t`
//! gives the disc no more than `T·t/J`, friction and the wheelbase's own inertia left out, and the rests between pushes
//! let friction bring it to rest. A press rises slowly from zero, so that a rim which is not at a stop after all begins
//! to turn as soon as its friction gives, at a torque barely above it, and the limit of rim speed ends the run.

use alloc::format;
use settings_file::{Section, Time, write_number};

use super::{ExcitationKind, Timing};
use crate::{
    plan::{Against, Facts, Layout, Shape},
    procedure::{Level, Placed, Sign, read_level},
    rig::{FarSide, Mounting},
    units::{s_from_us, show_nm, show_us, us_from_s},
};

/// Greatest torque that presses onto a stop, as a share of the peak torque: stops are made for more.
const MOST_PRESS: f64 = 0.5;
/// Slowest press, s: the spring of a stop and the rim swing within a tenth of it.
const LEAST_PRESS_S: f64 = 1.0;

/// The way to both end stops of a free rim, and slow presses onto each.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct EndStop {
    /// Torque of a push; above what friction and cogging hold.
    pub push: Placed<Level>,
    /// How long a push lasts, µs.
    pub push_us: u64,
    /// Greatest torque of a press.
    pub press: Placed<Level>,
    /// How long a press takes to rise, and as long to fall, µs.
    pub press_us: u64,
    /// Presses at each stop.
    pub presses: u32,
    /// Pushes from where the rim is to the first stop (as `repeats`; twice as many to the other), and rests.
    pub timing: Timing,
}

impl EndStop {
    pub(super) fn read(s: &Section<'_>) -> Self {
        Self {
            push: read_level(s, "push", Sign::Positive),
            push_us: us_from_s(s.quantity::<Time>("push_time", 0.005..=1.0)),
            press: read_level(s, "press", Sign::Positive),
            press_us: us_from_s(s.quantity::<Time>("press_time", LEAST_PRESS_S..=60.0)),
            presses: u32::try_from(s.integer("presses", 2..=20)).unwrap_or(2),
            timing: Timing::counted(s, "pushes", 1000),
        }
    }

    pub(super) fn check(&self, against: &mut Against<'_>) {
        let (push_nm, press_nm) = (against.nm(&self.push), against.nm(&self.press));
        if against.rig.mounting != Mounting::Free {
            let problem = format!(
                "a rim that is {} cannot be brought to its end stops",
                against.rig.mounting
            );
            let fix = "mount the rim free, with a disc of known inertia";
            against.segment_finding("excitation", problem, None, fix);
            return;
        }
        if against.rig.travel_window_rad().is_none() {
            let problem = format!(
                "{} sets no limit for a rim on its way to end stops (rig.mountings.free.travel_window)",
                against.rig.file
            );
            let fix = "declare it, somewhat wider than the travel; a rim that turns without end has no travel to measure";
            against.segment_finding("excitation", problem, None, fix);
        }
        let push_s = s_from_us(self.push_us);
        if against.setpoint(&self.push.place, "the push", push_nm) {
            let push_nm_s = push_nm * push_s + against.ramp_push_nm_s(push_nm);
            against.spun_up(&self.push.place, "a push", push_nm_s);
        }
        if against.setpoint(&self.press.place, "the press", press_nm) {
            let most_nm = MOST_PRESS * against.rig.wheelbase.peak_torque_nm;
            if press_nm > most_nm {
                let allowed = Some(format!("at most {}, half of the peak torque", show_nm(most_nm)));
                let problem = "more than the limit for pressing onto an end stop";
                against.finding(&self.press.place, problem, allowed, "lower it");
            }
            if press_nm <= push_nm {
                let allowed = Some(format!("above the push of {}", show_nm(push_nm)));
                let problem =
                    "below the limit that a press must pass: what holds the rim has to be overcome first";
                against.finding(&self.press.place, problem, allowed, "raise it, or lower `push`");
            }
        }
        self.notes(against, push_nm, press_nm);
    }

    fn notes(&self, against: &mut Against<'_>, push_nm: f64, press_nm: f64) {
        let FarSide::Disc { inertia_kg_m2, .. } = against.rig.far_side else {
            return;
        };
        let tenth = |x: f64| write_number(libm::round(10.0 * x) / 10.0);
        let speed = push_nm * s_from_us(self.push_us) / inertia_kg_m2;
        let limit = against.limits.rim_speed_rad_s;
        let [low, high] = against.limits.rim_window_rad.map(f64::to_degrees);
        against.note(format!(
            "{} pushes of {} for {} to the first stop, {} to the other; each makes at most {} rad/s of the disc alone without friction",
            self.timing.repeats,
            show_nm(push_nm),
            show_us(self.push_us),
            2 * self.timing.repeats,
            tenth(speed)
        ));
        against.note(format!(
            "then {} presses up to {} in {}; a rim that is not at its stop by then turns once its friction gives, until the limit of {} rad/s or the window of {} to {} deg ends the run",
            self.presses,
            show_nm(press_nm),
            show_us(self.press_us),
            write_number(limit),
            tenth(low),
            tenth(high)
        ));
    }

    pub(super) fn lay(&self, layout: &mut Layout<'_>) {
        let pushes = self.timing.repeats;
        for (side, sign, count) in [(0, 1.0, pushes), (1, -1.0, pushes.saturating_mul(2))] {
            for _ in 0..count {
                if layout.is_full() {
                    return;
                }
                let push_nm = sign * self.push.value.nm(layout.peak_torque_nm());
                layout.prepare(&self.timing, 0.0);
                layout.jump_to(push_nm);
                layout.approach_by(self.push_us, Shape::Level(push_nm));
                layout.ramp_to(0.0);
            }
            self.lay_presses(layout, side, sign);
        }
    }

    /// Rising and falling are two parts of one press: what friction does differs between them.
    fn lay_presses(&self, layout: &mut Layout<'_>, side: usize, sign: f64) {
        let press_nm = sign * self.press.value.nm(layout.peak_torque_nm());
        for _ in 0..self.presses {
            if layout.is_full() {
                return;
            }
            layout.prepare(&self.timing, 0.0);
            for (part, [from_nm, to_nm]) in [(0, [0.0, press_nm]), (1, [press_nm, 0.0])] {
                layout.jump_to(from_nm);
                layout.excite_on(self.press_us, Shape::Ramp { from_nm, to_nm });
                layout.window(Facts {
                    level: side,
                    part,
                    amplitude_nm: press_nm.abs(),
                    ..Facts::between(ExcitationKind::EndStop, from_nm, to_nm)
                });
                layout.jump_to(to_nm);
            }
            layout.next_repeat();
        }
    }
}
