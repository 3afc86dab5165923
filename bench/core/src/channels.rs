//! What the rig's channels are, and counts turned into physical values.

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use rig_link::message::Channel;
use rig_link::{ChannelKind, MAX_CHANNELS, Unit, Width};

/// One sample row in counts, one place a channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SampleRow {
    /// Rig tick of the row.
    pub tick: u64,
    /// Counts; places past the last channel are zero.
    pub counts: [i32; MAX_CHANNELS],
}

/// A count that says that nothing was measured, where it lies outside the channel's range: a sensor of its own that fell silent has no value
/// at its rows, and none may be made up.
pub const NOT_MEASURED: i32 = i32::MIN;

/// What the interlock looks at, in SI.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Rig tick of the row.
    pub tick: u64,
    /// Setpoint in force, N·m.
    pub setpoint_nm: f64,
    /// Rim torque, N·m.
    pub torque_nm: f64,
    /// Rim angle, rad.
    pub rim_angle_rad: f64,
    /// Rotor angle, rad on the motor shaft, when the rig measures one.
    pub motor_angle_rad: Option<f64>,
    /// Temperature, degree Celsius, when the rig measures one.
    pub temperature_degc: Option<f64>,
    /// Supply voltage, V, when the rig measures one.
    pub supply_v: Option<f64>,
    /// Whether the sensor of torque, rim angle, temperature or supply is at the end of its range.
    pub saturated: bool,
    /// Nothing measured the torque at this row: [`NOT_MEASURED`].
    pub torque_missing: bool,
}

impl Reading {
    /// A reading of the three channels that every rig has, nothing else measured.
    #[must_use]
    pub const fn new(tick: u64, setpoint_nm: f64, torque_nm: f64, rim_angle_rad: f64) -> Self {
        Self {
            tick,
            setpoint_nm,
            torque_nm,
            rim_angle_rad,
            motor_angle_rad: None,
            temperature_degc: None,
            supply_v: None,
            saturated: false,
            torque_missing: false,
        }
    }

    /// Whether every value is a finite number.
    #[must_use]
    pub fn is_finite(&self) -> bool {
        let others = [self.motor_angle_rad, self.temperature_degc, self.supply_v];
        self.setpoint_nm.is_finite()
            && self.torque_nm.is_finite()
            && self.rim_angle_rad.is_finite()
            && others.into_iter().flatten().all(f64::is_finite)
    }
}

/// Why a rig's channels cannot serve.
#[derive(Debug, Clone, PartialEq)]
pub enum ChannelFault {
    /// No channel of a kind that every run needs.
    Missing(ChannelKind),
    /// A channel of a kind that must be single occurs twice.
    Doubled(ChannelKind),
    /// A channel's unit is not the one of its kind.
    Unit {
        /// The channel's name.
        name: String,
        /// The unit that it declares.
        declared: Unit,
        /// The unit that its kind needs.
        needed: Unit,
    },
}

impl core::fmt::Display for ChannelFault {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Missing(kind) => write!(f, "the rig has no {kind:?} channel; every run needs one"),
            Self::Doubled(kind) => write!(f, "the rig has two {kind:?} channels; exactly one is allowed"),
            Self::Unit {
                name,
                declared,
                needed,
            } => write!(
                f,
                "channel {name} is declared in {}; its kind needs {}",
                declared.udunits(),
                needed.udunits()
            ),
        }
    }
}

/// The rig's channels in the order of a row, with the places of those that the bench looks at.
#[derive(Debug, Clone, PartialEq)]
pub struct ChannelMap {
    channels: Vec<Channel>,
    widths: Vec<Width>,
    setpoint: usize,
    torque: usize,
    rim_angle: usize,
    motor_angle: Option<usize>,
    temperature: Option<usize>,
    supply: Option<usize>,
}

