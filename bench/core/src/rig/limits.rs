//! The limits of a rig: enforced by the rig controller first, and by the bench's interlock behind it.

use rig_link::StopMode;

use super::words;
use core::fmt;

words! {
    /// From which angle the rim window is counted.
    WindowFrom {
        /// From where the rim stood when the rig was armed.
        Arming = "arming",
        /// From the zero of the rim angle channel.
        Zero = "zero",
    }
}

/// What the rig must never exceed in the mounting in force. Every value is finite and inside the ranges given here.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub struct Limits {
    /// Greatest setpoint either way, N·m; above 0, at most the wheelbase's peak torque. The mounting may have tightened
    /// it.
    pub torque_nm: f64,
    /// Greatest rate of the applied setpoint, N·m/s.
    pub slew_nm_per_s: f64,
    /// Measured torque either way beyond which the rig trips, N·m; at most the sensor's range.
    pub sensor_torque_nm: f64,
    /// Rim speed either way beyond which the rig trips, rad/s; 0.1 to 60.
    pub rim_speed_rad_s: f64,
    /// Rim angles `[low, high]` outside which the rig trips, rad.
    pub rim_window_rad: [f64; 2],
    /// From which angle the window is counted.
    pub rim_window_from: WindowFrom,
    /// Rim acceleration either way beyond which something is wrong, rad/s²; `None` where the rig file sets none.
    pub rim_acceleration_rad_s2: Option<f64>,
    /// Supply voltages `[low, high]` outside which the rig is not to be trusted, V.
    pub supply_v: [f64; 2],
    /// Temperature beyond which the rig trips, °C; 30 to 150.
    pub temperature_degc: f64,
    /// Longest time without a sign of life from the bench, µs; 5,000 to 100,000.
    pub watchdog_us: u32,
    /// Longest time that one setpoint stays in force, µs; 2,000 to 100,000.
    pub setpoint_expiry_us: u32,
    /// How the rig stops by itself.
    pub stop: StopMode,
    /// Longest time of braking before the motor coasts, µs; 10,000 to 2,000,000.
    pub brake_us: u32,
}
