//! The limits in force: from rig, mounting and plan, by one pure function.
//!
//! Every limit is the tighter of two: what the rig file allows in this mounting (and the procedure's own `[limits]`
//! within it), and what the plan needs with a margin that is stated here. A tighter procedure therefore gets tighter
//! limits by itself. What a rig controller enforces is sent to it tightened as well.
//!
//! - [`margins`] are the margins, each with its reason.
//! - [`need`] is what a plan needs.
//! - [`table`] tells each limit with its derivation.

pub mod margins;
pub mod need;
pub mod table;
#[cfg(test)]
mod tests;

use core::f64::consts::PI;

use crate::interlock::trail::{ACCELERATION_US, SLOW_US};
use crate::interlock::{
    DiscLimits, FollowLimits, JudgeLimits, LeapLimits, MotionLimits, RimStuckLimits, RotorLimits,
};
use crate::plan::Plan;
use crate::rig::{FarSide, Limits, Rig};
use crate::units::s_from_us;
use margins::{
    CHANGE_MARGIN, CLAMPED_SLACK_RAD, DRIVE_MARGIN, DRIVEN_FRICTION, EXPIRY_GAPS, FREE_SLACK, FRICTION, GAIN,
    HIGHEST_MODE_HZ, LEAST_EXPIRY_US, NOISE, OUTSIDE, OUTSIDE_NM, OUTSIDE_SHARE, RIM_STUCK,
    SPEED_SLACK_RAD_S, STIFFNESS_ERROR, STUCK, WINDOW_SLACK_RAD, ZERO, ZERO_SETTLE_US, ZERO_SPEED,
};
pub use need::Need;
pub use table::{Row, Sides};

/// The limits of one run.
#[derive(Debug, Clone, PartialEq)]
pub struct Bounds {
    /// What the rig file allows, tightened by the procedure's own limits.
    pub allowed: Limits,
    /// What is in force, on the rig controller and at the bench.
    pub limits: Limits,
    /// What a sample may be.
    pub judge: JudgeLimits,
    /// What the plan needs; nothing without a plan.
    pub need: Need,
}

impl Bounds {
    /// Without a plan nothing but zero torque is allowed; the other limits are then the rig's.
    #[must_use]
    pub fn new(rig: &Rig, plan: Option<&Plan>) -> Self {
        let allowed = plan.map_or(rig.limits, |plan| *plan.limits());
        let need = plan.map_or_else(Need::default, Need::of);
        let derived = Derived {
            rig,
            allowed: &allowed,
            need: &need,
        };
        let limits = match plan {
            Some(_) => derived.limits(),
            None => Limits {
                torque_nm: 0.0,
                ..allowed
            },
        };
        let judge = derived.judge(&limits);
        Self {
            allowed,
            limits,
            judge,
            need,
        }
    }

    /// What its limits follow from, for telling how.
    fn derived<'a>(&'a self, rig: &'a Rig) -> Derived<'a> {
        Derived {
            rig,
            allowed: &self.allowed,
            need: &self.need,
        }
    }
}

/// What goes into a derivation.
struct Derived<'a> {
    rig: &'a Rig,
    allowed: &'a Limits,
    need: &'a Need,
}

/// Friction and cogging that may show on a rig's mounting, as a share of the peak torque.
const fn friction_share(rig: &Rig) -> f64 {
    match rig.far_side {
        FarSide::Drive { .. } => DRIVEN_FRICTION,
        FarSide::Ground | FarSide::Disc { .. } => FRICTION,
    }
}

