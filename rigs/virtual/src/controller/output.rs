//! What the controller does to the wheelbase.

/// The controller's outputs at one moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Output {
    /// Power stage off.
    Off,
    /// Windings shorted.
    Brake,
    /// Power stage on, with this setpoint in counts.
    Torque(i16),
}
