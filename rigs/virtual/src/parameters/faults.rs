//! `[[virtual.faults]]`: scripted faults for tests of the safety functions.

use settings_file::{Ratio, Section, TemperatureDifference, Time, Torque};

/// What goes wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FaultKind {
    /// The motor makes `size` N·m whenever it has power, whatever the setpoint.
    TorqueRunaway,
    /// The clamp holds no more than `size` N·m from now on.
    ClampSlip,
    /// No sample is sent any more; everything else goes on.
    StreamFreeze,
    /// Each byte, either way, is lost with probability `size`.
    BytesLost,
    /// Each byte, either way, has one bit flipped with probability `size`.
    BytesFlipped,
    /// The controller reboots: state, configuration and ticks start anew.
    Reboot,
    /// Stop messages are ignored, and not answered.
    IgnoreStop,
    /// The emergency-stop input opens.
    EmergencyStop,
    /// The emergency-stop input closes.
    EmergencyStopReleased,
    /// The torque sensor repeats its present counts.
    TorqueSensorStuck,
    /// The temperature channel climbs by `size` K each second.
    TemperatureClimb,
}

/// One scripted fault.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fault {
    /// What goes wrong.
    pub kind: FaultKind,
    /// When, in ticks since the rig was switched on.
    pub start_tick: u64,
    /// How much, in the unit that the kind names; 0 where it needs none.
    pub size: f64,
}

const KINDS: [(&str, FaultKind); 11] = [
    ("torque-runaway", FaultKind::TorqueRunaway),
    ("clamp-slip", FaultKind::ClampSlip),
    ("stream-freeze", FaultKind::StreamFreeze),
    ("bytes-lost", FaultKind::BytesLost),
    ("bytes-flipped", FaultKind::BytesFlipped),
    ("reboot", FaultKind::Reboot),
    ("ignore-stop", FaultKind::IgnoreStop),
    ("emergency-stop", FaultKind::EmergencyStop),
    ("emergency-stop-released", FaultKind::EmergencyStopReleased),
    ("torque-sensor-stuck", FaultKind::TorqueSensorStuck),
    ("temperature-climb", FaultKind::TemperatureClimb),
];

pub(super) fn read(table: &Section<'_>) -> Vec<Fault> {
    table
        .sections("faults", 0..=32)
        .iter()
        .map(|fault| {
            let kind = fault.choice("kind", &KINDS).unwrap_or(FaultKind::Reboot);
            let start_s = fault.quantity::<Time>("start", 0.0..=86_400.0);
            let size = match kind {
                FaultKind::TorqueRunaway => fault.quantity::<Torque>("size", -100.0..=100.0),
                FaultKind::ClampSlip => fault.quantity::<Torque>("size", 0.0..=100.0),
                FaultKind::BytesLost | FaultKind::BytesFlipped => fault.quantity::<Ratio>("size", 0.0..=1.0),
                FaultKind::TemperatureClimb => fault.quantity::<TemperatureDifference>("size", 0.0..=1000.0),
                FaultKind::StreamFreeze
                | FaultKind::Reboot
                | FaultKind::IgnoreStop
                | FaultKind::EmergencyStop
                | FaultKind::EmergencyStopReleased
                | FaultKind::TorqueSensorStuck => 0.0,
            };
            Fault {
                kind,
                start_tick: (start_s * 1e6).round() as u64,
                size,
            }
        })
        .collect()
}
