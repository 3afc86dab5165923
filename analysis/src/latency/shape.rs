//! The shape of the rise.
use serde::{Deserialize, Serialize};

/// How the declared sensor delay arises.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum SensorForm {
    /// A pipeline or a linear-phase filter: the waveform arrives late but unbent.
    Pure,
    /// A first-order lag with that time constant.
    FirstOrder,
    /// A second-order low-pass (Butterworth) with that delay at low frequency.
    SecondOrder,
}

/// Parameters of the shared shape.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ShapeModel {
    /// Torque reached per torque commanded.
    pub gain: f64,
    /// Duration of the ramp that the slew limit makes of the step, s.
    pub ramp_s: f64,
    /// Time constant of the first-order lag (current loop), s.
    pub lag_s: f64,
    /// Natural frequency of the rotor on its spring, Hz.
    pub resonance_hz: f64,
    /// Its damping ratio.
    pub damping: f64,
    /// Friction as a fraction of the commanded change.
    pub friction: f64,
}
