//! A free rim at setpoint zero slows down, or something drives it.
//!
//! Friction takes speed away, at every speed. Cogging gives and takes within a pole, so means over [`BLOCK_US`] are
//! compared: each must be lower than the one before by what [`LEAST_RAD_S2`] makes of that time, until the rim is as
//! slow as [`REST_RAD_S`]. A rim that all but rests on a crest of cogging falls into the next valley, half a pole or more within
//! one block: below [`SLOW_RAD_S`] it takes two blocks in a row. A push that only makes up for friction shows in no torque and in no rise of speed; here it
//! does.

/// Time over which a mean is taken, ticks.
pub const BLOCK_US: u64 = 250_000;
/// Least loss of speed, rad/s²: a tenth of what wheelbases with a disc have (common practice: 4 to 20 rad/s²).
pub const LEAST_RAD_S2: f64 = 0.5;
/// At rest, for all that matters, rad/s.
pub const REST_RAD_S: f64 = 0.1;
/// What a fall from a crest of cogging makes of a block at most, rad/s: a pole of 4 degrees, twice a usual one.
pub const SLOW_RAD_S: f64 = 0.3;

/// Means of the speed at setpoint zero.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Coasting {
    since: Option<u64>,
    sum_rad_s: f64,
    count: u32,
    before_rad_s: Option<f64>,
    /// Whether the block before was slow and yet no slower than it may be.
    fell: bool,
}

impl Coasting {
    /// Takes a speed while the setpoint is zero and has settled. `Some` with the mean and what it may have been.
    pub fn step(&mut self, tick: u64, speed_rad_s: f64) -> Option<[f64; 2]> {
        let since = *self.since.get_or_insert(tick);
        self.sum_rad_s += speed_rad_s;
        self.count += 1;
        let elapsed_us = tick.saturating_sub(since);
        if elapsed_us < BLOCK_US {
            return None;
        }
        let mean = self.sum_rad_s.abs() / f64::from(self.count);
        let lost = LEAST_RAD_S2 * elapsed_us as f64 * rig_link::TICK_S;
        let allowed = self.before_rad_s.map(|before| (before - lost).max(REST_RAD_S));
        let moves = allowed.filter(|allowed| mean > *allowed);
        let fell = moves.is_some() && mean < SLOW_RAD_S && !self.fell;
        *self = Self {
            since: Some(tick),
            before_rad_s: Some(mean),
            fell,
            ..Self::default()
        };
        moves.filter(|_| !fell).map(|allowed| [mean, allowed])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(speed: impl Fn(f64) -> f64) -> Option<f64> {
        let mut coasting = Coasting::default();
        (0..20_000_u64).find_map(|index| {
            let tick = 5_000_000 + index * 250;
            let t = index as f64 * 250e-6;
            coasting.step(tick, speed(t)).map(|_| t)
        })
    }

    #[test]
    fn a_coast_is_no_alarm_with_cogging_and_a_last_swing() {
        for (from, slows) in [(9.0, 4.0), (4.0, 15.0), (-3.0, 1.0)] {
            let speed = |t: f64| {
                let left: f64 = (f64::abs(from) - slows * t).max(0.0);
                let angle = (f64::abs(from) - 0.5 * slows * t) * t;
                // As the rim comes to rest it swings in a pole.
                let cogging = 0.3 * (left / 3.0).min(1.0) * libm::sin(42.0 * angle);
                let swing = if left > 0.0 {
                    0.0
                } else {
                    0.4 * libm::exp(-9.0 * (t - f64::abs(from) / slows))
                };
                f64::signum(from) * (left + cogging) + swing * libm::sin(40.0 * t)
            };
            assert_eq!(found(speed), None, "{from} {slows}");
        }
    }

    #[test]
    fn a_fall_from_a_crest_of_cogging_is_no_alarm() {
        // All but at rest after half a second; a pole of 3 degrees further within the next block, then at rest.
        for at in [0.55, 0.75, 1.1] {
            let pole = 3.0_f64.to_radians();
            let speed = |t: f64| {
                let slow = (2.0 - 4.0 * t).max(0.02) * f64::from(t < at + 0.2);
                let fall = if (at..at + 0.2).contains(&t) {
                    pole / 0.2
                } else {
                    0.0
                };
                slow + fall
            };
            assert_eq!(found(speed), None, "{at}");
        }
    }

    #[test]
    fn a_rim_that_does_not_slow_is_found_within_two_blocks() {
        assert!((0.49..0.51).contains(&found(|_| -0.4).unwrap()));
        assert!((0.49..0.51).contains(&found(|t| 3.0 - 0.3 * t).unwrap()));
        // Comes to rest, and is then set in motion again, however slowly.
        let again = |t: f64| {
            if t < 1.0 {
                2.0 - 2.0 * t
            } else {
                0.25 * (t - 1.0).min(1.0)
            }
        };
        let t = found(again).unwrap();
        assert!((1.5..2.3).contains(&t), "{t}");
        // Slowly driven all the time: a block later than a fast one.
        assert!((0.74..0.76).contains(&found(|_| 0.2).unwrap()));
    }
}
