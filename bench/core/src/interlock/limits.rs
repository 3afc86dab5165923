//! What a sample may be. Where each number comes from is told in [`crate::bounds`].

/// The limits of one run on one mounting, SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JudgeLimits {
    /// Greatest setpoint, N·m (bounds what is sent).
    pub torque_nm: f64,
    /// Greatest measured torque, N·m.
    pub sensor_torque_nm: f64,
    /// Greatest rim speed, rad/s.
    pub rim_speed_rad_s: f64,
    /// Greatest rim acceleration, rad/s².
    pub rim_acceleration_rad_s2: f64,
    /// Rim window about the reference, rad.
    pub rim_window_rad: [f64; 2],
    /// Greatest temperature, degree Celsius.
    pub temperature_degc: f64,
    /// Supply voltages outside which the rig is not to be trusted, V.
    pub supply_v: [f64; 2],
    /// Time at zero setpoint after which the rim must have settled, in ticks.
    pub zero_settle_us: u64,
    /// How the rim may move, by mounting.
    pub motion: MotionLimits,
    /// How far torque may be from the setpoint on the average; `None` on a mounting where the rim is not held.
    pub follow: Option<FollowLimits>,
    /// What may act on a free rim's disc from outside; `None` on the other mountings.
    pub disc: Option<DiscLimits>,
    /// Greatest torque that may be left without a command, N·m.
    pub unasked_nm: f64,
    /// How fast measured torque can change.
    pub leap: LeapLimits,
    /// Change of the setpoint within which a torque sensor may give one and the same count, N·m.
    pub stuck_nm: f64,
    /// When a rim encoder must have moved.
    pub rim_stuck: RimStuckLimits,
    /// How far rotor and rim may be apart; `None` where the rig file does not say how they are geared.
    pub rotor: Option<RotorLimits>,
}

/// How the rim may move on its mounting.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum MotionLimits {
    /// Held by sensor and fixture: it goes as far as the measured torque twists them.
    Clamped {
        /// Stiffness of sensor and fixture in series, N·m/rad.
        stiffness_nm_per_rad: f64,
        /// What it may be further on than that, rad.
        unexplained_rad: f64,
        /// Greatest mean speed once the setpoint has been zero for long enough, rad/s.
        zero_speed_rad_s: f64,
    },
    /// Turning freely with a disc: it goes as fast as the setpoints so far can have made it.
    Free {
        /// Least inertia that turns, kg·m².
        inertia_kg_m2: f64,
        /// Greatest torque over setpoint, 1.
        gain: f64,
        /// What it may be faster than that, rad/s.
        slack_rad_s: f64,
        /// What it may become faster by once the setpoint has been zero for long enough, rad/s.
        zero_rise_rad_s: f64,
    },
    /// Turned by a drive: it goes no faster than that.
    BackDriven {
        /// Greatest mean speed, rad/s.
        speed_rad_s: f64,
    },
}

/// How far the torque may be from the setpoint on the average.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FollowLimits {
    /// Of the averaged difference at zero setpoint, N·m: friction that holds, zero drift.
    pub difference_nm: f64,
    /// What comes on top of it for each N·m of averaged setpoint: gain.
    pub share: f64,
}

/// What may act on the disc of a free rim from outside.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DiscLimits {
    /// The disc's declared inertia, kg·m².
    pub inertia_kg_m2: f64,
    /// Torque of the disc's own bearing and imbalance, N·m.
    pub outside_nm: f64,
    /// What comes on top of it for each N·m of measured torque: the sensor's gain, the inertia's uncertainty.
    pub share: f64,
}

/// How fast measured torque can change.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeapLimits {
    /// Greatest rate, N·m/s.
    pub rate_nm_per_s: f64,
    /// What a sample may be off beyond that, N·m: noise.
    pub noise_nm: f64,
}

/// When a rim encoder must have moved.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum RimStuckLimits {
    /// The rim is held: a change of torque twists sensor and fixture.
    Held {
        /// Stiffness of both in series, N·m/rad.
        stiffness_nm_per_rad: f64,
        /// Change of torque that need not show, beyond some encoder steps, N·m.
        change_nm: f64,
    },
    /// The rim turns a disc: torque through the sensor accelerates it.
    Free {
        /// Torque through the sensor that must set the disc in motion, N·m.
        torque_nm: f64,
    },
}

/// How far rotor and rim may be apart.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RotorLimits {
    /// Motor turns for one turn of the rim.
    pub ratio: f64,
    /// Greatest difference from that at rest, rad at the rim.
    pub lost_motion_rad: f64,
}
