//! Minimum-phase rational model times delay, for telling the two apart.

use realfft::num_complex::Complex64;
use serde::{Deserialize, Serialize};

/// `K (1 + z s) / ((1 + τ s)(1 + 2 ζ1 s/ω1 + s²/ω1²)(1 + 2 ζ2 s/ω2 + s²/ω2²)) · sinc(f T) · exp(-s d)`: current loop,
/// rotor and hub on their springs (the zero is the damping of the drive), and a setpoint held for the update period T,
/// whose half period belongs to the delay d.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RationalModel {
    /// Gain at zero frequency.
    pub gain: f64,
    /// Time constant of the zero, s.
    pub lead_s: f64,
    /// Time constant of the first-order lag, s.
    pub lag_s: f64,
    /// Natural frequency of the first mode, Hz.
    pub resonance_hz: f64,
    /// Its damping ratio.
    pub damping: f64,
    /// Natural frequency of the further mode, Hz.
    pub second_hz: f64,
    /// Its damping ratio.
    pub second_damping: f64,
    /// Period for which a setpoint is held, s.
    pub hold_s: f64,
    /// Pure delay, half the hold included, s.
    pub delay_s: f64,
}

/// Number of fitted parameters; the hold is the last and may be fixed.
pub(crate) const PARAMETERS: usize = 9;

impl RationalModel {
    /// Response at `f_hz`.
    pub fn at(&self, f_hz: f64) -> [f64; 2] {
        let h = self.response(f_hz);
        [h.re, h.im]
    }

    pub(crate) fn response(&self, f_hz: f64) -> Complex64 {
        let s = Complex64::new(0.0, std::f64::consts::TAU * f_hz);
        let mode = |hz: f64, zeta: f64| {
            let r = f_hz / hz;
            Complex64::new(1.0 - r * r, 2.0 * zeta * r)
        };
        let x = std::f64::consts::PI * f_hz * self.hold_s;
        let sinc = if x > 1e-9 { x.sin() / x } else { 1.0 };
        let rational = (1.0 + s * self.lead_s)
            / ((1.0 + s * self.lag_s)
                * mode(self.resonance_hz, self.damping)
                * mode(self.second_hz, self.second_damping));
        self.gain * sinc * rational * (-s * self.delay_s).exp()
    }

    /// Logarithms of all but the delay, which is taken in milliseconds.
    pub(crate) fn to_fit(&self) -> [f64; PARAMETERS] {
        [
            self.gain.ln(),
            self.lead_s.ln(),
            self.lag_s.ln(),
            self.resonance_hz.ln(),
            self.damping.ln(),
            self.second_hz.ln(),
            self.second_damping.ln(),
            1e3 * self.delay_s,
            self.hold_s.max(1e-9).ln(),
        ]
    }

    pub(crate) fn from_fit(p: &[f64]) -> Self {
        Self {
            gain: p[0].exp(),
            lead_s: p[1].exp(),
            lag_s: p[2].exp(),
            resonance_hz: p[3].exp(),
            damping: p[4].exp(),
            second_hz: p[5].exp(),
            second_damping: p[6].exp(),
            delay_s: 1e-3 * p[7],
            hold_s: p[8].exp(),
        }
    }
}
