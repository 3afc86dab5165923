//! A torque sensor that gives one and the same count.
//!
//! Two signs tell of it. The setpoint moves and the count does not: true of every sensor. And a sensor that was lively
//! at rest, its count changing with most samples as a converter of 20 bits or more does, repeats one count: then
//! [`SAME_COUNTS`] equal ones in a row have a chance of one in 2^40 at most, and no setpoint need move.

use super::condition::Condition;
use super::trip::Found;
use crate::channels::Reading;

/// Time for which a setpoint that has changed may leave the torque's count unchanged, ticks; above any latency.
pub const STUCK_US: u64 = 50_000;
/// Equal counts of a lively sensor that are too many.
pub const SAME_COUNTS: u32 = 40;
/// Time for which they must have come at least, ticks.
pub const SAME_US: u64 = 20_000;
/// Samples without which a sensor is not known to be lively.
const KNOWN_AFTER: u32 = 200;

/// Looks for equal counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SensorStuck {
    stuck_nm: f64,
    torque_nm: f64,
    same: u32,
    same_since: u64,
    moved_at: Option<u64>,
    setpoint_low_nm: f64,
    setpoint_high_nm: f64,
    /// Samples, and equal ones among them, before [`SensorStuck::begin`].
    seen: [u32; 2],
    lively: bool,
}

impl SensorStuck {
    /// Has seen nothing yet; the setpoint may move by `stuck_nm` without the torque.
    #[must_use]
    pub const fn new(stuck_nm: f64) -> Self {
        Self {
            stuck_nm,
            torque_nm: f64::NAN,
            same: 0,
            same_since: 0,
            moved_at: None,
            setpoint_low_nm: 0.0,
            setpoint_high_nm: 0.0,
            seen: [0; 2],
            lively: false,
        }
    }

    /// At rest so far: whether the sensor is lively is known by now.
    pub const fn begin(&mut self) {
        let [seen, same] = self.seen;
        *self = Self::new(self.stuck_nm);
        self.lively = seen >= KNOWN_AFTER && same < seen / 2;
    }

    /// Takes a sample whose values are finite.
    pub fn look(&mut self, reading: &Reading) -> Option<Found> {
        let (tick, setpoint_nm) = (reading.tick, reading.setpoint_nm);
        self.seen[0] = self.seen[0].saturating_add(1);
        // Counts are compared: two equal ones give bit for bit the same value.
        if reading.torque_nm.to_bits() == self.torque_nm.to_bits() {
            self.seen[1] = self.seen[1].saturating_add(1);
            self.same = self.same.saturating_add(1);
            self.setpoint_low_nm = self.setpoint_low_nm.min(setpoint_nm);
            self.setpoint_high_nm = self.setpoint_high_nm.max(setpoint_nm);
        } else {
            self.torque_nm = reading.torque_nm;
            (self.same, self.same_since) = (0, tick);
            self.moved_at = None;
            (self.setpoint_low_nm, self.setpoint_high_nm) = (setpoint_nm, setpoint_nm);
        }
        let same_us = tick.saturating_sub(self.same_since);
        if self.lively && self.same >= SAME_COUNTS && same_us >= SAME_US {
            let [same_ms, limit_ms] = [same_us, SAME_US].map(|us| us as f64 * 1e-3);
            return Some(Found::new(
                Condition::SensorStuck,
                same_ms,
                limit_ms,
                "ms of one count",
            ));
        }
        let moved_nm = self.setpoint_high_nm - self.setpoint_low_nm;
        if moved_nm > self.stuck_nm {
            // From here on the torque must change within its time: a coarse sensor may have rested before.
            let moved_at = *self.moved_at.get_or_insert(tick);
            if tick.saturating_sub(moved_at) > STUCK_US {
                return Some(Found::new(Condition::SensorStuck, moved_nm, self.stuck_nm, "N.m"));
            }
        }
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn look(sensor: &mut SensorStuck, tick: u64, setpoint_nm: f64, torque_nm: f64) -> Option<Found> {
        sensor.look(&Reading::new(tick, setpoint_nm, torque_nm, 0.0))
    }

    #[test]
    fn one_count_under_a_changing_setpoint_is_found_within_its_time() {
        for period_us in [50, 250, 1_000, 10_000_u64] {
            let mut sensor = SensorStuck::new(0.7);
            let found = (0..1_000_000 / period_us).find_map(|index| {
                let tick = index * period_us;
                let setpoint_nm = if tick < 500_000 { 0.0 } else { 0.9 };
                look(&mut sensor, tick, setpoint_nm, 0.0).map(|found| (tick, found.unit))
            });
            let (tick, unit) = found.unwrap();
            assert_eq!(unit, "N.m");
            assert!(
                (550_000..=550_000 + 2 * period_us).contains(&tick),
                "{period_us}: {tick}"
            );
        }
    }

    #[test]
    fn a_setpoint_that_rests_and_a_coarse_sensor_with_it_are_nothing_to_worry_about() {
        let mut sensor = SensorStuck::new(0.7);
        for index in 0..8_000 {
            if index == 2_000 {
                sensor.begin();
            }
            assert_eq!(look(&mut sensor, index * 250, 0.5, 0.5), None);
        }
    }

    #[test]
    fn a_lively_sensor_that_repeats_one_count_is_found_without_any_setpoint() {
        for (period_us, expected_us) in [
            (50, SAME_US),
            (250, SAME_US),
            (1_000, 40_000),
            (10_000, 400_000_u64),
        ] {
            let mut sensor = SensorStuck::new(0.7);
            let mut first = None;
            for index in 0..4_000_u64 {
                if index == 1_000 {
                    sensor.begin();
                }
                // Three of four samples differ from the one before; from the 2,000th on none does.
                let count = if index < 2_000 {
                    index - u64::from(index % 4 == 3)
                } else {
                    2_000
                };
                let tick = index * period_us;
                if look(&mut sensor, tick, 0.0, count as f64 * 2.5e-6).is_some() {
                    first = first.or(Some(tick - 2_000 * period_us));
                }
            }
            let first = first.unwrap();
            assert!(
                (expected_us..=expected_us + period_us).contains(&first),
                "{period_us}: {first}"
            );
        }
    }
}
