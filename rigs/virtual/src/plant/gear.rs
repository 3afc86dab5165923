//! The gear stage of a unit that has one in front of its belt, with the shaft between the two.
//!
//! A third mass: `J_s·dω_s/dt = T_mesh(θ_m − θ_s) − b_s·ω_s − T_drive(θ_s − θ_h)`, everything referred to the rim.
//! Mesh and belt are each a spring with damping and a gap of its own ([`DriveParameters`]); folding both into one spring
//! would give the first mode, but neither the two gaps nor the rattling of the shaft between them.
//!
//! Teeth rub the more the more they carry: the Coulomb and breakaway torques of the motor's side grow by
//! `μ·|T_mesh|` (see [`super::Friction::step_loaded`]). A measurement of friction without load does not see it.

use super::ahead;
use super::drive::DriveParameters;

/// Gear stage and intermediate shaft.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GearParameters {
    /// Teeth in mesh: stiffness, damping and gap at the rim.
    pub mesh: DriveParameters,
    /// Inertia of the intermediate shaft with gear and pulley, at the rim, kg·m²; above 0.
    pub shaft_kg_m2: f64,
    /// Viscous friction of the intermediate shaft, at the rim, N·m·s/rad; 0 or more.
    pub shaft_viscous_nm_s_per_rad: f64,
    /// Friction torque per torque in the mesh μ, 1; 0 or more.
    pub load_share: f64,
}

/// The intermediate shaft with its motion.
#[derive(Debug, Clone, Copy)]
pub(super) struct Shaft {
    parameters: GearParameters,
    pub(super) angle_rad: f64,
    pub(super) speed_rad_s: f64,
    /// Speed a step before.
    before_rad_s: f64,
    mesh_nm: f64,
}

impl Shaft {
    pub(super) fn new(parameters: GearParameters) -> Self {
        Self {
            parameters,
            angle_rad: 0.0,
            speed_rad_s: 0.0,
            before_rad_s: 0.0,
            mesh_nm: 0.0,
        }
    }

    /// Puts it at this angle and speed.
    pub(super) fn set_motion(&mut self, motion: [f64; 2]) {
        [self.angle_rad, self.speed_rad_s] = motion;
        self.before_rad_s = self.speed_rad_s;
    }

    /// Its speed in the middle of the step.
    pub(super) fn ahead_rad_s(&self) -> f64 {
        ahead(self.speed_rad_s, self.before_rad_s)
    }

    /// Torque from motor to shaft, N·m, at a rate of twist, and what it adds to the friction level of the motor's side, N·m.
    pub(super) fn mesh(&mut self, motor_angle_rad: f64, rate_rad_s: f64) -> (f64, f64) {
        self.mesh_nm = self
            .parameters
            .mesh
            .torque_nm(motor_angle_rad - self.angle_rad, rate_rad_s);
        (self.mesh_nm, self.parameters.load_share * self.mesh_nm.abs())
    }

    /// Mesh, belt and bearings act for `step_s`.
    pub(super) fn push(&mut self, drive_nm: f64, step_s: f64) {
        let lost = self.parameters.shaft_viscous_nm_s_per_rad * self.ahead_rad_s();
        self.before_rad_s = self.speed_rad_s;
        self.speed_rad_s += step_s * (self.mesh_nm - lost - drive_nm) / self.parameters.shaft_kg_m2;
    }

    /// Energy in shaft and mesh, J.
    pub(super) fn energy_j(&self, motor_angle_rad: f64) -> f64 {
        0.5 * self.parameters.shaft_kg_m2 * self.speed_rad_s * self.speed_rad_s
            + self.parameters.mesh.energy_j(motor_angle_rad - self.angle_rad)
    }
}
