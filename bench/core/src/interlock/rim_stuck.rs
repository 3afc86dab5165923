//! A rim encoder that gives one and the same count although the rim must have moved.
//!
//! A held rim is twisted by the torque that the sensor measures: a change by several encoder steps' worth must show. At
//! the turning point of a swing the angle stays for a moment while the torque, measured with its delay, still moves, and a
//! torque sensor that fails changes while the rim rests; so the count must have stayed for [`HELD_US`] after the torque
//! had changed: a whole period of any mode above 40 Hz, and longer than it takes to tell a torque sensor that sticks. On a
//! free mounting torque through the sensor is what turns the disc: while it is there the rim accelerates, and one count
//! for [`FREE_US`] cannot be.

use super::condition::Condition;
use super::limits::RimStuckLimits;
use super::trip::Found;
use crate::channels::Reading;

/// Time for which the count of a held rim must have stayed after the torque had changed, ticks.
pub const HELD_US: u64 = 25_000;
/// Time for which the count of a free rim must have stayed under torque, ticks.
pub const FREE_US: u64 = 20_000;
/// Equal counts that are too few to tell.
const LEAST_SAMPLES: u32 = 4;
/// Encoder steps whose worth of torque need not show.
pub const STEPS: f64 = 4.0;

/// Looks for equal counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RimStuck {
    limits: RimStuckLimits,
    step_rad: f64,
    zero_nm: f64,
    angle_rad: f64,
    /// Since when the torque has been what must show.
    since: u64,
    /// Samples since then.
    same: u32,
    /// Least and greatest torque since the count last changed, N·m.
    torque_nm: [f64; 2],
}

impl RimStuck {
    /// Has seen nothing yet.
    #[must_use]
    pub const fn new(limits: RimStuckLimits) -> Self {
        Self {
            limits,
            step_rad: 0.0,
            zero_nm: 0.0,
            angle_rad: f64::NAN,
            since: 0,
            same: 0,
            torque_nm: [0.0; 2],
        }
    }

    /// Takes the torque at rest, and the angle of one encoder step.
    pub const fn begin(&mut self, zero_nm: f64, step_rad: f64) {
        *self = Self::new(self.limits);
        (self.zero_nm, self.step_rad) = (zero_nm, step_rad);
    }

    /// Takes a sample whose values are finite.
    pub fn look(&mut self, reading: &Reading) -> Option<Found> {
        let (tick, torque_nm) = (reading.tick, reading.torque_nm - self.zero_nm);
        if let RimStuckLimits::Free { torque_nm: least_nm } = self.limits
            && torque_nm.abs() <= least_nm
        {
            self.angle_rad = f64::NAN; // it may rest: begins anew
            return None;
        }
        if reading.rim_angle_rad.to_bits() != self.angle_rad.to_bits() {
            self.angle_rad = reading.rim_angle_rad;
            (self.since, self.same, self.torque_nm) = (tick, 0, [torque_nm; 2]);
            return None;
        }
        self.same = self.same.saturating_add(1);
        let [low, high] = self.torque_nm;
        self.torque_nm = [low.min(torque_nm), high.max(torque_nm)];
        let (seen_nm, limit_nm, long_us) = match self.limits {
            RimStuckLimits::Held {
                stiffness_nm_per_rad,
                change_nm,
            } => {
                let [low, high] = self.torque_nm;
                let limit_nm = STEPS * self.step_rad * stiffness_nm_per_rad + change_nm;
                (high - low, limit_nm, HELD_US)
            }
            RimStuckLimits::Free { torque_nm: least_nm } => (torque_nm.abs(), least_nm, FREE_US),
        };
        if seen_nm <= limit_nm {
            (self.since, self.same) = (tick, 0);
            return None;
        }
        let long = tick.saturating_sub(self.since) >= long_us && self.same >= LEAST_SAMPLES;
        long.then_some(Found::new(Condition::RimStuck, seen_nm, limit_nm, "N.m"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use core::f64::consts::TAU;

    const STEP_RAD: f64 = TAU / 65_536.0;
    const STIFFNESS: f64 = 3_333.0;

    /// The first alarm of a held rim whose torque swings, and whose encoder sticks from half a second on, or never.
    fn held(period_us: u64, hz: f64, amplitude_nm: f64, sticks: bool) -> Option<f64> {
        let mut rim = RimStuck::new(RimStuckLimits::Held {
            stiffness_nm_per_rad: STIFFNESS,
            change_nm: 0.35,
        });
        rim.begin(0.02, STEP_RAD);
        (0..1_000_000 / period_us).find_map(|index| {
            let t = (index * period_us) as f64 * 1e-6;
            let torque = |t: f64| amplitude_nm * libm::sin(TAU * hz * t);
            let when = if sticks { t.min(0.5) } else { t };
            let counted = libm::floor(torque(when) / STIFFNESS / STEP_RAD) * STEP_RAD;
            let reading = Reading::new(index * period_us, 0.0, torque(t - 0.225e-3) + 0.02, counted);
            rim.look(&reading).map(|_| t)
        })
    }

    #[test]
    fn a_rim_that_swings_is_no_alarm_at_any_rate_and_one_whose_encoder_sticks_is() {
        for period_us in [50, 250, 1_000, 10_000] {
            for hz in [0.5, 48.0, 93.0, 160.0] {
                for amplitude_nm in [0.3, 2.0, 12.0] {
                    assert_eq!(
                        held(period_us, hz, amplitude_nm, false),
                        None,
                        "{period_us} {hz} {amplitude_nm}"
                    );
                }
            }
            // 1.7 N·m are four steps of 0.32 N·m and 0.35 N·m; a swing of ±2 N·m changes by more in half a period.
            let t = held(period_us, 48.0, 2.0, true).unwrap();
            assert!(t > 0.5 && t <= 0.54 + 5e-6 * period_us as f64, "{period_us}: {t}");
        }
    }

    #[test]
    fn torque_on_a_disc_that_does_not_turn_is_found_and_a_disc_at_rest_is_not() {
        let mut rim = RimStuck::new(RimStuckLimits::Free { torque_nm: 0.35 });
        rim.begin(0.0, STEP_RAD);
        let mut first = None;
        for index in 0..1_000 {
            let torque_nm = if index < 400 { 0.3 } else { 0.8 };
            if rim
                .look(&Reading::new(index * 250, 0.0, torque_nm, 0.1))
                .is_some()
            {
                first = first.or(Some(index * 250 - 100_000));
            }
        }
        assert_eq!(first, Some(FREE_US));
    }
}
