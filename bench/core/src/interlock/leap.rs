//! Torque that changes faster than motor and rig can make it.
//!
//! Between two samples the torque at the sensor changes at most at the rate of the wheelbase's drive and of the ringing
//! of the largest torque, `2πf·T`, with f = 200 Hz as the highest first mode of a clamped wheelbase (common practice: 40
//! to 200 Hz). Faster is a sensor whose wiring or converter fails, or a clamp that lets go. Where samples are so far
//! apart that any change is possible it finds nothing: at 4,000 samples/s the limit is a third of the largest torque, at
//! 1,000 it is above it.

use super::condition::Condition;
use super::limits::LeapLimits;
use super::trip::Found;
use crate::channels::Reading;

/// Compares two samples.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Leap {
    limits: LeapLimits,
    last: Option<(u64, f64)>,
}

impl Leap {
    /// Has seen nothing yet.
    #[must_use]
    pub const fn new(limits: LeapLimits) -> Self {
        Self { limits, last: None }
    }

    /// Takes a sample whose values are finite.
    pub fn look(&mut self, reading: &Reading) -> Option<Found> {
        let (tick, torque_nm) = self.last.replace((reading.tick, reading.torque_nm))?;
        let elapsed_s = reading.tick.checked_sub(tick)? as f64 * rig_link::TICK_S;
        let most_nm = self.limits.rate_nm_per_s * elapsed_s + self.limits.noise_nm;
        let leap_nm = reading.torque_nm - torque_nm;
        (leap_nm.abs() > most_nm).then_some(Found::new(Condition::TorqueLeap, leap_nm, most_nm, "N.m"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ringing_of_the_largest_torque_is_no_leap_at_any_rate_and_a_fallen_wire_is() {
        let (largest_nm, hz) = (10.0, 160.0);
        for period_us in [50, 100, 250, 1_000, 10_000_u64] {
            let limits = LeapLimits {
                rate_nm_per_s: core::f64::consts::TAU * 200.0 * largest_nm,
                noise_nm: 0.2,
            };
            let mut leap = Leap::new(limits);
            let ringing = |t: f64| largest_nm * libm::sin(core::f64::consts::TAU * hz * t);
            for index in 0..2_000 {
                let tick = index * period_us;
                let reading = Reading::new(tick, 0.0, ringing(tick as f64 * 1e-6), 0.0);
                assert_eq!(leap.look(&reading), None, "{period_us}");
            }
            let mut wire = Leap::new(limits);
            assert_eq!(wire.look(&Reading::new(0, 0.0, 6.0, 0.0)), None);
            let fell = wire.look(&Reading::new(period_us, 0.0, 0.0, 0.0));
            assert_eq!(fell.is_some(), period_us <= 250, "{period_us}");
        }
    }
}
