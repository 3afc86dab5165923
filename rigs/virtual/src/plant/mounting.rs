//! What the rim is fastened to: through the torque sensor to ground, or to a known inertia, or to a drive.
//!
//! The sensor is a spring between the hub and a far side, with some damping:
//! `T_sensor = k·(θ_hub − θ_far) + c·(ω_hub − ω_far)`, positive when the wheelbase pushes clockwise.
//!
//! - clamped: the far side is ground; sensor and fixture springs act in series, `1/k = 1/k_sensor + 1/k_fixture`. The
//!   clamp holds at most `holding_nm` and then slips with that torque;
//! - free: the far side is a disc of known inertia `J`, `J·dω_far/dt = T_sensor`, `k = k_sensor`.
//!
//! - back-driven: the far side is a drive that turns as its script says ([`Turning`]), whatever the torque; sensor and
//!   fixture springs act in series. The drive does the work `−∫T_sensor·ω_far dt`.

use super::ahead;
use super::turning::{Turning, TurningParameters};

/// The springs between hub and far side.
#[derive(Debug, Clone, PartialEq)]
pub struct MountingParameters {
    /// Torsional stiffness of the torque sensor, N·m/rad; above 0.
    pub sensor_nm_per_rad: f64,
    /// Torsional stiffness of the fixture, N·m/rad; above 0.
    pub fixture_nm_per_rad: f64,
    /// Damping across sensor and fixture, N·m·s/rad; 0 or more.
    pub damping_nm_s_per_rad: f64,
    /// What the far side is.
    pub far_side: FarSide,
}

/// What is on the other side of the torque sensor.
#[derive(Debug, Clone, PartialEq)]
pub enum FarSide {
    /// Ground, through a clamp.
    Ground {
        /// Torque at which the clamp slips, N·m; infinite for never.
        holding_nm: f64,
    },
    /// A disc that turns freely.
    Disc {
        /// Its inertia, kg·m²; above 0.
        inertia_kg_m2: f64,
    },
    /// A drive that turns it.
    Drive(TurningParameters),
}

impl MountingParameters {
    /// Stiffness between hub and far side, N·m/rad.
    pub fn stiffness_nm_per_rad(&self) -> f64 {
        match self.far_side {
            FarSide::Ground { .. } | FarSide::Drive(_) => {
                1.0 / (1.0 / self.sensor_nm_per_rad + 1.0 / self.fixture_nm_per_rad)
            }
            FarSide::Disc { .. } => self.sensor_nm_per_rad,
        }
    }
}

/// The far side with its motion.
#[derive(Debug, Clone)]
pub struct Mounting {
    parameters: MountingParameters,
    stiffness_nm_per_rad: f64,
    /// The drive, and the time of its script.
    turning: Option<Turning>,
    time_s: f64,
    far_angle_rad: f64,
    far_speed_rad_s: f64,
    /// Speed a step before; of a drive its own in the middle of the step.
    before_rad_s: f64,
    /// Friction of a hand on the disc, N·m.
    held_nm: f64,
}

impl Mounting {
    /// At rest, the spring relaxed at hub angle zero.
    pub fn new(parameters: MountingParameters) -> Self {
        let stiffness_nm_per_rad = parameters.stiffness_nm_per_rad();
        let turning = match &parameters.far_side {
            FarSide::Drive(script) => Some(Turning::new(script.clone())),
            FarSide::Ground { .. } | FarSide::Disc { .. } => None,
        };
        Self {
            parameters,
            stiffness_nm_per_rad,
            turning,
            time_s: 0.0,
            far_angle_rad: 0.0,
            far_speed_rad_s: 0.0,
            before_rad_s: 0.0,
            held_nm: 0.0,
        }
    }

    /// Torque through the sensor, N·m.
    pub fn torque_nm(&self, hub_angle_rad: f64, hub_speed_rad_s: f64) -> f64 {
        self.between_nm(hub_angle_rad, hub_speed_rad_s - self.far_speed_rad_s)
    }

    /// The same in the middle of a step, where the hub has this speed.
    pub(super) fn torque_ahead_nm(&self, hub_angle_rad: f64, hub_speed_rad_s: f64) -> f64 {
        self.between_nm(
            hub_angle_rad,
            hub_speed_rad_s - ahead(self.far_speed_rad_s, self.before_rad_s),
        )
    }

