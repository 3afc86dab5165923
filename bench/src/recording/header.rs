//! What a recording says about itself: who, when, with what, under which calibration.

use serde::{Deserialize, Serialize};

use super::rows::lines_name;

/// Name in [`Header::extra`] of the word that tells one clamping of the rim from another: runs of one unit and rig with the same
/// word were made without touching the fixture.
pub const CLAMPING: &str = "clamping";

/// How many bits a channel's raw counts take in the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum CountWidth {
    /// Signed 16-bit counts.
    I16,
    /// Signed 32-bit counts.
    I32,
}

impl CountWidth {
    /// The smallest and the largest count of this width.
    pub fn range(self) -> (i32, i32) {
        match self {
            Self::I16 => (i32::from(i16::MIN), i32::from(i16::MAX)),
            Self::I32 => (i32::MIN, i32::MAX),
        }
    }

    /// Bytes one count takes.
    pub fn bytes(self) -> u64 {
        match self {
            Self::I16 => 2,
            Self::I32 => 4,
        }
    }
}

/// One sampled channel: its raw counts mean `scale · count + offset` in `units`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ChannelInfo {
    /// Name of the dataset: `setpoint`, `torque`, `rim_angle`, … (letters, digits, `_`).
    pub name: String,
    /// The name a person reads.
    pub long_name: String,
    /// Unit of the scaled value as UDUNITS writes it: `N.m`, `rad`, `degC`, `V`.
    pub units: String,
    /// Width of the counts in the file.
    pub width: CountWidth,
    /// Units per count; finite and not zero.
    pub scale: f64,
    /// Value at count 0; finite.
    pub offset: f64,
    /// By how much the channel's value lags the quantity, s (filters, sampling hold); known and declared, not corrected.
    pub group_delay_s: f64,
    /// Smallest count the converter gives when not saturated.
    pub raw_min: i32,
    /// Largest count the converter gives when not saturated.
    pub raw_max: i32,
}

/// The program that recorded.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Software {
    /// Program name.
    pub name: String,
    /// Released version.
    pub version: String,
    /// Source revision and build profile.
    pub build: String,
}

/// The unit under test.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Unit {
    /// Model name.
    pub model: String,
    /// Serial number; what tells one unit from another.
    pub serial: String,
    /// Firmware version and settings.
    pub firmware: String,
}

/// The rig the unit stands on.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct RigInfo {
    /// Name of the rig.
    pub name: String,
    /// `virtual` or `serial`.
    pub kind: String,
    /// `hard-wired` or `none`.
    pub emergency_stop: String,
    /// Name of the fixture.
    pub fixture: String,
    /// Torsional stiffness of the fixture, N·m/rad; NaN if not declared.
    pub fixture_stiffness_nm_per_rad: f64,
    /// Torque at setpoint count 32767, N·m.
    pub full_scale_nm: f64,
    /// Nominal update period of the unit's firmware, s; NaN if not declared.
    pub update_period_s: f64,
    /// Nominal greatest rate at which the unit's drive changes its torque, N·m/s; NaN if not declared.
    pub slew_nm_per_s: f64,
}

/// The torque sensor and its calibration.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Sensor {
    /// Model name.
    pub model: String,
    /// Serial number.
    pub serial: String,
    /// Rated torque, N·m.
    pub range_nm: f64,
    /// Torsional stiffness, N·m/rad; NaN if not declared.
    pub stiffness_nm_per_rad: f64,
    /// Date of the calibration, `YYYY-MM-DD`.
    pub calibrated: String,
    /// Date the calibration runs out, `YYYY-MM-DD`.
    pub due: String,
    /// Certificate number.
    pub certificate: String,
    /// Standard uncertainty of the gain, relative.
    pub gain_uncertainty: f64,
    /// Standard uncertainty of the zero, N·m.
    pub zero_uncertainty_nm: f64,
    /// Standard uncertainty of the declared group delay, s.
    pub delay_uncertainty_s: f64,
}

/// Everything a recording knows before its first sample.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Header {
    /// Identifier of the run.
    pub run_id: String,
    /// Start time with zone, RFC 3339.
    pub created: String,
    /// The program that recorded.
    pub software: Software,
    /// Who ran it.
    pub operator: String,
    /// `clamped`, `free` or `back-driven`.
    pub mounting: String,
    /// The unit under test.
    pub unit: Unit,
    /// The rig.
    pub rig: RigInfo,
    /// The torque sensor and its calibration.
    pub sensor: Sensor,
    /// Rig ticks from one sample to the next; above 0.
    pub sample_period_ticks: u32,
    /// Length of a rig tick, s (1e-6).
    pub tick_s: f64,
    /// Seed of every random excitation and simulated noise of the run.
    pub seed: u64,
    /// Faults scripted for a virtual rig, separated by semicolons; empty: none.
    pub faults: String,
    /// Name and verbatim text of each file the run was made from: the rig file and the procedure.
    pub files: Vec<(String, String)>,
    /// The sampled channels, in column order.
    pub channels: Vec<ChannelInfo>,
    /// Further names and values worth keeping (clamp torque, ambient temperature, last verification, …).
    pub extra: Vec<(String, String)>,
}

impl Header {
    /// Position of the channel called `name` among [`Header::channels`].
    pub fn channel_index(&self, name: &str) -> Option<usize> {
        self.channels.iter().position(|c| c.name == name)
    }

    /// The lines of a multisine that carry power, as multiples of one over its period, by the position of its segment; none where the
    /// recording does not list them.
    pub(crate) fn lines_of(&self, segment: u32) -> Option<Vec<usize>> {
        let name = lines_name(segment);
        let (_, text) = self.extra.iter().find(|(known, _)| *known == name)?;
        let lines: Vec<usize> = text
            .split_whitespace()
            .map(str::parse)
            .collect::<Result<_, _>>()
            .ok()?;
        (lines.iter().min()? > &0).then_some(lines)
    }

    /// Samples per second.
    pub fn sample_rate_hz(&self) -> f64 {
        1.0 / (f64::from(self.sample_period_ticks) * self.tick_s)
    }
}
