//! `[[virtual.faults]]`: scripted faults for tests of the safety functions.

use settings_file::{Angle, Ratio, Section, Speed, TemperatureDifference, Time, Torque, Voltage};

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
    /// Each byte, either way, is doubled with probability `size`.
    BytesDoubled,
    /// Bytes, either way, arrive `size` seconds late.
    BytesDelayed,
    /// The next bytes either way end in the middle; once each.
    BytesCut,
    /// Nothing gets through any more, either way.
    PortVanishes,
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
    /// The torque sensor is at the end of its range, on the side of `size`'s sign.
    TorqueSensorSaturated,
    /// The torque sensor gives its counts at zero torque.
    TorqueSensorDropsOut,
    /// The torque sensor's zero wanders by `size` N·m each second.
    TorqueSensorDrifts,
    /// The rim encoder's angle jumps by `size` rad.
    RimAngleJumps,
    /// The rim encoder repeats its present counts.
    RimAngleStuck,
    /// The rim encoder counts the other way, from where it is.
    RimAngleInverted,
    /// The temperature channel climbs by `size` K each second.
    TemperatureClimb,
    /// The supply falls by `size` V.
    SupplySags,
    /// A hand holds the rim with a friction of `size` N·m; 0 lets go.
    RimGrabbed,
    /// A blow changes the rim's speed by `size` rad/s.
    RimStruck,
    /// The belt (or joint) slips by `size` rad at the rim: the motor's side goes on by so much without the hub.
    BeltSlips,
    /// The belt (or joint) breaks: nothing is transmitted any more.
    BeltBreaks,
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

const KINDS: [(&str, FaultKind); 26] = [
    ("torque-runaway", FaultKind::TorqueRunaway),
    ("clamp-slip", FaultKind::ClampSlip),
    ("stream-freeze", FaultKind::StreamFreeze),
    ("bytes-lost", FaultKind::BytesLost),
    ("bytes-flipped", FaultKind::BytesFlipped),
    ("bytes-doubled", FaultKind::BytesDoubled),
    ("bytes-delayed", FaultKind::BytesDelayed),
    ("bytes-cut", FaultKind::BytesCut),
    ("port-vanishes", FaultKind::PortVanishes),
    ("reboot", FaultKind::Reboot),
    ("ignore-stop", FaultKind::IgnoreStop),
    ("emergency-stop", FaultKind::EmergencyStop),
    ("emergency-stop-released", FaultKind::EmergencyStopReleased),
    ("torque-sensor-stuck", FaultKind::TorqueSensorStuck),
    ("torque-sensor-saturated", FaultKind::TorqueSensorSaturated),
    ("torque-sensor-drops-out", FaultKind::TorqueSensorDropsOut),
    ("torque-sensor-drifts", FaultKind::TorqueSensorDrifts),
    ("rim-angle-jumps", FaultKind::RimAngleJumps),
    ("rim-angle-stuck", FaultKind::RimAngleStuck),
    ("rim-angle-inverted", FaultKind::RimAngleInverted),
    ("supply-sags", FaultKind::SupplySags),
    ("rim-grabbed", FaultKind::RimGrabbed),
    ("rim-struck", FaultKind::RimStruck),
    ("belt-slips", FaultKind::BeltSlips),
    ("belt-breaks", FaultKind::BeltBreaks),
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
                FaultKind::ClampSlip | FaultKind::RimGrabbed => fault.quantity::<Torque>("size", 0.0..=100.0),
                FaultKind::TorqueSensorSaturated | FaultKind::TorqueSensorDrifts => {
                    fault.quantity::<Torque>("size", -100.0..=100.0)
                }
                FaultKind::BytesDelayed => fault.quantity::<Time>("size", 0.0..=1.0),
                FaultKind::RimAngleJumps | FaultKind::BeltSlips => {
                    fault.quantity::<Angle>("size", -7.0..=7.0)
                }
                FaultKind::RimStruck => fault.quantity::<Speed>("size", -100.0..=100.0),
                FaultKind::SupplySags => fault.quantity::<Voltage>("size", 0.0..=100.0),
                FaultKind::BytesLost | FaultKind::BytesFlipped | FaultKind::BytesDoubled => {
                    fault.quantity::<Ratio>("size", 0.0..=1.0)
                }
                FaultKind::TemperatureClimb => fault.quantity::<TemperatureDifference>("size", 0.0..=1000.0),
                FaultKind::StreamFreeze
                | FaultKind::BytesCut
                | FaultKind::PortVanishes
                | FaultKind::TorqueSensorDropsOut
                | FaultKind::RimAngleStuck
                | FaultKind::RimAngleInverted
                | FaultKind::BeltBreaks
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
