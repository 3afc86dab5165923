//! What acts on the hub besides drive, friction and sensor: the bearing's eccentricity and the end stops.
//!
//! - bearing: an eccentric bearing loads and unloads once a turn, `T = a·sin(θ_h + φ)`, with the potential
//!   `a·cos(θ_h + φ)`;
//! - end stops: from half the travel on either side of their middle a buffer pushes back, with `θ` counted from there
//!   `T = −sgn(θ)·max(k·(|θ| − travel/2) + c·d|θ|/dt, 0)`; it never pulls.
//!
//! - uneven friction: a bearing that is tighter at one place adds `½·p·(1 + cos(n·(θ_h − φ)))` to the output side's friction level,
//!   from nothing to `p` and back `n` times a turn; over a whole turn that is `p/2`.
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
    /// Travel from stop to stop, rad; above 0.
    pub travel_rad: f64,
    /// Angle of its middle, rad.
    pub centre_rad: f64,
    /// Stiffness of a buffer, N·m/rad; above 0.
    pub stiffness_nm_per_rad: f64,
    /// Damping of a buffer, N·m·s/rad; 0 or more.
    pub damping_nm_s_per_rad: f64,
}

impl EndStopParameters {
    /// Torque on the hub, N·m: 0 between the stops.
    pub fn torque_nm(&self, angle_rad: f64, speed_rad_s: f64) -> f64 {
        let angle_rad = angle_rad - self.centre_rad;
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
        let depth = ((angle_rad - self.centre_rad).abs() - 0.5 * self.travel_rad).max(0.0);
        0.5 * self.stiffness_nm_per_rad * depth * depth
    }
}

/// Friction of the output side that changes with the hub's angle.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct UnevenFriction {
    /// Swing p from least to greatest, N·m; 0 for none.
    pub swing_nm: f64,
    /// How often a turn n.
    pub order: f64,
    /// Hub angle φ at which it is greatest, rad.
    pub greatest_rad: f64,
}

impl UnevenFriction {
    /// What it adds to the level of friction at an angle, N·m; 0 or more.
    pub fn level_nm(&self, angle_rad: f64) -> f64 {
        if self.swing_nm > 0.0 {
            0.5 * self.swing_nm * (1.0 + (self.order * (angle_rad - self.greatest_rad)).cos())
        } else {
            0.0
        }
    }
}
