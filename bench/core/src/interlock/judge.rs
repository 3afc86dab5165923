//! Looks at samples, one by one, in the order in which the rig took them. Each idea has a module of its own; here they
//! are put together. Nothing in here allocates, and a look costs well under a microsecond.

use super::at_zero::{ZeroMotion, ZeroSince};
use super::clamped::ClampedMotion;
use super::condition::Condition;
use super::disc::DiscBalance;
use super::following::Following;
use super::free::FreeMotion;
use super::leap::Leap;
use super::limits::{JudgeLimits, MotionLimits};
use super::rim_stuck::RimStuck;
use super::rotor::Rotor;
use super::sensor_stuck::SensorStuck;
use super::trail::{Motion, Trail};
use super::trip::{Found, Trip};
use super::unasked::Unasked;
use crate::channels::Reading;

/// The rim at rest, from which everything counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rest {
    /// Mean torque, N·m.
    pub torque_nm: f64,
    /// Mean rim angle, rad.
    pub rim_angle_rad: f64,
    /// Angle from which the rim window counts, rad.
    pub window_from_rad: f64,
    /// Angle of one step of the rim encoder, rad.
    pub rim_step_rad: f64,
}

/// How the rim may move, by mounting.
#[derive(Debug, Clone)]
enum Mounted {
    Clamped(ClampedMotion),
    Free(FreeMotion),
    BackDriven { speed_rad_s: f64 },
}

/// Running judgement over a stream of samples.
#[derive(Debug, Clone)]
pub struct Judge {
    limits: JudgeLimits,
    window_from_rad: Option<f64>,
    trail: Trail,
    zero: ZeroSince,
    mounted: Mounted,
    zero_motion: ZeroMotion,
    following: Option<Following>,
    disc: Option<DiscBalance>,
    unasked: Unasked,
    leap: Leap,
    sensor_stuck: SensorStuck,
    rim_stuck: RimStuck,
    rotor: Option<Rotor>,
}

impl Judge {
    /// Has seen nothing yet.
    #[must_use]
    pub fn new(limits: JudgeLimits) -> Self {
        Self {
            window_from_rad: None,
            trail: Trail::default(),
            zero: ZeroSince::default(),
            mounted: match limits.motion {
                MotionLimits::Clamped {
                    stiffness_nm_per_rad,
                    unexplained_rad,
                    ..
                } => Mounted::Clamped(ClampedMotion::new(stiffness_nm_per_rad, unexplained_rad)),
                MotionLimits::Free {
                    inertia_kg_m2,
                    gain,
                    slack_rad_s,
                    ..
                } => Mounted::Free(FreeMotion::new(inertia_kg_m2, gain, slack_rad_s)),
                MotionLimits::BackDriven { speed_rad_s } => Mounted::BackDriven { speed_rad_s },
            },
            zero_motion: ZeroMotion::new(limits.zero_settle_us, limits.motion),
            following: limits.follow.map(Following::new),
            disc: limits.disc.map(DiscBalance::new),
            unasked: Unasked::new(limits.unasked_nm),
            leap: Leap::new(limits.leap),
            sensor_stuck: SensorStuck::new(limits.stuck_nm),
            rim_stuck: RimStuck::new(limits.rim_stuck),
            rotor: limits.rotor.map(Rotor::new),
            limits,
        }
    }

    /// The limits it judges by.
    #[must_use]
    pub const fn limits(&self) -> &JudgeLimits {
        &self.limits
    }

    /// Whether the zeros are known.
    #[must_use]
    pub const fn has_begun(&self) -> bool {
        self.window_from_rad.is_some()
    }

    /// The rim rests, without torque: what counts from there begins anew.
    pub fn begin(&mut self, rest: Rest) {
        self.window_from_rad = Some(rest.window_from_rad);
        if let Mounted::Clamped(motion) = &mut self.mounted {
            motion.begin(rest.torque_nm, rest.rim_angle_rad);
        }
        if let Some(following) = &mut self.following {
            following.begin(rest.torque_nm);
        }
        if let Some(disc) = &mut self.disc {
            disc.begin(rest.torque_nm);
        }
        self.unasked.begin(rest.torque_nm);
        self.sensor_stuck.begin();
        self.rim_stuck.begin(rest.torque_nm, rest.rim_step_rad);
        if let Some(rotor) = &mut self.rotor {
            rotor.begin();
        }
    }

