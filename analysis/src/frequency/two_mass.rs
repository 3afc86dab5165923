//! Two masses on springs behind a polled drive, times a delay: what tells delay from lag.

use realfft::num_complex::Complex64;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

use super::bristle;

/// Rotor, drive spring, hub, sensor spring, with first-order current control, friction on the rotor's side and a delay.
///
/// With springs in series of stiffness 1 (`1/k + 1/r = 1`, k the drive's, r the rig's), rotor `A = s²/ω_m² + (c+b)s + k +
/// Φ`, hub `B = (k+r)s²/ω_h² + (c+c_r)s + k + r`, the torque in the rig's spring over the motor's is
/// `(k + c s)(r + c_r s) / (A B - (k + c s)²)`; Φ is friction's Dahl stiffness at the amplitude that the response
/// itself shows. The drive's polling and slew limit come as a factor.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TwoMassModel {
    /// Gain.
    pub gain: f64,
    /// Natural frequency of the rotor on both springs, Hz.
    pub rotor_hz: f64,
    /// Natural frequency of the hub between both springs, Hz.
    pub hub_hz: f64,
    /// Drive's stiffness over the rig's.
    pub stiffness_ratio: f64,
    /// Damping over stiffness of the drive, s: a zero.
    pub drive_damping_s: f64,
    /// Damping over stiffness of the rig, s: a zero.
    pub rig_damping_s: f64,
    /// Damping of the rotor against ground over the series stiffness, s; not a zero.
    pub bearing_damping_s: f64,
    /// Time constant of the current control, s.
    pub lag_s: f64,
    /// Stiffness of friction before it slides, over the series stiffness.
    pub friction: f64,
    /// Magnitude of the response at which friction slides.
    pub sliding_gain: f64,
    /// Period for which a setpoint is held, s, where it is not declared.
    pub hold_s: f64,
    /// Pure delay, half the hold included, s.
    pub delay_s: f64,
}

/// Number of fitted parameters; the hold is the last and may be fixed.
pub(crate) const PARAMETERS: usize = 12;
/// Place of the lag.
pub(crate) const LAG: usize = 7;
/// Place of the delay among them.
pub(crate) const DELAY: usize = 10;
/// Place of the hold.
pub(crate) const HOLD: usize = 11;

impl TwoMassModel {
    /// Response at `f_hz` where the measured magnitude is `magnitude`: real and imaginary part.
    pub fn at(&self, f_hz: f64, magnitude: f64) -> [f64; 2] {
        let h = self.response(f_hz, magnitude, Complex64::from(1.0));
        [h.re, h.im]
    }

    /// The same behind a drive of response `drive`.
    pub(crate) fn response(&self, f_hz: f64, magnitude: f64, drive: Complex64) -> Complex64 {
        let s = Complex64::new(0.0, TAU * f_hz);
        let (k, r) = (1.0 + self.stiffness_ratio, 1.0 + 1.0 / self.stiffness_ratio);
        let (c, cr) = (self.drive_damping_s * k, self.rig_damping_s * r);
        let (rotor, hub) = (f_hz / self.rotor_hz, f_hz / self.hub_hz);
        // The rotor moves as the rig's spring does, but for the hub between them.
        let motion = magnitude / self.gain * (1.0 - hub * hub).abs() / self.sliding_gain;
        let friction = self.friction * bristle::stiffness(motion);
        let drive_spring = k + c * s;
        let a = s * (c + self.bearing_damping_s) + (k - rotor * rotor) + friction;
        let b = s * (c + cr) + (k + r) * (1.0 - hub * hub);
        let plant = drive_spring * (r + cr * s) / (a * b - drive_spring * drive_spring);
        let x = std::f64::consts::PI * f_hz * self.hold_s;
        let sinc = if x > 1e-9 { x.sin() / x } else { 1.0 };
        self.gain * sinc * drive * plant / (1.0 + s * self.lag_s) * (-s * self.delay_s).exp()
    }

    /// Logarithms, but for what may be zero: friction as it is, times in milliseconds.
    pub(crate) fn to_fit(&self) -> [f64; PARAMETERS] {
        [
            self.gain.ln(),
            self.rotor_hz.ln(),
            self.hub_hz.ln(),
            self.stiffness_ratio.ln(),
            self.drive_damping_s.ln(),
            self.rig_damping_s.ln(),
            1e3 * self.bearing_damping_s,
            self.lag_s.ln(),
            self.friction,
            self.sliding_gain.ln(),
            1e3 * self.delay_s,
            self.hold_s.max(1e-9).ln(),
        ]
    }

    pub(crate) fn from_fit(p: &[f64; PARAMETERS]) -> Self {
        Self {
            gain: p[0].exp(),
            rotor_hz: p[1].exp(),
            hub_hz: p[2].exp(),
            stiffness_ratio: p[3].exp(),
            drive_damping_s: p[4].exp(),
            rig_damping_s: p[5].exp(),
            bearing_damping_s: 1e-3 * p[6],
            lag_s: p[7].exp(),
            friction: p[8],
            sliding_gain: p[9].exp(),
            delay_s: 1e-3 * p[DELAY],
            hold_s: p[HOLD].exp(),
        }
    }
}
