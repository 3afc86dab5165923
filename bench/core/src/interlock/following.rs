//! Whether the measured torque follows the setpoint in force, on a mounting where the rim is held or driven.
//!
//! The difference is averaged so that delay, rise and ringing, which are what the bench is there to measure, do not
//! count: a first-order mean over 0.1 s keeps a sixtieth of a ringing at 94 Hz. What is left is friction, gain and
//! zero; the limit leaves room for them.

use super::condition::Condition;
use super::limits::FollowLimits;
use super::mean::Pace;
use super::trip::Found;
use crate::channels::Reading;

/// Time constant of the averages, ticks.
pub const AVERAGED_US: f64 = 100_000.0;

/// Running averages.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Following {
    limits: FollowLimits,
    zero_nm: f64,
    pace: Pace,
    difference_nm: f64,
    setpoint_nm: f64,
}

impl Following {
    /// Has seen nothing yet.
    #[must_use]
    pub const fn new(limits: FollowLimits) -> Self {
        Self {
            limits,
            zero_nm: 0.0,
            pace: Pace::new(),
            difference_nm: 0.0,
            setpoint_nm: 0.0,
        }
    }

    /// Takes `zero_nm` as the torque at rest, and begins anew.
    pub const fn begin(&mut self, zero_nm: f64) {
        *self = Self::new(self.limits);
        self.zero_nm = zero_nm;
    }

    /// Takes a sample whose values are finite.
    pub fn look(&mut self, reading: &Reading) -> Option<Found> {
        let setpoint_nm = reading.setpoint_nm;
        let weight = self.pace.weight(reading.tick, AVERAGED_US);
        let difference_nm = reading.torque_nm - self.zero_nm - setpoint_nm;
        self.difference_nm += weight * (difference_nm - self.difference_nm);
        self.setpoint_nm += weight * (setpoint_nm.abs() - self.setpoint_nm);
        let allowed_nm = self.limits.difference_nm + self.limits.share * self.setpoint_nm;
        (self.difference_nm.abs() > allowed_nm).then_some(Found::new(
            Condition::TorqueAstray,
            self.difference_nm,
            allowed_nm,
            "N.m",
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMITS: FollowLimits = FollowLimits {
        difference_nm: 1.0,
        share: 0.25,
    };

    /// The tick at which something was found in two seconds of a setpoint and a torque given as functions of time.
    fn found(setpoint: impl Fn(f64) -> f64, torque: impl Fn(f64) -> f64) -> Option<(f64, Condition)> {
        let mut following = Following::new(LIMITS);
        following.begin(0.02);
        (0..8_000_u64).find_map(|index| {
            let t = index as f64 * 250e-6;
            let reading = Reading::new(index * 250, setpoint(t), torque(t) + 0.02, 0.0);
            following.look(&reading).map(|found| (t, found.condition))
        })
    }

    #[test]
    fn ringing_delay_friction_and_a_gain_of_four_fifths_are_no_alarm() {
        let step = |t: f64| if t < 0.5 { 0.0 } else { 2.8 };
        let ringing = |t: f64| {
            let since = t - 0.506;
            if since < 0.0 {
                0.3
            } else {
                2.24 * (1.0 - libm::exp(-since * 60.0) * libm::cos(590.0 * since))
            }
        };
        assert_eq!(found(step, ringing), None);
        // A chirp's worst: ten times the amplitude, at the resonance.
        let sine = |t: f64| libm::sin(590.0 * t);
        assert_eq!(found(sine, |t| 10.0 * libm::sin(590.0 * t - 1.6)), None);
    }

    #[test]
    fn torque_that_is_not_asked_for_is_found_after_the_time_that_the_average_takes() {
        // A first-order mean of a constant 2 N·m passes 1 N·m after 0.1 s ln 2 (closed form).
        let (t, condition) = found(
            |_| 0.0,
            |t| if t < 0.5 { 0.0 } else { 2.0 } + 1e-5 * libm::sin(t * 1e4),
        )
        .unwrap();
        assert_eq!(condition, Condition::TorqueAstray);
        assert!((t - 0.5 - 0.1 * core::f64::consts::LN_2).abs() < 1e-3, "{t}");
    }

    #[test]
    fn torque_that_does_not_come_is_found() {
        let (_, condition) =
            found(|t| if t < 0.5 { 0.0 } else { 2.8 }, |t| 1e-5 * libm::sin(t * 1e4)).unwrap();
        assert_eq!(condition, Condition::TorqueAstray);
    }
}
