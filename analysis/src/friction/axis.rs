//! Rotary or linear: what the numbers are called; and what is declared of the torque's scale.

use serde::{Deserialize, Serialize};

use crate::estimate::Contribution;

/// What kind of motion the arrays hold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum Axis {
    /// Angles in rad, torques in N·m.
    #[default]
    Rotary,
    /// Positions in m, forces in N.
    Linear,
}

impl Axis {
    fn pick(self, rotary: &'static str, linear: &'static str) -> &'static str {
        match self {
            Self::Rotary => rotary,
            Self::Linear => linear,
        }
    }

    /// Unit of a position.
    pub fn position(self) -> &'static str {
        self.pick("rad", "m")
    }

    /// Unit of a speed.
    pub fn speed(self) -> &'static str {
        self.pick("rad/s", "m/s")
    }

    /// Unit of a torque or force.
    pub fn effort(self) -> &'static str {
        self.pick("N.m", "N")
    }

    /// Unit of viscous friction.
    pub fn viscous(self) -> &'static str {
        self.pick("N.m.s/rad", "N.s/m")
    }

    /// Unit of an inertia or mass.
    pub fn inertia(self) -> &'static str {
        self.pick("kg.m2", "kg")
    }

    /// Unit of a stiffness.
    pub fn stiffness(self) -> &'static str {
        self.pick("N.m/rad", "N/m")
    }
}

/// What is declared of the torque sensor. All zero when nothing is known, which the budgets then do not show.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct TorqueScale {
    /// Reading without torque, N·m, taken out of values by direction.
    pub zero_nm: f64,
    /// Its standard uncertainty over the time of the recording, N·m.
    pub zero_u_nm: f64,
    /// Relative standard uncertainty of the sensor's gain.
    pub gain_rel_u: f64,
}

impl TorqueScale {
    /// Contribution of the gain to a value proportional to torque, if one is declared.
    pub(crate) fn gain(&self, value: f64) -> Option<Contribution> {
        (self.gain_rel_u > 0.0)
            .then(|| Contribution::type_b("gain of the torque sensor", (value * self.gain_rel_u).abs()))
    }

    /// Contribution of the zero to a value that it shifts one to one, if one is declared.
    pub(crate) fn zero(&self) -> Option<Contribution> {
        (self.zero_u_nm > 0.0).then(|| Contribution::type_b("zero of the torque sensor", self.zero_u_nm))
    }
}
