//! Rotor against rim: a belt that slipped or broke.
//!
//! Both angles are of one instant. Between them lie backlash, the twist T/k of the drivetrain and the errors of two
//! sensors; the rig file declares the most that a sound drivetrain shows. One sample decides: a tooth is more.

use super::condition::Condition;
use super::limits::RotorLimits;
use super::trip::Found;
use crate::channels::Reading;

/// The difference at rest, and what may be added to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rotor {
    limits: RotorLimits,
    begun: bool,
    rest_rad: Option<f64>,
}

impl Rotor {
    /// Finds nothing before it knows the difference at rest.
    #[must_use]
    pub const fn new(limits: RotorLimits) -> Self {
        Self {
            limits,
            begun: false,
            rest_rad: None,
        }
    }

    /// At rest now: the next sample's difference is the one from which it counts.
    pub const fn begin(&mut self) {
        *self = Self::new(self.limits);
        self.begun = true;
    }

    /// Takes a sample whose values are finite.
    pub fn look(&mut self, reading: &Reading) -> Option<Found> {
        let rotor_rad = reading.motor_angle_rad.filter(|_| self.begun)? / self.limits.ratio;
        let apart_rad = rotor_rad - reading.rim_angle_rad;
        let lost_rad = apart_rad - *self.rest_rad.get_or_insert(apart_rad);
        let limit_rad = self.limits.lost_motion_rad;
        (lost_rad.abs() > limit_rad).then_some(Found::new(Condition::RotorAstray, lost_rad, limit_rad, "rad"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tooth_is_found_and_twist_is_not() {
        let mut rotor = Rotor::new(RotorLimits {
            ratio: 9.0,
            lost_motion_rad: 0.035,
        });
        let look = |rotor: &mut Rotor, motor_rad: f64, rim_rad: f64| {
            let motor_angle_rad = Some(motor_rad);
            let reading = Reading {
                motor_angle_rad,
                ..Reading::new(0, 0.0, 0.0, rim_rad)
            };
            rotor.look(&reading).is_some()
        };
        assert!(!look(&mut rotor, 50.0, 0.0), "not begun");
        rotor.begin();
        assert!(!look(&mut rotor, 100.0, 1.0));
        // Turned by a whole turn, with a twist of 30 mrad; then one tooth of 144 further: 43.6 mrad.
        let turn = core::f64::consts::TAU;
        assert!(!look(&mut rotor, 100.0 + 9.0 * (turn + 0.03), 1.0 + turn));
        assert!(look(&mut rotor, 100.0 + 9.0 * (turn + turn / 144.0), 1.0 + turn));
        assert!(look(&mut rotor, 100.0 - 9.0 * turn / 144.0, 1.0));
        // Without the channel there is nothing to compare.
        assert!(rotor.look(&Reading::new(0, 0.0, 0.0, 9.0)).is_none());
    }
}
