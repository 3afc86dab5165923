//! Torque on a free rim that its sensor does not show: a hand, a blow, something that drags.
//!
//! The sensor sits between wheelbase and disc. What it shows is what turns the disc: `T = J·dω/dt`, with the disc's
//! declared inertia J, whatever the motor does. The rest acts on the disc from outside:
//!
//! ```text
//! torque from outside = J·⟨dω/dt⟩ − ⟨T⟩        ⟨·⟩: first-order mean over 50 ms
//! ```
//!
//! The mean of a derivative needs no differentiating: it is `(ω − ⟨ω⟩)/τ`. A short blow that changes the speed by Δω
//! shows as `J·Δω/τ`. The mean leaves ringing of the hub against the disc out, and the delay of the mean speed: 2 ms of
//! 50. The limit holds the disc's own bearing and imbalance, and a share of the torque that the sensor's gain and the
//! inertia may be off.

use super::condition::Condition;
use super::limits::DiscLimits;
use super::mean::Pace;
use super::trip::Found;
use crate::channels::Reading;

/// Time constant of the means, ticks.
pub const AVERAGED_US: f64 = 50_000.0;

/// Running means.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DiscBalance {
    limits: DiscLimits,
    zero_nm: Option<f64>,
    pace: Pace,
    torque_nm: f64,
    /// Mean of the torque's magnitude, N·m.
    size_nm: f64,
    speed_rad_s: f64,
}

impl DiscBalance {
    /// Judges nothing until it begins.
    #[must_use]
    pub const fn new(limits: DiscLimits) -> Self {
        Self {
            limits,
            zero_nm: None,
            pace: Pace::new(),
            torque_nm: 0.0,
            size_nm: 0.0,
            speed_rad_s: 0.0,
        }
    }

    /// The rim rests, and the sensor then shows `zero_nm`.
    pub const fn begin(&mut self, zero_nm: f64) {
        *self = Self::new(self.limits);
        self.zero_nm = Some(zero_nm);
    }

    /// Takes a sample whose values are finite, with the mean speed over a few milliseconds before it.
    pub fn look(&mut self, reading: &Reading, speed_rad_s: Option<f64>) -> Option<Found> {
        let (zero_nm, speed) = (self.zero_nm?, speed_rad_s?);
        let weight = self.pace.weight(reading.tick, AVERAGED_US);
        let torque_nm = reading.torque_nm - zero_nm;
        self.torque_nm += weight * (torque_nm - self.torque_nm);
        self.size_nm += weight * (torque_nm.abs() - self.size_nm);
        self.speed_rad_s += weight * (speed - self.speed_rad_s);
        let change_rad_s2 = (speed - self.speed_rad_s) / (AVERAGED_US * rig_link::TICK_S);
        let outside_nm = self.limits.inertia_kg_m2 * change_rad_s2 - self.torque_nm;
        let allowed_nm = self.limits.outside_nm + self.limits.share * self.size_nm;
        (outside_nm.abs() > allowed_nm).then_some(Found::new(
            Condition::TorqueUnaccounted,
            outside_nm,
            allowed_nm,
            "N.m",
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::interlock::trail::Trail;

    const LIMITS: DiscLimits = DiscLimits {
        inertia_kg_m2: 0.015,
        outside_nm: 0.3,
        share: 0.15,
    };

    /// When something is found on a disc of `inertia`, through which a torque goes that the sensor sees, while another
    /// acts on it from outside; integrated at 50 µs.
    fn found(
        period_us: u64,
        inertia: f64,
        sensed: impl Fn(f64) -> f64,
        outside: impl Fn(f64) -> f64,
    ) -> Option<(f64, f64)> {
        let (mut balance, mut trail) = (DiscBalance::new(LIMITS), Trail::default());
        balance.begin(0.07);
        let (mut speed, mut angle, step_s) = (0.0, 0.0, 50e-6);
        for index in 0..(2.0 / step_s) as u64 {
            let t = index as f64 * step_s;
            speed += (sensed(t) + outside(t)) / inertia * step_s;
            angle += speed * step_s;
            let tick = index * 50;
            if tick.is_multiple_of(period_us) {
                let motion = trail.step(tick, angle);
                let reading = Reading::new(tick, 0.0, sensed(t) + 0.07, angle);
                if let Some(found) = balance.look(&reading, motion.model_rad_s) {
                    return Some((t, found.measured));
                }
            }
        }
        None
    }

    /// A push, and one back, with a ringing of 90 Hz.
    fn pushes(t: f64) -> f64 {
        let ringing = |since: f64| 1.0 - 0.9 * libm::exp(-since / 0.02) * libm::cos(565.0 * since);
        match t {
            t if t < 0.2 => 0.0,
            t if t < 0.3 => 1.2 * ringing(t - 0.2),
            t if t < 0.5 => 0.0,
            t if t < 0.6 => -1.2 * ringing(t - 0.5),
            _ => 0.0,
        }
    }

    #[test]
    fn what_the_sensor_shows_moves_the_disc_and_that_is_no_alarm() {
        for period_us in [50, 250, 1_000, 10_000] {
            for inertia in [0.015, 0.014, 0.016] {
                let friction = |t: f64| if pushes(t).abs() > 0.0 { 0.0 } else { 0.05 };
                assert_eq!(
                    found(period_us, inertia, pushes, friction),
                    None,
                    "{period_us} {inertia}"
                );
            }
        }
    }

    #[test]
    fn a_hand_is_found_after_the_time_that_the_mean_takes() {
        // A first-order mean of 0.6 N·m passes 0.3 N·m after 50 ms ln 2 (closed form), later by half of the 4 ms over
        // which speed is a mean; the sensor sees a part of it, which allows 0.15 of that more.
        for period_us in [50, 250, 1_000] {
            let hand = |t: f64| if t < 1.0 { 0.0 } else { -0.6 };
            let (t, torque) = found(period_us, 0.015, |_| 0.0, hand).unwrap();
            let expected = 1.0 + 0.05 * core::f64::consts::LN_2 + 0.002;
            assert!((t - expected).abs() < 3e-3, "{period_us}: {t} of {expected}");
            assert!(torque < -0.3, "{torque}");
        }
    }

    #[test]
    fn a_hand_that_holds_against_a_push_is_found() {
        let held = |t: f64| -pushes(t);
        let (t, _) = found(250, 0.015, pushes, held).unwrap();
        assert!(t > 0.2 && t < 0.25, "{t}");
    }

    #[test]
    fn a_blow_shows_by_the_speed_it_leaves() {
        // 2 rad/s within 1 ms: J·Δω/τ = 0.6 N·m; of 0.8 rad/s: 0.24 N·m.
        let blow = |rad_s: f64| {
            move |t: f64| {
                if (1.0..1.001).contains(&t) {
                    rad_s * 0.015 / 1e-3
                } else {
                    0.0
                }
            }
        };
        let (t, _) = found(250, 0.015, |_| 0.0, blow(2.0)).unwrap();
        assert!((1.0..1.006).contains(&t), "{t}");
        assert_eq!(found(250, 0.015, |_| 0.0, blow(0.8)), None);
    }
}
