//! What the controller is wired to: its channels with their scales, and the counts that it reads from them.

use rig_link::message::{Channel, Name};
use rig_link::{ChannelKind, FULL_SCALE_COUNTS, Unit, Width};

/// Channels of a row.
pub const CHANNELS: usize = 7;
/// Widths of a row's counts, in the order of the channels.
pub const WIDTHS: [Width; CHANNELS] = [
    Width::I16,
    Width::I32,
    Width::I32,
    Width::I32,
    Width::I16,
    Width::I16,
    Width::I16,
];

/// Every channel, in order.
pub const ALL: &[usize] = &[0, 1, 2, 3, 4, 5, 6];

/// Scales of the channels, and what the controller must know of its sensors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wiring {
    /// The channels that there are, as places of [`WIDTHS`].
    pub channels: &'static [usize],
    /// Torque of one setpoint count, N·m.
    pub setpoint_nm: f64,
    /// Torque of one count of the torque sensor, N·m.
    pub torque_nm: f64,
    /// Counts at the end of the torque sensor's range.
    pub torque_end: i32,
    /// Group delay of the torque sensor, ns.
    pub torque_delay_ns: u32,
    /// Angle of one count of the rim encoder, rad.
    pub rim_rad: f64,
    /// Angle of one count of the motor's position sensor, rad on the motor shaft.
    pub motor_rad: f64,
    /// Current of one count, A.
    pub current_a: f64,
    /// Temperature of one count, K; count 0 is 0 °C.
    pub temperature_k: f64,
    /// Voltage of one count, V.
    pub supply_v: f64,
}

/// Counts of all sensors at one moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// Torque sensor.
    pub torque: i32,
    /// Rim encoder.
    pub rim: i32,
    /// Position sensor on the motor.
    pub motor: i32,
    /// Current.
    pub current: i32,
    /// Temperature.
    pub temperature: i32,
    /// Supply.
    pub supply: i32,
}

/// Temperatures outside this span mean an open or shorted sensor, °C.
pub(super) const TEMPERATURE_SPAN_DEGC: [f64; 2] = [-40.0, 200.0];

impl Wiring {
    /// Description of channel `index`, if there is one.
    pub fn channel(&self, index: u8) -> Option<Channel> {
        let word = i32::from(i16::MAX);
        let full = i32::from(FULL_SCALE_COUNTS);
        let span = TEMPERATURE_SPAN_DEGC.map(|t| (t / self.temperature_k).round() as i32);
        let all = i32::MAX;
        let place = *self.channels.get(usize::from(index))?;
        let (kind, unit, scale, ends, delay, name) = match place {
            0 => (
                ChannelKind::Setpoint,
                Unit::NewtonMetre,
                self.setpoint_nm,
                [-full - 1, full],
                0,
                "setpoint",
            ),
            1 => (
                ChannelKind::Torque,
                Unit::NewtonMetre,
                self.torque_nm,
                [-self.torque_end, self.torque_end],
                self.torque_delay_ns,
                "torque",
            ),
            2 => (
                ChannelKind::RimAngle,
                Unit::Radian,
                self.rim_rad,
                [-all, all],
                0,
                "rim_angle",
            ),
            3 => (
                ChannelKind::MotorAngle,
                Unit::Radian,
                self.motor_rad,
                [-all, all],
                0,
                "motor_angle",
            ),
            4 => (
                ChannelKind::Current,
                Unit::Ampere,
                self.current_a,
                [-word, word],
                0,
                "current",
            ),
            5 => (
                ChannelKind::Temperature,
                Unit::Celsius,
                self.temperature_k,
                span,
                0,
                "temperature",
            ),
            6 => (
                ChannelKind::Supply,
                Unit::Volt,
                self.supply_v,
                [-word, word],
                0,
                "supply",
            ),
            _ => return None,
        };
        Some(Channel {
            index,
            kind,
            width: *WIDTHS.get(place)?,
            unit,
            scale,
            offset: 0.0,
            raw_min: ends[0],
            raw_max: ends[1],
            group_delay_ns: delay,
            name: Name::new(name),
        })
    }
}

/// One row of counts with their widths, in the order of the channels; places past the last one are zero.
pub(super) fn row(
    wiring: &Wiring,
    setpoint: i16,
    counts: &Counts,
) -> ([Width; CHANNELS], [i32; CHANNELS], usize) {
    let all = [
        i32::from(setpoint),
        counts.torque,
        counts.rim,
        counts.motor,
        counts.current,
        counts.temperature,
        counts.supply,
    ];
    let (mut widths, mut row) = (WIDTHS, [0; CHANNELS]);
    let places = widths.iter_mut().zip(&mut row).zip(wiring.channels);
    for ((width, value), &place) in places {
        *width = WIDTHS.get(place).copied().unwrap_or(Width::I16);
        *value = all.get(place).copied().unwrap_or(0);
    }
    (widths, row, wiring.channels.len().min(CHANNELS))
}
