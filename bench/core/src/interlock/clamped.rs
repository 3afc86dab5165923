//! Motion of a clamped rim beyond what sensor and fixture explain.
//!
//! A rim that is held goes where the springs between it and ground let it: `θ = T/k`, with the torque T that the sensor
//! in that very path measures, whatever the motor does. What is left over is a clamp that lets go, and it shows long
//! before the rim reaches the end of its window. The sensor's delay of some 0.2 ms makes the two differ while torque
//! changes: by `2πf·T·τ/k`, a seventh of `T/k` at 100 Hz; the limit holds that and an error of the declared stiffness.
//! One sample decides: both values are too large to be noise.

use super::condition::Condition;
use super::trip::Found;
use crate::channels::Reading;

/// The rim against its springs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClampedMotion {
    stiffness_nm_per_rad: f64,
    unexplained_rad: f64,
    /// Torque and angle at rest.
    rest: Option<[f64; 2]>,
}

impl ClampedMotion {
    /// Knows no rest yet, and finds nothing before it does.
    #[must_use]
    pub const fn new(stiffness_nm_per_rad: f64, unexplained_rad: f64) -> Self {
        Self {
            stiffness_nm_per_rad,
            unexplained_rad,
            rest: None,
        }
    }

    /// Takes torque and angle at rest as those from which both count.
    pub const fn begin(&mut self, torque_nm: f64, rim_angle_rad: f64) {
        self.rest = Some([torque_nm, rim_angle_rad]);
    }

    /// Takes a sample whose values are finite.
    #[must_use]
    pub fn look(&self, reading: &Reading) -> Option<Found> {
        let [torque_nm, angle_rad] = self.rest?;
        let explained_rad = (reading.torque_nm - torque_nm) / self.stiffness_nm_per_rad;
        let left_rad = reading.rim_angle_rad - angle_rad - explained_rad;
        (left_rad.abs() > self.unexplained_rad).then_some(Found::new(
            Condition::MotionUnexplained,
            left_rad,
            self.unexplained_rad,
            "rad",
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(rim_angle_rad: f64, torque_nm: f64) -> bool {
        let mut motion = ClampedMotion::new(3_333.0, 1e-3);
        motion.begin(0.1, 0.2);
        motion
            .look(&Reading::new(0, 0.0, torque_nm, rim_angle_rad))
            .is_some()
    }

    #[test]
    fn a_rim_on_its_springs_is_no_alarm_and_one_off_them_is() {
        // 5 N·m above rest twist 3,333 N·m/rad by 1.5 mrad.
        assert!(!found(0.2 + 1.5e-3, 5.1));
        assert!(!found(0.2 + 2.4e-3, 5.1));
        assert!(found(0.2 + 2.6e-3, 5.1));
        assert!(found(0.2 - 1.5e-3, 5.1), "against the torque");
        assert!(found(0.2 + 1.5e-3, 0.1), "torque is gone, the rim is not back");
        assert!(
            ClampedMotion::new(1.0, 0.0)
                .look(&Reading::new(0, 0.0, 1.0, 0.0))
                .is_none(),
            "no rest known"
        );
    }
}
