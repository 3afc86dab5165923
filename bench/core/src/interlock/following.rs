//! Whether the measured torque follows the setpoint in force, on a clamped mounting.
//!
//! The difference is averaged so that delay, rise and ringing, which are what the bench is there to measure, do not
//! count: a first-order mean over 0.1 s keeps a sixtieth of a ringing at 94 Hz. What is left is friction, gain and
//! zero; the limit leaves room for them.

use crate::channels::Reading;

use super::condition::Condition;

/// How far the torque may be from the setpoint.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FollowLimits {
    /// Of the averaged difference at zero setpoint, N·m: friction that holds, zero drift.
    pub difference_nm: f64,
    /// What comes on top of it for each N·m of averaged setpoint: gain.
    pub share: f64,
    /// Change of the setpoint within which a torque sensor may give one and the same count, N·m.
    pub stuck_nm: f64,
}

/// Time constant of the averages, ticks.
pub(crate) const AVERAGED_US: f64 = 100_000.0;
/// Time for which a setpoint that has changed may leave the torque's count unchanged, ticks; above any latency.
pub(crate) const STUCK_US: u64 = 50_000;

/// Running averages.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Following {
    limits: FollowLimits,
    zero_nm: f64,
    last_tick: Option<u64>,
    difference_nm: f64,
    setpoint_nm: f64,
    torque_nm: f64,
    moved_at: Option<u64>,
    setpoint_low_nm: f64,
    setpoint_high_nm: f64,
}

/// What is wrong: condition, seen, allowed (N·m).
pub type Astray = (Condition, f64, f64);

impl Following {
    /// Has seen nothing yet.
    #[must_use]
    pub const fn new(limits: FollowLimits) -> Self {
        Self {
            limits,
            zero_nm: 0.0,
            last_tick: None,
            difference_nm: 0.0,
            setpoint_nm: 0.0,
            torque_nm: f64::NAN,
            moved_at: None,
            setpoint_low_nm: 0.0,
            setpoint_high_nm: 0.0,
        }
    }

    /// Takes `zero_nm` as the torque at rest, and begins anew.
    pub const fn begin(&mut self, zero_nm: f64) {
        *self = Self::new(self.limits);
        self.zero_nm = zero_nm;
    }

    /// Takes a sample whose values are finite.
    pub fn look(&mut self, reading: &Reading) -> Option<Astray> {
        let setpoint_nm = reading.setpoint_nm;
        let elapsed_us = self.last_tick.map_or(0, |last| reading.tick.saturating_sub(last)) as f64;
        self.last_tick = Some(reading.tick);
        // Exact for a constant input; after a long gap the average is the newest value.
        let weight = 1.0 - libm::exp(-elapsed_us / AVERAGED_US);
        let difference_nm = reading.torque_nm - self.zero_nm - setpoint_nm;
        self.difference_nm += weight * (difference_nm - self.difference_nm);
        self.setpoint_nm += weight * (setpoint_nm.abs() - self.setpoint_nm);
        // Counts are compared: two equal ones give bit for bit the same value.
        if reading.torque_nm.to_bits() == self.torque_nm.to_bits() {
            self.setpoint_low_nm = self.setpoint_low_nm.min(setpoint_nm);
            self.setpoint_high_nm = self.setpoint_high_nm.max(setpoint_nm);
        } else {
            self.torque_nm = reading.torque_nm;
            self.moved_at = None;
            (self.setpoint_low_nm, self.setpoint_high_nm) = (setpoint_nm, setpoint_nm);
        }
        let moved_nm = self.setpoint_high_nm - self.setpoint_low_nm;
        if moved_nm > self.limits.stuck_nm {
            // From here on the torque must change within its time: a coarse sensor may have rested before.
            let moved_at = *self.moved_at.get_or_insert(reading.tick);
            if reading.tick.saturating_sub(moved_at) > STUCK_US {
                return Some((Condition::SensorStuck, moved_nm, self.limits.stuck_nm));
            }
        }
        let allowed_nm = self.limits.difference_nm + self.limits.share * self.setpoint_nm;
        (self.difference_nm.abs() > allowed_nm).then_some((
            Condition::TorqueAstray,
            self.difference_nm,
            allowed_nm,
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LIMITS: FollowLimits = FollowLimits {
        difference_nm: 1.0,
        share: 0.25,
        stuck_nm: 0.7,
    };

    /// The tick at which something was found in two seconds of a setpoint and a torque given as functions of time.
    fn found(setpoint: impl Fn(f64) -> f64, torque: impl Fn(f64) -> f64) -> Option<(f64, Condition)> {
        let mut following = Following::new(LIMITS);
        following.begin(0.02);
        (0..8_000_u64).find_map(|index| {
            let t = index as f64 * 250e-6;
            let reading = Reading {
                tick: index * 250,
                setpoint_nm: setpoint(t),
                torque_nm: torque(t) + 0.02,
                rim_angle_rad: 0.0,
                temperature_degc: None,
                saturated: false,
            };
            following.look(&reading).map(|(condition, ..)| (t, condition))
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

    #[test]
    fn one_and_the_same_count_under_a_changing_setpoint_is_found_within_its_time() {
        let (t, condition) = found(|t| if t < 0.5 { 0.0 } else { 0.9 }, |_| 0.0).unwrap();
        assert_eq!(condition, Condition::SensorStuck);
        assert!((0.55..0.551).contains(&t), "{t}");
        // A setpoint that rests, and a coarse sensor with it, is nothing to worry about.
        assert_eq!(found(|_| 0.5, |_| 0.5), None);
    }
}