impl Derived<'_> {
    /// Torque that friction and cogging may hold or add, N·m.
    fn friction_nm(&self) -> f64 {
        friction_share(self.rig) * self.rig.wheelbase.peak_torque_nm
    }

    /// Greatest torque that the sensor may see in a sound run, N·m.
    fn measured_nm(&self) -> f64 {
        GAIN * self.need.rings_to_nm + self.friction_nm() + self.zero_nm()
    }

    /// What the sensor may show at rest, N·m.
    fn zero_nm(&self) -> f64 {
        ZERO * self.rig.limits.sensor_torque_nm
    }

    /// Least inertia that turns on a free mounting, kg·m².
    fn least_inertia_kg_m2(&self) -> Option<f64> {
        match self.rig.far_side {
            FarSide::Disc {
                inertia_kg_m2,
                uncertainty_kg_m2,
            } => Some((inertia_kg_m2 - 2.0 * uncertainty_kg_m2).max(0.1 * inertia_kg_m2)),
            FarSide::Ground | FarSide::Drive { .. } => None,
        }
    }

    /// What may act on the disc of a free mounting.
    fn disc(&self) -> Option<DiscLimits> {
        match self.rig.far_side {
            FarSide::Disc {
                inertia_kg_m2,
                uncertainty_kg_m2,
            } => Some(DiscLimits {
                inertia_kg_m2,
                outside_nm: OUTSIDE * self.rig.wheelbase.peak_torque_nm + OUTSIDE_NM,
                share: OUTSIDE_SHARE + 2.0 * uncertainty_kg_m2 / inertia_kg_m2,
            }),
            FarSide::Ground | FarSide::Drive { .. } => None,
        }
    }

    /// How far sensor and fixture give at a torque, rad.
    fn give_rad(&self, torque_nm: f64) -> f64 {
        torque_nm / self.rig.stiffness_nm_per_rad()
    }

    /// Greatest speed and travel to both sides, rad/s and rad, that a sound run has on this mounting.
    fn motion(&self, sensor_nm: f64) -> (f64, [f64; 2]) {
        let give_rad = self.give_rad(sensor_nm);
        let ringing_rad_s = 2.0 * PI * HIGHEST_MODE_HZ * give_rad;
        match self.rig.far_side {
            FarSide::Ground => {
                let travel = STIFFNESS_ERROR * give_rad + WINDOW_SLACK_RAD;
                (ringing_rad_s + SPEED_SLACK_RAD_S, [-travel, travel])
            }
            FarSide::Disc { .. } => {
                let per_nm = GAIN / self.least_inertia_kg_m2().unwrap_or(f64::MAX);
                let slack = FREE_SLACK * self.rig.limits.rim_speed_rad_s;
                let [low, high] = self.need.impulse_nm_s;
                let [left, right] = self.need.travel_nm_s2;
                let drift = slack * self.need.duration_s;
                let travel = [per_nm * left - drift, per_nm * right + drift];
                (per_nm * high.max(-low) + slack, travel)
            }
            // How far a drive turns is its own affair.
            FarSide::Drive { speed_rad_s, .. } => (
                DRIVE_MARGIN * speed_rad_s + ringing_rad_s,
                [f64::NEG_INFINITY, f64::INFINITY],
            ),
        }
    }

    fn limits(&self) -> Limits {
        let allowed = self.allowed;
        let sensor_torque_nm = self.measured_nm().min(allowed.sensor_torque_nm);
        let (speed, [left, right]) = self.motion(sensor_torque_nm);
        let [low, high] = allowed.rim_window_rad;
        // Where the window is counted from the encoder's zero, nobody knows where in it the rim will be.
        let rim_window_rad = match allowed.rim_window_from {
            crate::rig::WindowFrom::Arming => [low.max(left), high.min(right)],
            crate::rig::WindowFrom::Zero => [low, high],
        };
        Limits {
            torque_nm: self.need.peak_nm.min(allowed.torque_nm),
            slew_nm_per_s: (CHANGE_MARGIN * self.need.change_nm_per_s).min(allowed.slew_nm_per_s),
            sensor_torque_nm,
            rim_speed_rad_s: speed.min(allowed.rim_speed_rad_s),
            rim_window_rad,
            setpoint_expiry_us: u32::try_from(EXPIRY_GAPS * self.need.gap_us)
                .unwrap_or(u32::MAX)
                .max(LEAST_EXPIRY_US)
                .min(allowed.setpoint_expiry_us),
            ..*allowed
        }
    }

    /// Greatest acceleration of a sound run, rad/s².
    fn acceleration(&self, limits: &Limits) -> f64 {
        let window_s = s_from_us(ACCELERATION_US);
        let swing = 4.0 * self.give_rad(limits.sensor_torque_nm) / (window_s * window_s);
        match self.rig.far_side {
            FarSide::Ground => swing,
            FarSide::Disc { .. } => {
                let torque_nm = GAIN * limits.torque_nm + self.friction_nm();
                2.0 * torque_nm / self.least_inertia_kg_m2().unwrap_or(f64::MAX)
            }
            FarSide::Drive {
                acceleration_rad_s2, ..
            } => DRIVE_MARGIN * acceleration_rad_s2 + swing,
        }
    }

    fn judge(&self, limits: &Limits) -> JudgeLimits {
        let rig = self.rig;
        let peak_nm = rig.wheelbase.peak_torque_nm;
        let stiffness_nm_per_rad = rig.stiffness_nm_per_rad();
        let give_rad = self.give_rad(limits.sensor_torque_nm);
        let rim_speed = rig.limits.rim_speed_rad_s;
        let motion = match rig.far_side {
            FarSide::Ground => MotionLimits::Clamped {
                stiffness_nm_per_rad,
                unexplained_rad: (STIFFNESS_ERROR - 1.0) * give_rad + CLAMPED_SLACK_RAD,
                zero_speed_rad_s: ZERO_SPEED * rim_speed,
            },
            FarSide::Disc { .. } => MotionLimits::Free {
                inertia_kg_m2: self.least_inertia_kg_m2().unwrap_or(f64::MAX),
                gain: GAIN,
                slack_rad_s: FREE_SLACK * rim_speed,
                zero_rise_rad_s: ZERO_SPEED * rim_speed,
            },
            FarSide::Drive { speed_rad_s, .. } => MotionLimits::BackDriven {
                speed_rad_s: DRIVE_MARGIN * speed_rad_s + 2.0 * give_rad / s_from_us(SLOW_US),
            },
        };
        let is_free = matches!(rig.far_side, FarSide::Disc { .. });
        let acceleration = self.acceleration(limits);
        JudgeLimits {
            torque_nm: limits.torque_nm,
            sensor_torque_nm: limits.sensor_torque_nm,
            rim_speed_rad_s: limits.rim_speed_rad_s,
            rim_acceleration_rad_s2: limits
                .rim_acceleration_rad_s2
                .map_or(acceleration, |declared| declared.min(acceleration)),
            rim_window_rad: limits.rim_window_rad,
            temperature_degc: limits.temperature_degc,
            supply_v: limits.supply_v,
            zero_settle_us: ZERO_SETTLE_US,
            motion,
            // A free rim takes part of the torque for itself, and friction another.
            follow: (!is_free).then_some(FollowLimits {
                difference_nm: self.friction_nm(),
                share: GAIN - 1.0,
            }),
            disc: self.disc(),
            // A stop that a coasting rim meets throws it back: what it may push is the limit of measured torque alone.
            unasked_nm: if self.need.at_stops {
                limits.sensor_torque_nm
            } else {
                self.friction_nm()
            },
            leap: LeapLimits {
                rate_nm_per_s: 2.0 * PI * HIGHEST_MODE_HZ * limits.sensor_torque_nm
                    + rig.wheelbase.slew_nm_per_s,
                noise_nm: NOISE * rig.torque_sensor.range_nm,
            },
            // With nothing to play nothing moves.
            stuck_nm: if limits.torque_nm > 0.0 {
                STUCK * limits.torque_nm
            } else {
                f64::INFINITY
            },
            rim_stuck: if is_free {
                RimStuckLimits::Free {
                    torque_nm: RIM_STUCK * peak_nm,
                }
            } else {
                RimStuckLimits::Held {
                    stiffness_nm_per_rad,
                    change_nm: RIM_STUCK * peak_nm,
                }
            },
            rotor: rig.wheelbase.ratio.map(|ratio| RotorLimits {
                ratio,
                lost_motion_rad: rig.wheelbase.lost_motion_rad,
            }),
        }
    }
}
