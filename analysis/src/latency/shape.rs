//! The shape of the rise: torque at the sensor after a setpoint has come into force without delay.

use serde::{Deserialize, Serialize};

/// How the declared sensor delay arises. All have that delay at low frequency; they bend the onset differently.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum SensorForm {
    /// A pipeline or a linear-phase filter: the waveform arrives late but unbent.
    Pure,
    /// A first-order lag with that time constant.
    FirstOrder,
    /// A second-order Butterworth low-pass, the usual amplifier with its anti-alias filter.
    SecondOrder,
}

/// Parameters of the shared shape: a rotor driven through ramp and lag, on a spring (belt, gears, shaft) to a hub, which
/// the rig's spring holds. Only the delay is a measurand here; the others are what the fit needed to tell delay from
/// rise, and beyond the first peak they are not to be relied on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ShapeModel {
    /// Torque reached per torque commanded, before friction.
    pub gain: f64,
    /// Fastest change of the drive's torque, N·m/s.
    pub slew_nm_per_s: f64,
    /// Time constant of the first-order lag (current loop), s.
    pub lag_s: f64,
    /// Natural frequency of the rotor on drive and rig springs in series, the hub taken as massless, Hz.
    pub resonance_hz: f64,
    /// Damping ratio of that mode by the drive spring's own damping, if it alone moved.
    pub drive_damping: f64,
    /// Damping ratio of that mode by damping of the rotor.
    pub rotor_damping: f64,
    /// Damping of the rig's spring over its stiffness, s: the torque through it leads its twist by this.
    pub rig_lead_s: f64,
    /// Travel over which friction turns round, as the torque that twists both springs by it, N·m.
    pub presliding_nm: f64,
    /// Natural frequency of the hub between both springs, the rotor held, Hz.
    pub hub_hz: f64,
    /// Stiffness of the drive as a multiple of the rig's.
    pub stiffness_ratio: f64,
    /// Natural frequency of what turns between the two stages of a drive, rotor and hub held, Hz.
    pub shaft_hz: f64,
    /// Stiffness of the rotor's stage as a multiple of that of the rim's.
    pub stage_ratio: f64,
}

/// Number of shape parameters.
pub(crate) const PARAMETERS: usize = 12;

/// Places of the hub's and the shaft's frequency, and of the ratio of the stages.
pub(crate) const HUB_HZ: usize = 8;
pub(crate) const SHAFT_HZ: usize = 10;
pub(crate) const STAGE_RATIO: usize = 11;

impl ShapeModel {
    /// Logarithms, in which the fit works: all parameters are positive and known by their order of magnitude.
    pub(crate) fn to_logs(&self) -> [f64; PARAMETERS] {
        [
            self.gain,
            self.slew_nm_per_s,
            self.lag_s,
            self.resonance_hz,
            self.drive_damping,
            self.rotor_damping,
            self.rig_lead_s,
            self.presliding_nm,
            self.hub_hz,
            self.stiffness_ratio,
            self.shaft_hz,
            self.stage_ratio,
        ]
        .map(f64::ln)
    }

    pub(crate) fn from_logs(p: &[f64]) -> Self {
        let value = |i: usize| p[i].exp();
        Self {
            gain: value(0),
            slew_nm_per_s: value(1),
            lag_s: value(2),
            resonance_hz: value(3),
            drive_damping: value(4),
            rotor_damping: value(5),
            rig_lead_s: value(6),
            presliding_nm: value(7),
            hub_hz: value(8),
            stiffness_ratio: value(9),
            shaft_hz: value(10),
            stage_ratio: value(11),
        }
    }
}
