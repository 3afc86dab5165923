//! Torque that depends on position: cogging and its torque-proportional relatives.
//!
//! `T = Σ (a_n + b_n·T_motor)·sin(n·θ + φ_n)`, θ the motor's angle at the rim (rad), `n` the order in cycles a rim
//! turn (whole or not: a belt pass is not), `a_n` in N·m at the rim, `b_n` the share of the motor torque.

/// One order.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RippleOrder {
    /// Cycles per turn of the rim; above 0.
    pub order: f64,
    /// Amplitude without current, N·m at the rim.
    pub amplitude_nm: f64,
    /// Amplitude per motor torque, 1.
    pub torque_share: f64,
    /// Phase, rad.
    pub phase_rad: f64,
}

/// Sum of all orders at angle `angle_rad` with motor torque `motor_nm`, N·m.
pub fn ripple_nm(orders: &[RippleOrder], angle_rad: f64, motor_nm: f64) -> f64 {
    orders
        .iter()
        .map(|o| (o.amplitude_nm + o.torque_share * motor_nm) * (o.order * angle_rad + o.phase_rad).sin())
        .sum()
}

/// Potential energy of the current-free orders, J: `Σ a_n/n·cos(n·θ + φ_n)`, whose slope is minus the torque.
pub fn ripple_energy_j(orders: &[RippleOrder], angle_rad: f64) -> f64 {
    orders
        .iter()
        .map(|o| o.amplitude_nm / o.order * (o.order * angle_rad + o.phase_rad).cos())
        .sum()
}