    fn between_nm(&self, hub_angle_rad: f64, rate_rad_s: f64) -> f64 {
        let torque = self.stiffness_nm_per_rad * (hub_angle_rad - self.far_angle_rad)
            + self.parameters.damping_nm_s_per_rad * rate_rad_s;
        match self.parameters.far_side {
            FarSide::Ground { holding_nm } => torque.clamp(-holding_nm, holding_nm),
            FarSide::Disc { .. } | FarSide::Drive(_) => torque,
        }
    }

    /// First half of the far side's motion over a step, together with the hub's (see `Plant::step`).
    pub fn drift(&mut self, time_s: f64) {
        if let Some(turning) = &self.turning {
            self.time_s += time_s;
            [self.far_angle_rad, self.far_speed_rad_s] = turning.at(self.time_s);
            self.before_rad_s = self.far_speed_rad_s;
        } else {
            self.far_angle_rad += time_s * self.far_speed_rad_s;
        }
    }

    /// The sensor's torque acts on the far side for `step_s`; a clamp that can not hold lets it creep after the hub.
    pub fn push(&mut self, torque_nm: f64, hub_angle_rad: f64, step_s: f64) {
        match self.parameters.far_side {
            FarSide::Ground { holding_nm } => {
                let slack = holding_nm / self.stiffness_nm_per_rad;
                let twist = hub_angle_rad - self.far_angle_rad;
                if twist.abs() > slack {
                    self.far_angle_rad = hub_angle_rad - slack.copysign(twist);
                }
            }
            FarSide::Disc { inertia_kg_m2 } => {
                self.before_rad_s = self.far_speed_rad_s;
                let speed = self.far_speed_rad_s + step_s * torque_nm / inertia_kg_m2;
                // Coulomb friction over a step takes speed away, down to rest and no further.
                let taken = step_s * self.held_nm / inertia_kg_m2;
                self.far_speed_rad_s = speed - speed.clamp(-taken, taken);
            }
            FarSide::Drive(_) => {}
        }
    }

    /// Puts the far side at this angle and speed; a drive goes on with its script.
    pub fn set_far_motion(&mut self, motion: [f64; 2]) {
        [self.far_angle_rad, self.far_speed_rad_s] = motion;
        self.before_rad_s = self.far_speed_rad_s;
    }

    /// Changes what the clamp holds, N·m; no effect on a disc or a drive.
    pub fn set_holding_nm(&mut self, torque_nm: f64) {
        if let FarSide::Ground { holding_nm } = &mut self.parameters.far_side {
            *holding_nm = torque_nm;
        }
    }

    /// Whether the far side is a disc.
    pub fn has_disc(&self) -> bool {
        matches!(self.parameters.far_side, FarSide::Disc { .. })
    }

    /// A hand holds the disc from now on with this friction, N·m.
    pub fn set_held_nm(&mut self, held_nm: f64) {
        self.held_nm = held_nm;
    }

    /// A blow changes the disc's speed by this, rad/s.
    pub fn strike(&mut self, change_rad_s: f64) {
        self.far_speed_rad_s += change_rad_s;
        self.before_rad_s += change_rad_s;
    }

    /// Energy in the spring and in the disc, J. A drive's own is not counted: it is a source.
    pub fn energy_j(&self, hub_angle_rad: f64) -> f64 {
        let twist = hub_angle_rad - self.far_angle_rad;
        let moving = match self.parameters.far_side {
            FarSide::Ground { .. } | FarSide::Drive(_) => 0.0,
            FarSide::Disc { inertia_kg_m2 } => {
                0.5 * inertia_kg_m2 * self.far_speed_rad_s * self.far_speed_rad_s
            }
        };
        0.5 * self.stiffness_nm_per_rad * twist * twist + moving
    }

    /// Angle of the far side, rad.
    pub fn far_angle_rad(&self) -> f64 {
        self.far_angle_rad
    }

    /// Speed of the far side, rad/s.
    pub fn far_speed_rad_s(&self) -> f64 {
        self.far_speed_rad_s
    }
}
