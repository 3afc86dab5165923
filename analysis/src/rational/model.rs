//! The model: factors over factors, times a gain and a delay.

use realfft::num_complex::Complex64;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

/// A factor of numerator or denominator, 1 at zero frequency, with its roots in the left half-plane.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub enum Factor {
    /// `1 + s/a` with `a = 2π corner_hz`: one real root.
    Real {
        /// Corner frequency, Hz.
        corner_hz: f64,
    },
    /// `1 + 2 ζ s/ω + s²/ω²`: a conjugate pair for ζ below 1, two real roots above.
    Pair {
        /// Undamped natural frequency ω/2π, Hz.
        f_hz: f64,
        /// Damping ratio ζ.
        damping: f64,
    },
}

impl Factor {
    /// Number of roots.
    pub(crate) fn count(&self) -> usize {
        match self {
            Self::Real { .. } => 1,
            Self::Pair { .. } => 2,
        }
    }

    /// Value at `s`, rad/s.
    pub(crate) fn at(&self, s: Complex64) -> Complex64 {
        match self {
            Self::Real { corner_hz } => 1.0 + s / (TAU * corner_hz),
            Self::Pair { f_hz, damping } => {
                let r = s / (TAU * f_hz);
                1.0 + r * (r + 2.0 * damping)
            }
        }
    }

    /// Roots, rad/s.
    pub(crate) fn roots(&self) -> Vec<Complex64> {
        match self {
            Self::Real { corner_hz } => vec![Complex64::from(-TAU * corner_hz)],
            Self::Pair { f_hz, damping } => {
                let w = TAU * f_hz;
                let rest = damping * damping - 1.0;
                if rest < 0.0 {
                    let up = Complex64::new(-damping * w, w * (-rest).sqrt());
                    vec![up, up.conj()]
                } else {
                    // The smaller root from the product, not from a difference of nearly equal numbers.
                    let far = w * (damping + rest.sqrt());
                    vec![Complex64::from(-w * w / far), Complex64::from(-far)]
                }
            }
        }
    }
}

/// `gain · exp(-s delay) · Π zeros / Π poles`, the rational part of minimum phase.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct RationalModel {
    /// Gain at zero frequency.
    pub gain: f64,
    /// Pure delay, s: what a system of minimum phase does not explain.
    pub delay_s: f64,
    /// Factors of the denominator.
    pub poles: Vec<Factor>,
    /// Factors of the numerator.
    pub zeros: Vec<Factor>,
}

impl RationalModel {
    /// Numbers of poles and of zeros.
    pub fn orders(&self) -> (usize, usize) {
        let count = |f: &[Factor]| f.iter().map(Factor::count).sum();
        (count(&self.poles), count(&self.zeros))
    }

    /// Response at `f_hz`, delay included.
    pub fn at(&self, f_hz: f64) -> Complex64 {
        self.without_delay(f_hz) * Complex64::from_polar(1.0, -TAU * f_hz * self.delay_s)
    }

    /// Response at `f_hz`, the pure delay taken out.
    pub fn without_delay(&self, f_hz: f64) -> Complex64 {
        let s = Complex64::new(0.0, TAU * f_hz);
        let gain = Complex64::from(self.gain);
        let top = self.zeros.iter().fold(gain, |h, factor| h * factor.at(s));
        self.poles.iter().fold(top, |h, factor| h / factor.at(s))
    }

    /// Poles, rad/s.
    pub fn pole_places(&self) -> Vec<Complex64> {
        self.poles.iter().flat_map(Factor::roots).collect()
    }

    /// Zeros, rad/s.
    pub fn zero_places(&self) -> Vec<Complex64> {
        self.zeros.iter().flat_map(Factor::roots).collect()
    }
}