impl ChannelMap {
    /// Finds the channels that the bench needs.
    ///
    /// # Errors
    /// [`ChannelFault`] when setpoint, torque or rim angle is missing, or one that the bench looks at is doubled or in
    /// another unit.
    pub fn new(channels: &[Channel]) -> Result<Self, ChannelFault> {
        let one = |kind: ChannelKind, unit: Unit| {
            let mut places = channels
                .iter()
                .enumerate()
                .filter(|(_, channel)| channel.kind == kind);
            let (place, channel) = places.next().ok_or(ChannelFault::Missing(kind))?;
            if places.next().is_some() {
                return Err(ChannelFault::Doubled(kind));
            }
            if channel.unit != unit {
                return Err(ChannelFault::Unit {
                    name: channel.name.as_str().to_string(),
                    declared: channel.unit,
                    needed: unit,
                });
            }
            Ok(place)
        };
        let if_there = |kind, unit| match one(kind, unit) {
            Ok(place) => Ok(Some(place)),
            Err(ChannelFault::Missing(_)) => Ok(None),
            Err(fault) => Err(fault),
        };
        Ok(Self {
            setpoint: one(ChannelKind::Setpoint, Unit::NewtonMetre)?,
            torque: one(ChannelKind::Torque, Unit::NewtonMetre)?,
            rim_angle: one(ChannelKind::RimAngle, Unit::Radian)?,
            motor_angle: if_there(ChannelKind::MotorAngle, Unit::Radian)?,
            temperature: if_there(ChannelKind::Temperature, Unit::Celsius)?,
            supply: if_there(ChannelKind::Supply, Unit::Volt)?,
            widths: channels.iter().map(|channel| channel.width).collect(),
            channels: channels.to_vec(),
        })
    }

    /// The channels in the order of a row.
    #[must_use]
    pub fn channels(&self) -> &[Channel] {
        &self.channels
    }

    /// Width of each channel's counts.
    #[must_use]
    pub fn widths(&self) -> &[Width] {
        &self.widths
    }

    /// Rim angle of one count, rad.
    #[must_use]
    pub fn rim_step_rad(&self) -> f64 {
        self.channels
            .get(self.rim_angle)
            .map_or(0.0, |rim| rim.scale.abs())
    }

    /// Physical value of a row's channel.
    fn physical(&self, place: usize, row: &SampleRow) -> f64 {
        match (self.channels.get(place), row.counts.get(place)) {
            (Some(channel), Some(&raw)) => f64::from(raw) * channel.scale + channel.offset,
            _ => f64::NAN, // judged as not finite: fails closed
        }
    }

    fn not_measured(&self, place: usize, row: &SampleRow) -> bool {
        match (self.channels.get(place), row.counts.get(place)) {
            (Some(channel), Some(&raw)) => raw == NOT_MEASURED && channel.raw_min > NOT_MEASURED,
            _ => false,
        }
    }

    fn at_the_end(&self, place: usize, row: &SampleRow) -> bool {
        match (self.channels.get(place), row.counts.get(place)) {
            (Some(channel), Some(&raw)) => raw <= channel.raw_min || raw >= channel.raw_max,
            _ => true,
        }
    }

    /// What the interlock looks at.
    #[must_use]
    pub fn reading(&self, row: &SampleRow) -> Reading {
        Reading {
            tick: row.tick,
            setpoint_nm: self.physical(self.setpoint, row),
            torque_nm: self.physical(self.torque, row),
            rim_angle_rad: self.physical(self.rim_angle, row),
            motor_angle_rad: self.motor_angle.map(|place| self.physical(place, row)),
            temperature_degc: self.temperature.map(|place| self.physical(place, row)),
            supply_v: self.supply.map(|place| self.physical(place, row)),
            torque_missing: self.not_measured(self.torque, row),
            // An open or shorted temperature sensor reads one of its ends: not cold, but unknown.
            saturated: [
                Some(self.torque),
                Some(self.rim_angle),
                self.temperature,
                self.supply,
            ]
            .into_iter()
            .flatten()
            .any(|place| self.at_the_end(place, row)),
        }
    }
}
