//! Where the rim was a while ago, for mean speeds.
//!
//! Speeds are differences of angles over a time, that is, means over it. The time is chosen by what must not show:
//! - [`FAST_US`], 2 ms, for the limit of speed: a step of a 16-bit encoder (96 µrad) is 0.05 rad/s over it. Ringing
//!   counts, as it is speed.
//! - [`MODEL_US`], 4 ms, for the speed of a free rim against its model: half the error of a step, at little delay.
//! - [`ACCELERATION_US`], 8 ms twice, for acceleration: the mean speed of the newest 8 ms less that of the 8 ms before.
//!   A rim that only swings by ±A shows at most `4 A/W²`, whatever the frequency, as a second difference of angles over W
//!   holds at most four of them.
//! - [`SLOW_US`], 16 ms, for motion where there should be none: between 40 and 200 Hz, where clamped wheelbases ring
//!   (common practice), it holds 0.6 periods or more; a swing of ±A shows at most `2 A/W`, a sixth of its own speed at
//!   93 Hz.
//!
//! Entries are at least [`SPACING_US`] apart, so that 16 ms are always held, at every sample rate. Where samples are
//! further apart than the time asked for, the time is one sample period.

/// Time over which the limit of speed is judged, ticks.
pub const FAST_US: u64 = 2_000;
/// Time over which a free rim's speed is taken, ticks.
pub const MODEL_US: u64 = 4_000;
/// Each of the two times whose mean speeds make an acceleration, ticks.
pub const ACCELERATION_US: u64 = 8_000;
/// Time over which motion that should not be there is taken, ticks.
pub const SLOW_US: u64 = 16_000;

/// Least time between two entries.
pub const SPACING_US: u64 = 240;
/// Entries kept: more than the longest time holds.
const KEPT: usize = 80;

/// A place of the rim.
#[derive(Debug, Clone, Copy, Default)]
struct Place {
    tick: u64,
    angle_rad: f64,
}

/// Points at the newest entry that is at least so old.
#[derive(Debug, Clone, Copy)]
struct Lag {
    age_us: u64,
    at: Option<usize>,
}

/// Mean speeds at a sample, rad/s, and acceleration, rad/s²; each `None` while too little was seen.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Motion {
    /// Over [`FAST_US`].
    pub fast_rad_s: Option<f64>,
    /// Over [`MODEL_US`].
    pub model_rad_s: Option<f64>,
    /// Over [`SLOW_US`].
    pub slow_rad_s: Option<f64>,
    /// Over two times [`ACCELERATION_US`].
    pub acceleration_rad_s2: Option<f64>,
}

/// The newest places, in a ring.
#[derive(Debug, Clone)]
pub struct Trail {
    places: [Place; KEPT],
    /// Entries so far; the newest is `seen - 1`.
    seen: usize,
    lags: [Lag; 4],
}

impl Default for Trail {
    fn default() -> Self {
        Self {
            places: [Place::default(); KEPT],
            seen: 0,
            lags: [FAST_US, MODEL_US, ACCELERATION_US, SLOW_US].map(|age_us| Lag { age_us, at: None }),
        }
    }
}

impl Trail {
    fn place(&self, index: usize) -> Option<Place> {
        self.places.get(index % KEPT).copied()
    }

    /// The motion at a sample, which is then remembered. A tick that is not above the last one begins anew.
    pub fn step(&mut self, tick: u64, angle_rad: f64) -> Motion {
        let newest = self.seen.checked_sub(1).and_then(|index| self.place(index));
        if newest.is_some_and(|newest| tick <= newest.tick) {
            *self = Self::default();
        }
        let here = Place { tick, angle_rad };
        let [fast, model, half, slow] = [0, 1, 2, 3].map(|which| self.behind(which, tick));
        let speed = |from: Option<Place>| from.map(|from| mean_speed(from, here));
        let motion = Motion {
            fast_rad_s: speed(fast),
            model_rad_s: speed(model),
            slow_rad_s: speed(slow),
            acceleration_rad_s2: match (half, slow) {
                (Some(half), Some(before)) if before.tick < half.tick => {
                    let change = mean_speed(half, here) - mean_speed(before, half);
                    Some(change / (0.5 * (tick - before.tick) as f64 * rig_link::TICK_S))
                }
                _ => None,
            },
        };
        if newest.is_none_or(|newest| self.seen == 0 || tick - newest.tick >= SPACING_US) {
            if let Some(place) = self.places.get_mut(self.seen % KEPT) {
                *place = here;
            }
            self.seen += 1;
        }
        motion
    }

