//! Looks at samples, one by one, in the order in which the rig took them.

use crate::channels::Reading;

use super::condition::{Condition, Trip};
use super::following::{FollowLimits, Following};

/// What a sample may be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JudgeLimits {
    /// Greatest setpoint, N·m (bounds what is sent).
    pub torque_nm: f64,
    /// Greatest measured torque, N·m.
    pub sensor_torque_nm: f64,
    /// Greatest rim speed, rad/s.
    pub rim_speed_rad_s: f64,
    /// Rim window about the reference, rad.
    pub rim_window_rad: [f64; 2],
    /// Greatest temperature, degree Celsius.
    pub temperature_degc: f64,
    /// Greatest rim speed once the setpoint has been zero for [`JudgeLimits::zero_settle_us`], rad/s.
    pub zero_speed_rad_s: f64,
    /// Time at zero setpoint after which the rim must rest, in ticks.
    pub zero_settle_us: u64,
    /// How far torque may be from the setpoint; `None` on a mounting where the rim is not held.
    pub follow: Option<FollowLimits>,
}

/// Time over which speed is taken, ticks, so that one encoder step is no alarm; at slow rates one period.
pub(crate) const SPEED_US: u64 = 2_000;
/// Time over which motion at zero setpoint is taken, ticks.
pub(crate) const SLOW_US: u64 = 16_000;
/// Samples remembered: at 4,000 samples/s the longer of the two times; at higher rates it is cut to what they span.
const REMEMBERED: usize = 64;

/// Running judgement over a stream of samples.
#[derive(Debug, Clone)]
pub struct Judge {
    limits: JudgeLimits,
    reference_rad: Option<f64>,
    history: [(u64, f64); REMEMBERED],
    seen: usize,
    zero_since: Option<u64>,
    following: Option<Following>,
}

impl Judge {
    /// Has seen nothing yet.
    #[must_use]
    pub const fn new(limits: JudgeLimits) -> Self {
        Self {
            limits,
            reference_rad: None,
            history: [(0, 0.0); REMEMBERED],
            seen: 0,
            zero_since: None,
            following: match limits.follow {
                Some(limits) => Some(Following::new(limits)),
                None => None,
            },
        }
    }

    /// Takes `rim_angle_rad` as the middle from which the window counts.
    pub const fn set_reference(&mut self, rim_angle_rad: f64) {
        self.reference_rad = Some(rim_angle_rad);
    }

    /// Takes `zero_nm` as the torque at rest, and begins to compare torque and setpoint anew.
    pub const fn set_torque_zero(&mut self, zero_nm: f64) {
        if let Some(following) = &mut self.following {
            following.begin(zero_nm);
        }
    }

    /// Mean rim speed over the least number of samples that span `least_us`, or over all that are remembered; `None`
    /// while fewer were seen.
    fn speed(&self, tick: u64, angle_rad: f64, least_us: u64) -> Option<f64> {
        for back in 1..=REMEMBERED {
            let place = self.seen.checked_sub(back)? % REMEMBERED;
            let (then, angle_then) = *self.history.get(place)?;
            let elapsed_us = tick.checked_sub(then)?;
            if elapsed_us >= least_us || (back == REMEMBERED && elapsed_us > 0) {
                return Some((angle_rad - angle_then) / (elapsed_us as f64 * rig_link::TICK_S));
            }
        }
        None
    }

    /// Judges one sample; returns the first condition that it breaks.
    pub fn look(&mut self, reading: &Reading) -> Option<Trip> {
        let finite = reading.setpoint_nm.is_finite()
            && reading.torque_nm.is_finite()
            && reading.rim_angle_rad.is_finite()
            && reading.temperature_degc.is_none_or(f64::is_finite);
        let trip = |condition, measured, limit, unit| {
            Some(Trip {
                condition,
                measured,
                limit,
                unit,
                tick: reading.tick,
                detail: "",
            })
        };
        if !finite {
            return trip(Condition::NotFinite, f64::NAN, 0.0, "");
        }
        let fast = self.speed(reading.tick, reading.rim_angle_rad, SPEED_US);
        let slow = self.speed(reading.tick, reading.rim_angle_rad, SLOW_US);
        if let Some(place) = self.history.get_mut(self.seen % REMEMBERED) {
            *place = (reading.tick, reading.rim_angle_rad);
        }
        self.seen += 1;
        // The setpoint channel is in counts: half a thousandth of the limit is zero.
        if reading.setpoint_nm.abs() > 5e-4 * self.limits.torque_nm {
            self.zero_since = None;
        } else if self.zero_since.is_none() {
            self.zero_since = Some(reading.tick);
        }
        let astray = self
            .following
            .as_mut()
            .and_then(|following| following.look(reading));
        let limits = &self.limits;
        if reading.saturated {
            return trip(
                Condition::Saturated,
                reading.torque_nm,
                limits.sensor_torque_nm,
                "N.m",
            );
        }
        if reading.torque_nm.abs() > limits.sensor_torque_nm {
            return trip(
                Condition::SensorTorque,
                reading.torque_nm,
                limits.sensor_torque_nm,
                "N.m",
            );
        }
        if let Some(reference) = self.reference_rad {
            let turned = reading.rim_angle_rad - reference;
            let [low, high] = limits.rim_window_rad;
            if turned < low || turned > high {
                return trip(
                    Condition::RimWindow,
                    turned,
                    if turned < low { low } else { high },
                    "rad",
                );
            }
        }
        if let Some(speed) = fast
            && speed.abs() > limits.rim_speed_rad_s
        {
            return trip(Condition::RimSpeed, speed, limits.rim_speed_rad_s, "rad/s");
        }
        if let Some(temperature) = reading.temperature_degc
            && temperature > limits.temperature_degc
        {
            return trip(
                Condition::Temperature,
                temperature,
                limits.temperature_degc,
                "degC",
            );
        }
        let settled = self
            .zero_since
            .is_some_and(|since| reading.tick.saturating_sub(since) >= limits.zero_settle_us);
        if let Some(speed) = slow
            && settled
            && speed.abs() > limits.zero_speed_rad_s
        {
            return trip(Condition::MotionAtZero, speed, limits.zero_speed_rad_s, "rad/s");
        }
        if let Some((condition, measured, limit)) = astray {
            return trip(condition, measured, limit, "N.m");
        }
        None
    }
}
