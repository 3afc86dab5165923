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
    /// Temperature, degree Celsius, when the rig measures one.
    pub temperature_degc: Option<f64>,
    /// Whether the torque sensor, the rim encoder or the temperature sensor is at the end of its range.
    pub saturated: bool,
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
    temperature: Option<usize>,
}

impl ChannelMap {
    /// Finds the channels that the bench needs.
    ///
    /// # Errors
    /// [`ChannelFault`] when setpoint, torque or rim angle is missing, doubled or in another unit.
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
        let temperature = match one(ChannelKind::Temperature, Unit::Celsius) {
            Ok(place) => Some(place),
            Err(ChannelFault::Missing(_)) => None,
            Err(fault) => return Err(fault),
        };
        Ok(Self {
            setpoint: one(ChannelKind::Setpoint, Unit::NewtonMetre)?,
            torque: one(ChannelKind::Torque, Unit::NewtonMetre)?,
            rim_angle: one(ChannelKind::RimAngle, Unit::Radian)?,
            temperature,
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

    /// Physical value of a row's channel.
    fn physical(&self, place: usize, row: &SampleRow) -> f64 {
        match (self.channels.get(place), row.counts.get(place)) {
            (Some(channel), Some(&raw)) => f64::from(raw) * channel.scale + channel.offset,
            _ => f64::NAN, // judged as not finite: fails closed
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
            temperature_degc: self.temperature.map(|place| self.physical(place, row)),
            // An open or shorted temperature sensor reads one of its ends: not cold, but unknown.
            saturated: [Some(self.torque), Some(self.rim_angle), self.temperature]
                .into_iter()
                .flatten()
                .any(|place| self.at_the_end(place, row)),
        }
    }
}
