//! What a firmware that polls and holds, and a drive whose torque cannot jump, do to a sine.
//!
//! The demand is a staircase: every period T it goes to the setpoint's latest value. The drive follows at no more than
//! its slew rate S, so a step of height h takes h/S. For a sine of amplitude A the steps have heights
//! `h = 2A sin(ωT/2) cos φ`, where φ is the phase half a period before the poll; each step is a ramp, whose transform is
//! `±S (1 - exp(-jω|h|/S)) / (jω)²`, and their mean over φ is the fundamental: the describing function (Gelb and Vander
//! Velde, Multiple-Input Describing Functions, 1968). Without a slew limit it is `sinc(f T)` and a delay of T/2.

use realfft::num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// Phases over which the mean is taken; the integrand is smooth but for |cos φ|.
const PHASES: u32 = 256;

/// A declared drive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Polled {
    /// Period of polling, s.
    pub(crate) period_s: f64,
    /// Amplitude of the sine, N·m.
    pub(crate) amplitude_nm: f64,
    /// Greatest rate of the torque, N·m/s; infinite for a drive that follows at once.
    pub(crate) slew_nm_per_s: f64,
}

impl Polled {
    /// Fundamental of the drive's demand over the sine, without the delay of half a period: 1 at low frequency. Holds up
    /// to [`Polled::f_max_hz`].
    pub(crate) fn response(&self, f_hz: f64) -> Complex64 {
        let x = PI * f_hz * self.period_s;
        if x < 1e-9 {
            return Complex64::from(1.0);
        }
        let omega = TAU * f_hz;
        let height = 2.0 * self.amplitude_nm * x.sin();
        let slowest_s = height / self.slew_nm_per_s;
        if omega * slowest_s < 1e-6 {
            return Complex64::from(x.sin() / x);
        }
        // The mean of cos φ · h · (transform of a ramp of unit height); by symmetry a quarter of a turn is enough for
        // its size, and the ramp's transform depends on |cos φ| alone.
        let mean: Complex64 = (0..PHASES)
            .map(|i| {
                let cos = (0.5 * PI * (f64::from(i) + 0.5) / f64::from(PHASES)).cos();
                let turn = omega * slowest_s * cos;
                // (1 - exp(-j turn)) / (j turn)
                let half = 0.5 * turn;
                let ramp = Complex64::from_polar(half.sin() / half, -half);
                2.0 * cos * cos * ramp
            })
            .sum::<Complex64>()
            / f64::from(PHASES);
        // Steps of total height 2A sin(x) cos φ, one a period, integrated: (2 sin x)/(ω T) = sinc.
        x.sin() / x * mean
    }

    /// Frequency up to which every step is done before the next poll, Hz: beyond it the drive is always behind.
    pub(crate) fn f_max_hz(&self) -> f64 {
        let share = self.slew_nm_per_s * self.period_s / (2.0 * self.amplitude_nm);
        let most = 0.5 / self.period_s;
        if share >= 1.0 {
            most
        } else {
            share.asin() / (PI * self.period_s)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against a staircase with ramps stepped in 1 µs and projected on the sine (numbers of
    /// `tests/reference/analysis/polled.py`: gain over sinc, and extra delay in µs).
    #[test]
    fn against_a_simulated_drive() {
        let drive = Polled {
            period_s: 1e-3,
            amplitude_nm: 1.4,
            slew_nm_per_s: 2000.0,
        };
        for (f_hz, gain, delay_us) in REFERENCE {
            let n = drive.response(f_hz);
            let x = PI * f_hz * 1e-3;
            assert!(
                (n.norm() / (x.sin() / x) / gain - 1.0).abs() < 2e-4,
                "{f_hz}: {}",
                n.norm() / (x.sin() / x)
            );
            assert!(
                (-n.arg() / (TAU * f_hz) * 1e6 - delay_us).abs() < 0.5,
                "{f_hz}: {}",
                -n.arg() / (TAU * f_hz) * 1e6
            );
        }
    }

    #[test]
    fn a_fast_drive_only_holds() {
        let drive = Polled {
            period_s: 1e-3,
            amplitude_nm: 1.4,
            slew_nm_per_s: f64::INFINITY,
        };
        assert!((drive.response(250.0) - 0.900_316_316_157_106).norm() < 1e-12);
        assert!((drive.f_max_hz() - 500.0).abs() < 1e-9);
    }

    const REFERENCE: [(f64, f64, f64); 4] = [
        (13.0, 0.999_999, 24.26),
        (51.0, 0.999_821, 94.79),
        (153.0, 0.986_531, 274.55),
        (241.0, 0.927_718, 406.57),
    ];
}
