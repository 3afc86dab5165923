//! Torque although none is commanded.
//!
//! The average of [`super::following`] has to let the ringing of every step pass and takes a tenth of a second. Once the
//! setpoint has rested at zero for [`SETTLED_US`] there is no command left to wait for: wheelbases act within 15 ms, and
//! a clamped ringing has died away to a tenth or so (time constants are 10 to 35 ms, common practice). A first-order mean over
//! [`AVERAGED_US`] then keeps a third of a ringing at 93 Hz, a fifth at 160 Hz, and half at 50 Hz.
//! What may be left is friction that holds the drivetrain's twist. On a free mounting the sensor sees what turns the
//! disc, on a driven one friction and cogging: the same limit.

use super::condition::Condition;
use super::mean::Pace;
use super::trip::Found;
use crate::channels::Reading;

/// Time at setpoint zero after which torque must be gone, ticks.
pub const SETTLED_US: u64 = 60_000;
/// Time constant of the mean, ticks.
pub const AVERAGED_US: f64 = 5_000.0;

/// A short mean of the torque.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unasked {
    limit_nm: f64,
    zero_nm: f64,
    mean_nm: f64,
    pace: Pace,
}

impl Unasked {
    /// Has seen nothing yet.
    #[must_use]
    pub const fn new(limit_nm: f64) -> Self {
        Self {
            limit_nm,
            zero_nm: 0.0,
            mean_nm: 0.0,
            pace: Pace::new(),
        }
    }

    /// Takes `zero_nm` as the torque at rest.
    pub const fn begin(&mut self, zero_nm: f64) {
        *self = Self::new(self.limit_nm);
        self.zero_nm = zero_nm;
    }

    /// Takes a sample whose values are finite, and the time for which the setpoint has been zero.
    pub fn look(&mut self, reading: &Reading, zero_us: Option<u64>) -> Option<Found> {
        let weight = self.pace.weight(reading.tick, AVERAGED_US);
        self.mean_nm += weight * (reading.torque_nm - self.zero_nm - self.mean_nm);
        let settled = zero_us.is_some_and(|us| us >= SETTLED_US);
        (settled && self.mean_nm.abs() > self.limit_nm).then_some(Found::new(
            Condition::TorqueUnasked,
            self.mean_nm,
            self.limit_nm,
            "N.m",
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::interlock::at_zero::ZeroSince;

    fn found(period_us: u64, setpoint: impl Fn(f64) -> f64, torque: impl Fn(f64) -> f64) -> Option<f64> {
        let (mut unasked, mut zero) = (Unasked::new(1.0), ZeroSince::default());
        unasked.begin(0.3);
        (0..1_000_000 / period_us).find_map(|index| {
            let tick = index * period_us;
            let t = tick as f64 * 1e-6;
            let reading = Reading::new(tick, setpoint(t), torque(t) + 0.3, 0.0);
            let zero_us = zero.step(tick, reading.setpoint_nm == 0.0);
            unasked.look(&reading, zero_us).map(|_| t)
        })
    }

    #[test]
    fn torque_at_setpoint_zero_is_found_after_the_time_that_the_mean_takes() {
        for period_us in [50, 250, 1_000, 10_000_u64] {
            let t = found(period_us, |_| 0.0, |t| if t < 0.5 { 0.0 } else { 4.0 }).unwrap();
            // A first-order mean of 4 N·m passes 1 N·m after 5 ms ln(4/3) = 1.44 ms (closed form).
            assert!(
                t - 0.5 < 1.44e-3 + 1.1 * period_us as f64 * 1e-6,
                "{period_us}: {t}"
            );
        }
    }

    #[test]
    fn a_step_back_to_zero_and_its_ringing_are_no_alarm() {
        let step = |t: f64| if t < 0.4 { 2.8 } else { 0.0 };
        for (hz, decay_s) in [(50.0, 0.025), (93.0, 0.015), (160.0, 0.033)] {
            let ringing = |t: f64| {
                let since = t - 0.408;
                if since < 0.0 {
                    2.8
                } else {
                    2.8 * libm::exp(-since / decay_s) * libm::cos(core::f64::consts::TAU * hz * since) + 0.3
                }
            };
            assert_eq!(found(250, step, ringing), None, "{hz} Hz");
        }
    }
}