    /// Judges one sample; returns the first condition that it breaks, in the order of the list below.
    pub fn look(&mut self, reading: &Reading) -> Option<Trip> {
        if !reading.is_finite() {
            return Some(Found::new(Condition::NotFinite, f64::NAN, 0.0, "").at(reading.tick));
        }
        // Everything that remembers looks at every sample, whatever is found.
        let motion = self.trail.step(reading.tick, reading.rim_angle_rad);
        // The setpoint channel is in counts: half a thousandth of the limit is zero.
        let is_zero = reading.setpoint_nm.abs() <= 5e-4 * self.limits.torque_nm;
        let zero_us = self.zero.step(reading.tick, is_zero);
        let moved = match &mut self.mounted {
            Mounted::Clamped(clamped) => clamped.look(reading),
            Mounted::Free(free) => free.look(reading, motion.model_rad_s),
            Mounted::BackDriven { speed_rad_s } => driven(*speed_rad_s, &motion),
        };
        let found = [
            self.unasked.look(reading, zero_us),
            self.zero_motion.look(zero_us, motion.slow_rad_s),
            self.following
                .as_mut()
                .and_then(|following| following.look(reading)),
            self.disc
                .as_mut()
                .and_then(|disc| disc.look(reading, motion.model_rad_s)),
            self.sensor_stuck.look(reading),
            self.rim_stuck.look(reading),
            self.leap.look(reading),
            self.rotor.as_mut().and_then(|rotor| rotor.look(reading)),
        ];
        self.at_once(reading, &motion)
            .or(moved)
            .or_else(|| found.into_iter().flatten().next())
            .map(|found| found.at(reading.tick))
    }

    /// What needs no memory but the last few places of the rim.
    fn at_once(&self, reading: &Reading, motion: &Motion) -> Option<Found> {
        let limits = &self.limits;
        let torque_nm = reading.torque_nm;
        if reading.torque_missing {
            return Some(Found::new(Condition::TorqueMissing, 0.0, 0.0, ""));
        }
        if reading.saturated {
            return Some(Found::new(
                Condition::Saturated,
                torque_nm,
                limits.sensor_torque_nm,
                "N.m",
            ));
        }
        let beyond = |condition, value: Option<f64>, limit: f64, unit| {
            let value = value.filter(|value| value.abs() > limit)?;
            Some(Found::new(condition, value, limit, unit))
        };
        let outside = |condition, value: Option<f64>, [low, high]: [f64; 2], unit| {
            let value = value.filter(|value| *value < low || *value > high)?;
            Some(Found::new(
                condition,
                value,
                if value < low { low } else { high },
                unit,
            ))
        };
        let turned = self.window_from_rad.map(|from| reading.rim_angle_rad - from);
        beyond(
            Condition::SensorTorque,
            Some(torque_nm),
            limits.sensor_torque_nm,
            "N.m",
        )
        .or_else(|| outside(Condition::RimWindow, turned, limits.rim_window_rad, "rad"))
        .or_else(|| {
            beyond(
                Condition::RimSpeed,
                motion.fast_rad_s,
                limits.rim_speed_rad_s,
                "rad/s",
            )
        })
        .or_else(|| {
            let most = [f64::NEG_INFINITY, limits.temperature_degc];
            outside(Condition::Temperature, reading.temperature_degc, most, "degC")
        })
        .or_else(|| outside(Condition::Supply, reading.supply_v, limits.supply_v, "V"))
        .or_else(|| {
            let (seen, limit) = (motion.acceleration_rad_s2, limits.rim_acceleration_rad_s2);
            beyond(Condition::RimAcceleration, seen, limit, "rad/s2")
        })
    }
}

/// A driven rim turns as the drive likes, never faster; the mean leaves ringing out.
fn driven(limit_rad_s: f64, motion: &Motion) -> Option<Found> {
    let speed = motion.slow_rad_s.filter(|speed| speed.abs() > limit_rad_s)?;
    Some(Found::new(
        Condition::MotionUnexpected,
        speed,
        limit_rad_s,
        "rad/s",
    ))
}
