//! Motion although the setpoint has been zero for long enough to settle.

use super::coasting::Coasting;
use super::condition::Condition;
use super::limits::MotionLimits;
use super::trip::Found;
use super::unasked::SETTLED_US;

/// Setpoints that are zero, and for how long.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct ZeroSince {
    since: Option<u64>,
}

impl ZeroSince {
    /// Takes a setpoint; the time for which it has been zero, ticks; `None` when it is not.
    pub fn step(&mut self, tick: u64, is_zero: bool) -> Option<u64> {
        if !is_zero {
            self.since = None;
            return None;
        }
        Some(tick.saturating_sub(*self.since.get_or_insert(tick)))
    }
}

/// The rule of each mounting. A clamped rim must rest. A free one may coast but must not become faster, as its own slack
/// against the model is for torque that is there, at zero less will do; and it must slow down ([`super::coasting`]). A driven one turns as the drive likes: its speed
/// is judged at all times.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ZeroMotion {
    settle_us: u64,
    limits: MotionLimits,
    least_rad_s: Option<f64>,
    coasting: Coasting,
}

impl ZeroMotion {
    /// Has seen nothing yet.
    #[must_use]
    pub fn new(settle_us: u64, limits: MotionLimits) -> Self {
        Self {
            settle_us,
            limits,
            least_rad_s: None,
            coasting: Coasting::default(),
        }
    }

    /// Takes the time for which the setpoint has been zero, and the mean speed.
    pub fn look(&mut self, zero_us: Option<u64>, speed_rad_s: Option<f64>) -> Option<Found> {
        let coasts_on = self.coasts_on(zero_us, speed_rad_s);
        self.moves(zero_us, speed_rad_s).or(coasts_on)
    }

    /// A free rim that does not slow down.
    fn coasts_on(&mut self, zero_us: Option<u64>, speed_rad_s: Option<f64>) -> Option<Found> {
        let (MotionLimits::Free { .. }, Some(zero_us)) =
            (self.limits, zero_us.filter(|us| *us >= SETTLED_US))
        else {
            self.coasting = Coasting::default();
            return None;
        };
        let [peak, allowed] = self.coasting.step(zero_us, speed_rad_s?)?;
        Some(Found::new(Condition::MotionAtZero, peak, allowed, "rad/s"))
    }

    fn moves(&mut self, zero_us: Option<u64>, speed_rad_s: Option<f64>) -> Option<Found> {
        let (Some(_), Some(speed)) = (zero_us.filter(|us| *us >= self.settle_us), speed_rad_s) else {
            self.least_rad_s = None;
            return None;
        };
        let limit = match self.limits {
            MotionLimits::Clamped { zero_speed_rad_s, .. } => zero_speed_rad_s,
            MotionLimits::Free { zero_rise_rad_s, .. } => {
                let least = self
                    .least_rad_s
                    .map_or(speed.abs(), |least| least.min(speed.abs()));
                self.least_rad_s = Some(least);
                least + zero_rise_rad_s
            }
            MotionLimits::BackDriven { .. } => return None,
        };
        (speed.abs() > limit).then_some(Found::new(Condition::MotionAtZero, speed, limit, "rad/s"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_free_rim_may_coast_but_not_become_faster() {
        let limits = MotionLimits::Free {
            inertia_kg_m2: 0.01,
            gain: 1.25,
            slack_rad_s: 1.0,
            zero_rise_rad_s: 0.5,
        };
        let mut motion = ZeroMotion::new(400_000, limits);
        assert_eq!(motion.look(Some(100_000), Some(9.0)), None);
        for speed in [-6.0, -5.0, -4.0, -4.4] {
            assert_eq!(motion.look(Some(500_000), Some(speed)), None, "{speed}");
        }
        let found = motion.look(Some(500_000), Some(-4.6)).unwrap();
        assert_eq!((found.condition, found.limit), (Condition::MotionAtZero, 4.5));
        // A new setpoint, and all is forgotten.
        assert_eq!(motion.look(None, Some(-8.0)), None);
        assert_eq!(motion.look(Some(400_000), Some(-8.0)), None);
    }

    #[test]
    fn a_free_rim_must_slow_down_and_a_new_setpoint_begins_it_anew() {
        let limits = MotionLimits::Free {
            inertia_kg_m2: 0.01,
            gain: 1.25,
            slack_rad_s: 1.0,
            zero_rise_rad_s: 0.5,
        };
        let steady = |motion: &mut ZeroMotion, from_us: u64, until_us: u64| {
            (from_us..until_us)
                .step_by(1_000)
                .find_map(|us| motion.look(Some(us), Some(2.0)).map(|found| (us, found)))
        };
        let mut motion = ZeroMotion::new(400_000, limits);
        assert_eq!(steady(&mut motion, 0, 500_000), None);
        assert_eq!(motion.look(None, Some(2.0)), None);
        let (us, found) = steady(&mut motion, 0, 900_000).unwrap();
        assert_eq!(
            (us, found.condition),
            (SETTLED_US + 500_000, Condition::MotionAtZero)
        );
        assert!((found.limit - 1.875).abs() < 1e-12, "{found:?}");
    }

    #[test]
    fn a_driven_rim_is_judged_by_its_own_rule() {
        let mut motion = ZeroMotion::new(0, MotionLimits::BackDriven { speed_rad_s: 1.0 });
        assert_eq!(motion.look(Some(1), Some(50.0)), None);
    }
}
