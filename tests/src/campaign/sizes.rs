//! From which range the size of each kind of fault is drawn.

use virtual_rig::faults::{FaultKind, KindInfo};
use virtual_rig::plant::PlantParameters;

/// How a size is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Draw {
    /// No size.
    None,
    /// Evenly from the range; either sign when `signed`.
    Even {
        /// Least.
        low: f64,
        /// Greatest.
        high: f64,
        /// Whether half of them are negative.
        signed: bool,
    },
    /// Evenly in its logarithm: as many small ones as great ones.
    Log {
        /// Least; above 0.
        low: f64,
        /// Greatest.
        high: f64,
        /// Whether half of them are negative.
        signed: bool,
    },
}

const fn log(low: f64, high: f64, signed: bool) -> Draw {
    Draw::Log { low, high, signed }
}

const fn even(low: f64, high: f64, signed: bool) -> Draw {
    Draw::Even { low, high, signed }
}

/// The range for a kind on this wheelbase. A kind that is not named here is drawn from all that the virtual rig allows
/// it, so that a new one is in the campaign from its first day.
#[must_use]
pub fn draw(info: &KindInfo, plant: &PlantParameters) -> Draw {
    let peak_nm = plant.torque.peak_nm;
    let degree = std::f64::consts::PI / 180.0;
    match info.kind {
        FaultKind::TorqueRunaway => log(0.05 * peak_nm, peak_nm, true),
        FaultKind::SupplySags => even(0.1 * plant.motor.supply_v, plant.motor.supply_v, false),
        FaultKind::ClampSlip => even(0.0, 0.5 * peak_nm, false),
        FaultKind::RimGrabbed => log(0.2, 20.0, false),
        FaultKind::RimStruck => log(0.2, 20.0, true),
        FaultKind::BeltSlips => log(0.5 * degree, 10.0 * degree, true),
        FaultKind::TorqueSensorSaturated => even(1.0, 1.0, true),
        FaultKind::TorqueSensorDrifts => log(0.05, 50.0, true),
        FaultKind::RimAngleJumps => log(0.02 * degree, 90.0 * degree, true),
        FaultKind::TemperatureClimb => log(0.5, 500.0, false),
        FaultKind::BytesLost | FaultKind::BytesFlipped | FaultKind::BytesDoubled => log(1e-5, 0.1, false),
        FaultKind::BytesDelayed => log(0.2e-3, 0.2, false),
        FaultKind::ClockDrifts => log(1e-5, 0.05, true),
        FaultKind::ClockJumps => log(1e-4, 1.0, true),
        _ => match &info.size {
            None => Draw::None,
            Some(size) => even(size.range[0], size.range[1], false),
        },
    }
}

impl Draw {
    /// The size for two draws from 0 to 1.
    #[must_use]
    pub fn size(self, amount: f64, sign: f64) -> f64 {
        let (size, signed) = match self {
            Self::None => return 0.0,
            Self::Even { low, high, signed } => (low + amount * (high - low), signed),
            Self::Log { low, high, signed } => (low * (high / low).powf(amount), signed),
        };
        if signed && sign < 0.5 { -size } else { size }
    }

    /// The range for people.
    #[must_use]
    pub fn text(self, info: &KindInfo) -> String {
        let Some(quantity) = info.size.map(|size| size.quantity) else {
            return "–".to_owned();
        };
        match self {
            Self::None => "–".to_owned(),
            Self::Even { low, high, signed } | Self::Log { low, high, signed } => {
                let sign = if signed { "±" } else { "" };
                if low.to_bits() == high.to_bits() {
                    format!("{sign}{}", quantity.show(low))
                } else {
                    format!("{sign}{} to {}", quantity.show(low), quantity.show(high))
                }
            }
        }
    }
}
