//! Slow reversals: torque to and fro about a preload at one steady rate, in whole loops.

use alloc::format;
use settings_file::{Section, Time};

use super::{ExcitationKind, Periods, Timing, timing};
use crate::{
    plan::{Against, Facts, Layout, Shape},
    procedure::{Level, Placed, Sign, read_level, read_level_or_zero},
    units::{s_from_us, show_nm, show_slew, us_from_s},
};

/// The torque of a loop as a function of the time since its start: a triangle, up first.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReversalTorque {
    /// Torque about which it turns, N·m.
    pub preload_nm: f64,
    /// How far it goes either way from there, N·m.
    pub amplitude_nm: f64,
    /// Time of a whole loop, s; above 0.
    pub period_s: f64,
}

impl ReversalTorque {
    /// The torque at `t_s`, N·m; one loop behind the other for ever.
    pub fn at(&self, t_s: f64) -> f64 {
        let turns = t_s / self.period_s;
        let part = turns - libm::floor(turns);
        let share = if part < 0.25 {
            4.0 * part
        } else if part < 0.75 {
            2.0 - 4.0 * part
        } else {
            4.0 * part - 4.0
        };
        self.preload_nm + self.amplitude_nm * share
    }

    /// Rate of torque either way, N·m/s.
    pub fn rate_nm_per_s(&self) -> f64 {
        4.0 * self.amplitude_nm / self.period_s
    }
}

/// Most fading loops; the last one then goes a thousandth as far.
const MOST_FADE: i64 = 10;

/// Loops of torque at one rate, so slow that springs, gaps and friction alone answer.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Reversal {
    /// How far either way from the preload.
    pub amplitude: Placed<Level>,
    /// Torque about which it turns, either way.
    pub preload: Placed<Level>,
    /// Time of a whole loop, µs.
    pub period_us: Placed<u64>,
    /// Loops of each repeat, one behind the other; the first ones start from no history.
    pub periods: Periods,
    /// Loops behind them, each half as far as the one before at the same rate: what friction has locked up goes, and
    /// torque rests near zero again.
    pub fade: u32,
    /// Repeats and rests.
    pub timing: Timing,
}

impl Reversal {
    pub(super) fn read(s: &Section<'_>) -> Self {
        let period_s = s.quantity::<Time>("period", 0.1..=600.0);
        Self {
            amplitude: read_level(s, "amplitude", Sign::Positive),
            preload: read_level_or_zero(s, "preload", Sign::Any),
            period_us: Placed::of(s, "period", us_from_s(period_s)),
            periods: Periods::read(s),
            fade: u32::try_from(s.integer_or("fade", 0..=MOST_FADE, 0)).unwrap_or(0),
            timing: Timing::read(s),
        }
    }

    /// The torque of one loop on a wheelbase of the given peak torque.
    pub fn torque(&self, peak_torque_nm: f64) -> ReversalTorque {
        ReversalTorque {
            preload_nm: self.preload.value.nm(peak_torque_nm),
            amplitude_nm: self.amplitude.value.nm(peak_torque_nm),
            period_s: s_from_us(self.period_us.value),
        }
    }

    pub(super) fn check(&self, against: &mut Against<'_>) {
        timing::whole(against, &self.period_us, "the time of a loop");
        let torque = self.torque(against.rig.wheelbase.peak_torque_nm);
        if torque.preload_nm.abs() > 0.0 {
            against.held_rim("a preload");
        }
        let most_nm = torque.preload_nm.abs() + torque.amplitude_nm;
        let together = "preload and amplitude together";
        if !against.setpoint(&self.amplitude.place, together, most_nm) {
            return;
        }
        // Half a loop pushes one way.
        let push_nm_s = torque.amplitude_nm * torque.period_s / 4.0;
        against.spun_up(&self.amplitude.place, "half a loop", push_nm_s);
        let rate = torque.rate_nm_per_s();
        let most_nm = against.rig.limits.slew_nm_per_s * torque.period_s / 4.0;
        against.slews(
            &self.amplitude.place,
            rate,
            most_nm,
            "lower it, or lengthen `period`",
        );
        against.note(format!(
            "loops of {} either way at {}",
            show_nm(torque.amplitude_nm),
            show_slew(rate)
        ));
    }

    pub(super) fn lay(&self, layout: &mut Layout<'_>) {
        let torque = self.torque(layout.peak_torque_nm());
        let preload_nm = torque.preload_nm;
        for _ in 0..self.timing.repeats {
            if layout.is_full() {
                return;
            }
            layout.prepare(&self.timing, preload_nm);
            let shape = Shape::Reversal(torque);
            layout.excite_by_periods(self.periods, self.period_us.value, &shape, &|| Facts {
                amplitude_nm: torque.amplitude_nm,
                preload_nm,
                ..Facts::between(ExcitationKind::Reversal, preload_nm, preload_nm)
            });
            for half in 1..=self.fade {
                let share = libm::ldexp(1.0, -(half as i32));
                let smaller = ReversalTorque {
                    amplitude_nm: torque.amplitude_nm * share,
                    period_s: torque.period_s * share,
                    ..torque
                };
                layout.approach_by(us_from_s(smaller.period_s), Shape::Reversal(smaller));
            }
            layout.rest(self.timing.settle_us);
            layout.ramp_to(0.0);
            layout.next_repeat();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_loop_is_a_triangle() {
        let torque = ReversalTorque {
            preload_nm: 0.5,
            amplitude_nm: 2.0,
            period_s: 8.0,
        };
        // By hand: 1 N·m/s, up first; -1.5 at six seconds, and round again.
        let expected = [
            (0.0, 0.5),
            (1.0, 1.5),
            (2.0, 2.5),
            (3.0, 1.5),
            (4.0, 0.5),
            (6.0, -1.5),
            (7.0, -0.5),
            (8.0, 0.5),
            (9.0, 1.5),
        ];
        for (t_s, nm) in expected {
            assert!((torque.at(t_s) - nm).abs() < 1e-12, "{t_s}");
        }
        assert!((torque.rate_nm_per_s() - 1.0).abs() < 1e-12);
    }
}
