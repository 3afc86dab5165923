//! What acts on the hub besides drive, friction and sensor: the bearing's eccentricity and the end stops.
//!
//! - bearing: an eccentric bearing loads and unloads once a turn, `T = a·sin(θ_h + φ)`, with the potential
//!   `a·cos(θ_h + φ)`;
//! - end stops: from half the travel on either side a buffer pushes back,
//!   `T = −sgn(θ_h)·max(k·(|θ_h| − travel/2) + c·d|θ_h|/dt, 0)`; it never pulls.
//!
//! N·m, rad, N·m/rad, N·m·s/rad.

/// Eccentricity of the output bearing.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct BearingParameters {
    /// Amplitude a, N·m; 0 for none.
    pub amplitude_nm: f64,
    /// Phase φ at hub angle zero, rad.
    pub phase_rad: f64,
}

impl BearingParameters {
    /// Torque on the hub, N·m.
    pub fn torque_nm(&self, angle_rad: f64) -> f64 {
        if self.amplitude_nm > 0.0 {
            self.amplitude_nm * (angle_rad + self.phase_rad).sin()
        } else {
            0.0
        }
    }

    /// Potential energy, J.
    pub fn energy_j(&self, angle_rad: f64) -> f64 {
        self.amplitude_nm * (angle_rad + self.phase_rad).cos()
    }
}

/// Mechanical end stops.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EndStopParameters {
    /// Travel from stop to stop, rad; centred at angle 0; above 0.
    pub travel_rad: f64,
    /// Stiffness of a buffer, N·m/rad; above 0.
    pub stiffness_nm_per_rad: f64,
    /// Damping of a buffer, N·m·s/rad; 0 or more.
    pub damping_nm_s_per_rad: f64,
}

impl EndStopParameters {
    /// Torque on the hub, N·m: 0 between the stops.
    pub fn torque_nm(&self, angle_rad: f64, speed_rad_s: f64) -> f64 {
        let depth = angle_rad.abs() - 0.5 * self.travel_rad;
        if depth <= 0.0 {
            return 0.0;
        }
        let inward = speed_rad_s * angle_rad.signum();
        let push = (self.stiffness_nm_per_rad * depth + self.damping_nm_s_per_rad * inward).max(0.0);
        -push * angle_rad.signum()
    }

    /// Energy in the buffers, J.
    pub fn energy_j(&self, angle_rad: f64) -> f64 {
        let depth = (angle_rad.abs() - 0.5 * self.travel_rad).max(0.0);
        0.5 * self.stiffness_nm_per_rad * depth * depth
    }
}
