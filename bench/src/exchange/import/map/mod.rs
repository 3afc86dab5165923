//! The map file: which column is what, in which unit, on which rig.

pub(super) mod read;
mod segments;

pub(crate) use segments::{Levels, Segment, SegmentKind};

use super::source::Layout;

/// What a column is to the bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Role {
    /// Commanded torque.
    Commanded,
    /// Measured torque.
    Measured,
    /// Angle at the rim.
    RimAngle,
    /// Angle at the motor.
    MotorAngle,
    /// Temperature.
    Temperature,
    /// Motor current.
    Current,
    /// Supply voltage.
    Supply,
}

impl Role {
    pub(crate) const ALL: [Self; 7] = [
        Self::Commanded,
        Self::Measured,
        Self::RimAngle,
        Self::MotorAngle,
        Self::Temperature,
        Self::Current,
        Self::Supply,
    ];

    /// Its word in the map.
    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::Commanded => "commanded",
            Self::Measured => "measured",
            Self::RimAngle => "rim_angle",
            Self::MotorAngle => "motor_angle",
            Self::Temperature => "temperature",
            Self::Current => "current",
            Self::Supply => "supply",
        }
    }

    /// Its channel in a recording: dataset, name for people, UDUNITS.
    pub(crate) const fn channel(self) -> (&'static str, &'static str, &'static str) {
        match self {
            Self::Commanded => ("setpoint", "setpoint in force", "N.m"),
            Self::Measured => ("torque", "rim torque", "N.m"),
            Self::RimAngle => ("rim_angle", "rim angle", "rad"),
            Self::MotorAngle => ("motor_angle", "motor angle", "rad"),
            Self::Temperature => ("temperature", "temperature", "degC"),
            Self::Current => ("current", "motor current", "A"),
            Self::Supply => ("supply", "supply voltage", "V"),
        }
    }

    /// The role of a channel of a recording.
    pub(crate) fn of_channel(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|role| role.channel().0 == name)
    }

    /// Values beyond this (SI, °C) are the wrong unit rather than a measurement; common practice.
    pub(crate) const fn plausible(self) -> [f64; 2] {
        match self {
            Self::Commanded | Self::Measured => [-500.0, 500.0],
            Self::RimAngle => [-200.0, 200.0],
            Self::MotorAngle => [-20_000.0, 20_000.0],
            Self::Temperature => [-60.0, 250.0],
            Self::Current => [-500.0, 500.0],
            Self::Supply => [-1_000.0, 1_000.0],
        }
    }
}

/// One column of the data file.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Column {
    pub(crate) role: Role,
    /// Its name in the file.
    pub(crate) name: String,
    /// Unit of a scaled value as written in the map; `None`: the file says.
    pub(crate) unit: Option<String>,
    /// Units per number in the file.
    pub(crate) scale: f64,
    /// What is added behind the scale, SI.
    pub(crate) offset_si: f64,
    /// Whether its sign is turned.
    pub(crate) reversed: bool,
    /// Lever of a force, m.
    pub(crate) lever_m: Option<f64>,
    /// Step it is rounded to, SI, if the map says so.
    pub(crate) resolution_si: Option<f64>,
    /// Range of the converter, SI, if declared.
    pub(crate) range_si: Option<[f64; 2]>,
    /// By how much it lags, s.
    pub(crate) group_delay_s: f64,
}

/// Where time comes from.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Time {
    /// Column and unit, if there is one; the unit is as in [`Column::unit`].
    pub(crate) column: Option<(String, Option<String>)>,
    /// Declared time from sample to sample, s.
    pub(crate) period_s: Option<f64>,
    /// How far a row may be from the even grid and still count as on it, s.
    pub(crate) tolerance_s: Option<f64>,
}

/// What may be put right.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Repairs {
    /// Rows that cannot be read are left out: a gap.
    pub rows: bool,
    /// Rows that are not later than the one before are left out.
    pub time_order: bool,
    /// Uneven time is resampled.
    pub resample: bool,
    /// A measured torque against the commanded one is turned.
    pub sign: bool,
}

impl Repairs {
    /// Every repair.
    pub const ALL: Self = Self {
        rows: true,
        time_order: true,
        resample: true,
        sign: true,
    };

    /// These and those.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        Self {
            rows: self.rows || other.rows,
            time_order: self.time_order || other.time_order,
            resample: self.resample || other.resample,
            sign: self.sign || other.sign,
        }
    }
}

/// The unit, the rig, the sensor: what the fits need to know beside the samples. NaN: not declared.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Facts {
    pub(crate) started: String,
    pub(crate) operator: String,
    pub(crate) recorded_with: String,
    pub(crate) mounting: String,
    pub(crate) disc_inertia_kgm2: Option<f64>,
    pub(crate) motor_ratio: Option<f64>,
    /// Gears and belts between motor and rim, one after the other.
    pub(crate) stages: Option<usize>,
    pub(crate) unit_model: String,
    pub(crate) unit_serial: String,
    pub(crate) unit_firmware: String,
    pub(crate) update_period_s: f64,
    pub(crate) slew_nm_per_s: f64,
    pub(crate) full_scale_nm: Option<f64>,
    pub(crate) rig_name: String,
    pub(crate) fixture: String,
    pub(crate) fixture_stiffness_nm_per_rad: f64,
    pub(crate) sensor: crate::recording::Sensor,
}

/// How steps are looked for in the commanded column.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct StepSearch {
    /// Least change of the command, N·m.
    pub(crate) least_nm: f64,
    /// Least time at a level before and after, s.
    pub(crate) rest_s: f64,
}

/// A map file, read and checked.
#[derive(Debug, Clone, PartialEq)]
pub struct Map {
    pub(crate) file: String,
    pub(crate) text: String,
    pub(crate) layout: Layout,
    pub(crate) time: Time,
    pub(crate) columns: Vec<Column>,
    pub(crate) hold_s: Option<f64>,
    pub(crate) facts: Facts,
    pub(crate) segments: Vec<Segment>,
    pub(crate) steps: Option<StepSearch>,
    pub(crate) repairs: Repairs,
}

impl Map {
    /// Names of segments in order of their first; a segment's place among them is its number in the recording.
    pub(crate) fn segment_names(&self) -> Vec<&str> {
        let mut names: Vec<&str> = Vec::new();
        for segment in &self.segments {
            if !names.contains(&segment.name.as_str()) {
                names.push(&segment.name);
            }
        }
        names
    }
}