    /// The newest entry that is old enough; each pointer only ever goes forward.
    fn behind(&mut self, which: usize, tick: u64) -> Option<Place> {
        let Lag { age_us, at } = *self.lags.get(which)?;
        let old_enough = |place: Place| tick - place.tick >= age_us;
        let mut at = at.or_else(|| {
            self.place(0)
                .filter(|first| self.seen > 0 && old_enough(*first))
                .map(|_| 0)
        })?;
        // What has been written over in the meantime is gone.
        at = at.max(self.seen.saturating_sub(KEPT));
        while at + 1 < self.seen && self.place(at + 1).is_some_and(old_enough) {
            at += 1;
        }
        if let Some(lag) = self.lags.get_mut(which) {
            lag.at = Some(at);
        }
        self.place(at)
    }
}

fn mean_speed(from: Place, to: Place) -> f64 {
    (to.angle_rad - from.angle_rad) / ((to.tick - from.tick) as f64 * rig_link::TICK_S)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_steady_turn_and_a_steady_acceleration_are_exact_at_every_rate() {
        for period_us in [50, 100, 240, 250, 333, 1_000, 2_000, 5_000, 10_000, 20_000_u64] {
            let (speed, acceleration) = (-3.0, 40.0);
            let mut trail = Trail::default();
            let mut last = Motion::default();
            for index in 0..2_000 {
                let t = (index * period_us) as f64 * 1e-6;
                last = trail.step(index * period_us, 0.3 + speed * t + 0.5 * acceleration * t * t);
            }
            // A mean over W ends W/2 before now: closed form of a parabola.
            let end = (1_999 * period_us) as f64 * 1e-6;
            for (seen, over_us) in [
                (last.fast_rad_s, FAST_US),
                (last.model_rad_s, MODEL_US),
                (last.slow_rad_s, SLOW_US),
            ] {
                let spaced = period_us * SPACING_US.div_ceil(period_us);
                let over_s = (
                    over_us.max(period_us) as f64 * 1e-6,
                    (over_us + spaced + period_us) as f64 * 1e-6,
                );
                let seen = seen.unwrap();
                let at = |over: f64| speed + acceleration * (end - 0.5 * over);
                assert!(
                    seen <= at(over_s.0) + 1e-6 && seen >= at(over_s.1) - 1e-6,
                    "{period_us}: {seen}"
                );
            }
            if period_us <= ACCELERATION_US {
                let seen = last.acceleration_rad_s2.unwrap();
                assert!(
                    (seen - acceleration).abs() < 1e-3 * acceleration,
                    "{period_us}: {seen}"
                );
            }
        }
    }

    #[test]
    fn a_swing_shows_no_more_than_its_bounds() {
        for hz in [5.0, 30.0, 50.0, 62.5, 93.0, 160.0, 400.0] {
            let mut trail = Trail::default();
            let (mut acceleration, mut slow) = (0.0_f64, 0.0_f64);
            for index in 0..8_000_u64 {
                let t = index as f64 * 250e-6;
                let motion = trail.step(index * 250, 1e-3 * libm::sin(core::f64::consts::TAU * hz * t));
                acceleration = acceleration.max(motion.acceleration_rad_s2.unwrap_or(0.0).abs());
                slow = slow.max(motion.slow_rad_s.unwrap_or(0.0).abs());
            }
            assert!(acceleration <= 4e-3 / 64e-6 + 1e-6, "{hz} Hz: {acceleration}");
            assert!(slow <= 2e-3 / 16e-3 + 1e-9, "{hz} Hz: {slow}");
        }
    }

    #[test]
    fn a_clock_that_goes_back_begins_anew() {
        let mut trail = Trail::default();
        for index in 0..100 {
            trail.step(1_000_000 + index * 250, 1.0);
        }
        assert_eq!(trail.step(10, 0.0), Motion::default());
        assert_eq!(trail.step(5_000, 0.005).fast_rad_s, Some(0.005 / 4_990e-6));
    }
}
