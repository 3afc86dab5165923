//! Motion of a free rim beyond what the setpoints can have made.
//!
//! With the disc's inertia J as the least that turns, a setpoint T changes the speed by `g·T/J·dt` at most, towards its
//! own side only; friction only brings it nearer to zero. So there is a greatest speed `high` and a least one `low`:
//!
//! ```text
//! high ← high + g·max(T, 0)/J·dt      low ← low + g·min(T, 0)/J·dt       (T: extremes of the last 20 to 40 ms)
//! high ← min(high, v + slack), at least slack       low ← max(low, v − slack), at most −slack
//! ```
//!
//! The second line takes in what was measured; it only ever narrows, so that a rise which no setpoint asked for is not
//! forgotten however slow it is: at setpoint zero the speed must not rise at all by more than the slack. The slack is for
//! cogging and ringing of the hub against the disc.

use super::condition::Condition;
use super::recent::Recent;
use super::trip::Found;
use crate::channels::Reading;

/// Bounds of the speed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FreeMotion {
    inertia_kg_m2: f64,
    gain: f64,
    slack_rad_s: f64,
    low_rad_s: f64,
    high_rad_s: f64,
    recent: Recent,
    last_tick: Option<u64>,
}

impl FreeMotion {
    /// At rest.
    #[must_use]
    pub fn new(inertia_kg_m2: f64, gain: f64, slack_rad_s: f64) -> Self {
        Self {
            inertia_kg_m2,
            gain,
            slack_rad_s,
            low_rad_s: -slack_rad_s,
            high_rad_s: slack_rad_s,
            recent: Recent::default(),
            last_tick: None,
        }
    }

    /// Takes a sample whose values are finite, with the mean speed over a few milliseconds before it.
    pub fn look(&mut self, reading: &Reading, speed_rad_s: Option<f64>) -> Option<Found> {
        let [least_nm, most_nm] = self.recent.step(reading.tick, reading.setpoint_nm);
        let elapsed_us = self.last_tick.map_or(0, |last| reading.tick.saturating_sub(last));
        self.last_tick = Some(reading.tick);
        let per_nm = self.gain / self.inertia_kg_m2 * elapsed_us as f64 * rig_link::TICK_S;
        self.high_rad_s += per_nm * most_nm;
        self.low_rad_s += per_nm * least_nm;
        let speed = speed_rad_s?;
        let broken = if speed > self.high_rad_s {
            Some(self.high_rad_s)
        } else if speed < self.low_rad_s {
            Some(self.low_rad_s)
        } else {
            None
        };
        let (slack, anew) = (self.slack_rad_s, broken.is_some());
        // After an alarm it begins anew from what is seen: it tells of each rise once.
        let [high, low] = [speed + slack, speed - slack];
        self.high_rad_s = if anew { high } else { self.high_rad_s.min(high) }.max(slack);
        self.low_rad_s = if anew { low } else { self.low_rad_s.max(low) }.min(-slack);
        broken.map(|limit| Found::new(Condition::MotionUnexpected, speed, limit, "rad/s"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// When and at what speed something is found on a rim of 0.014 kg·m² whose disc of 0.011 kg·m² is known; setpoint and
    /// true torque as functions of time and speed.
    fn found(
        period_us: u64,
        setpoint: impl Fn(f64) -> f64,
        torque: impl Fn(f64, f64) -> f64,
    ) -> Option<(f64, f64)> {
        let mut motion = FreeMotion::new(0.011, 1.25, 1.0);
        let (mut speed, mut angle, mut trail) = (0.0, 0.0, super::super::trail::Trail::default());
        let step_s = 50e-6;
        for index in 0..(2.0 / step_s) as u64 {
            let t = index as f64 * step_s;
            speed += torque(t, speed) / 0.014 * step_s;
            angle += speed * step_s;
            let tick = index * 50;
            if tick.is_multiple_of(period_us) {
                let moved = trail.step(tick, angle);
                let reading = Reading::new(tick, setpoint(t), 0.0, angle);
                if motion.look(&reading, moved.model_rad_s).is_some() {
                    return Some((t, speed));
                }
            }
        }
        None
    }

    fn friction(speed: f64) -> f64 {
        -0.25 * (speed / 0.05).clamp(-1.0, 1.0)
    }

    #[test]
    fn pushes_both_ways_and_coasting_are_no_alarm() {
        for period_us in [50, 100, 250, 1_000, 10_000] {
            // A push for 60 ms and one back, 8 ms late, with friction; then coasting.
            let push = |t: f64| match t {
                t if t < 0.1 => 0.0,
                t if t < 0.16 => 2.0,
                t if t < 0.25 => 0.0,
                t if t < 0.33 => -1.5,
                _ => 0.0,
            };
            let late = |t: f64, speed: f64| 1.2 * push(t - 0.008) + friction(speed);
            assert_eq!(found(period_us, push, late), None, "{period_us}");
            let swing = |t: f64| 2.0 * libm::sin(40.0 * t);
            assert_eq!(
                found(period_us, swing, |t, v| swing(t - 0.008) + friction(v)),
                None,
                "{period_us}"
            );
        }
    }

    #[test]
    fn torque_that_nobody_asked_for_is_found_by_its_speed() {
        // 7 N·m at setpoint zero: 500 rad/s²; 1 rad/s after 2 ms, and half of the 4 ms over which speed is a mean.
        let (t, speed) = found(250, |_| 0.0, |t, _| if t < 0.5 { 0.0 } else { 7.0 }).unwrap();
        assert!(t - 0.5 < 5e-3 && speed < 2.3, "{t} {speed}");
    }

    #[test]
    fn a_rise_that_no_setpoint_asks_for_is_found_however_slow_it_is() {
        // 4 mN·m: 0.3 rad/s², for ever.
        let (t, speed) = found(250, |_| 0.0, |_, _| 0.008).unwrap();
        assert!(t > 1.5 && (1.0..1.01).contains(&speed), "{t} {speed}");
    }

    #[test]
    fn what_an_earlier_push_allowed_is_not_allowed_for_ever() {
        // The push would allow 15 rad/s; the rim has come to rest since.
        let push = |t: f64| if (0.1..0.16).contains(&t) { 2.0 } else { 0.0 };
        let torque = |t: f64, speed: f64| match t {
            t if t < 1.2 => push(t - 0.008) + friction(speed),
            _ => 1.0,
        };
        let (t, speed) = found(250, push, torque).unwrap();
        assert!(t > 1.2 && speed < 1.5, "{t} {speed}");
    }

    #[test]
    fn motion_against_the_setpoint_is_found() {
        let (t, speed) = found(
            250,
            |t| if t < 0.5 { 0.0 } else { 1.0 },
            |t, _| if t < 0.5 { 0.0 } else { -1.0 },
        )
        .unwrap();
        assert!(t < 0.53 && speed < -1.0, "{t} {speed}");
    }
}
