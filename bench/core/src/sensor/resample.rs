//! What the torque was at a given moment.

use alloc::collections::VecDeque;

use super::Reading;

/// Readings that are kept: of a second at 4 kHz.
const KEPT: usize = 4_096;

/// What is known of a moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Known {
    /// The torque, on the straight line between the readings before and behind.
    Torque {
        /// N·m.
        nm: f64,
        /// Bound of the error in time between the moment and the readings, ns.
        bound_ns: f64,
    },
    /// No reading behind the moment has come: it may still.
    NotYet,
    /// It will not be known: readings are missing around it, are too badly placed in time, or those before it are gone.
    Never,
}

/// Readings in the order of their moments, looked at in between.
///
/// Straight lines between readings: what a sensor's own filter passes of frequencies near half its rate is lost, as it would be to any user of its
/// readings; results are good up to about a fifth of the rate.
#[derive(Debug, Clone)]
pub struct Resampler {
    readings: VecDeque<Reading>,
    widest_ns: i64,
    bound_ns: f64,
}

impl Resampler {
    /// Readings further apart than `widest_ns` leave a gap; one whose moment is known to no better than `bound_ns` is none.
    #[must_use]
    pub fn new(widest_ns: i64, bound_ns: f64) -> Self {
        Self {
            readings: VecDeque::with_capacity(KEPT + 1),
            widest_ns,
            bound_ns,
        }
    }

    /// Takes a reading. One that is not behind the last one (the clock was just found to be another) is left out.
    pub fn push(&mut self, reading: Reading) {
        let behind = self
            .readings
            .back()
            .is_none_or(|last| last.moment_ns < reading.moment_ns);
        let placed = reading.bound_ns <= self.bound_ns;
        if !behind || !placed || !reading.torque_nm.is_finite() {
            return;
        }
        self.readings.push_back(reading);
        if self.readings.len() > KEPT {
            self.readings.pop_front();
        }
    }

    /// The torque at a moment whose own bound is `bound_ns`.
    #[must_use]
    pub fn at(&self, moment_ns: i64, bound_ns: f64) -> Known {
        let behind = self
            .readings
            .partition_point(|reading| reading.moment_ns < moment_ns);
        let Some(after) = self.readings.get(behind) else {
            return Known::NotYet;
        };
        let before = match behind.checked_sub(1).and_then(|place| self.readings.get(place)) {
            Some(before) => before,
            None if after.moment_ns == moment_ns => after,
            None => return Known::Never,
        };
        let apart = after.moment_ns - before.moment_ns;
        let worst = before.bound_ns.max(after.bound_ns) + bound_ns;
        if apart > self.widest_ns || worst > self.bound_ns {
            return Known::Never;
        }
        let share = if apart == 0 {
            0.0
        } else {
            (moment_ns - before.moment_ns) as f64 / apart as f64
        };
        Known::Torque {
            nm: before.torque_nm + share * (after.torque_nm - before.torque_nm),
            bound_ns: worst,
        }
    }

    /// Moment of the newest reading, ns.
    #[must_use]
    pub fn newest_ns(&self) -> Option<i64> {
        self.readings.back().map(|reading| reading.moment_ns)
    }
}

#[cfg(test)]
mod tests {
    use super::{Known, Reading, Resampler};

    fn reading(moment_ns: i64, torque_nm: f64) -> Reading {
        Reading {
            moment_ns,
            bound_ns: 10.0,
            torque_nm,
        }
    }

    #[test]
    fn between_two_readings_it_lies_on_their_line_and_elsewhere_it_is_not_guessed() {
        let mut torque = Resampler::new(150, 100.0);
        assert_eq!(torque.at(0, 0.0), Known::NotYet);
        torque.push(reading(100, 1.0));
        torque.push(reading(200, 3.0));
        assert_eq!(torque.at(99, 0.0), Known::Never);
        let known = |nm| Known::Torque { nm, bound_ns: 10.0 };
        assert_eq!(torque.at(100, 0.0), known(1.0));
        assert_eq!(torque.at(125, 0.0), known(1.5));
        assert_eq!(torque.at(200, 0.0), known(3.0));
        assert_eq!(torque.at(201, 0.0), Known::NotYet);
        torque.push(reading(400, 5.0)); // one is missing before it
        assert_eq!(torque.at(300, 0.0), Known::Never);
    }

    #[test]
    fn what_is_badly_placed_in_time_is_no_reading() {
        let mut torque = Resampler::new(150, 100.0);
        torque.push(reading(100, 1.0));
        torque.push(Reading {
            bound_ns: 101.0,
            ..reading(150, 9.0)
        });
        torque.push(reading(90, 9.0)); // before the last one
        torque.push(reading(200, 1.0));
        // The bound of the moment asked for comes on top of that of the readings.
        let bound_ns = 15.0;
        assert_eq!(torque.at(150, 5.0), Known::Torque { nm: 1.0, bound_ns });
        // The moment asked for is known too badly itself.
        assert_eq!(torque.at(150, 91.0), Known::Never);
    }
}
