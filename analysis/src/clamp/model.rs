//! Rotor and hub on springs: torque in the clamp over torque of the motor, on the rig and on an ideal clamp.

use realfft::num_complex::Complex64;
use serde::{Deserialize, Serialize};
use std::f64::consts::TAU;

use crate::estimate::Refusal;

/// A figure that is declared or measured elsewhere, with its standard uncertainty in the same unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Known {
    /// Best value.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
}

impl Known {
    /// A value with its standard uncertainty.
    pub fn new(value: f64, u: f64) -> Self {
        Self { value, u }
    }
}

/// Two masses and the rig's spring: rotor (seen from the rim), drive spring, hub with all that moves on the rig's side,
/// rig spring (sensor and fixture in series), ground. Friction is not in it, so it holds for the part of a motion in which
/// the drive slides or for drives whose friction is small beside the amplitude.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClampModel {
    /// Stiffness of sensor and fixture in series, N·m/rad.
    pub rig_stiffness: Known,
    /// Damping beside it, N·m·s/rad.
    pub rig_damping: Known,
    /// Inertia of hub, clamp and sensor on the drive's side of the rig's spring, kg·m².
    pub hub_inertia: Known,
    /// Stiffness of the drive from rotor to hub, N·m/rad.
    pub drive_stiffness: Known,
    /// Damping beside it, N·m·s/rad.
    pub drive_damping: Known,
    /// Inertia of the rotor as the rim sees it, kg·m².
    pub rotor_inertia: Known,
    /// Damping of the rotor against ground, N·m·s/rad.
    pub rotor_damping: Known,
}

/// Number of figures.
pub(crate) const FIGURES: usize = 7;

impl ClampModel {
    pub(crate) fn figures(&self) -> [Known; FIGURES] {
        [
            self.rig_stiffness,
            self.rig_damping,
            self.hub_inertia,
            self.drive_stiffness,
            self.drive_damping,
            self.rotor_inertia,
            self.rotor_damping,
        ]
    }

    /// Refuses figures that no system has.
    pub(crate) fn check(&self) -> Result<(), Refusal> {
        let names = [
            ("the rig's stiffness", "N.m/rad"),
            ("the rig's damping", "N.m.s/rad"),
            ("the hub's inertia", "kg.m2"),
            ("the drive's stiffness", "N.m/rad"),
            ("the drive's damping", "N.m.s/rad"),
            ("the rotor's inertia", "kg.m2"),
            ("the rotor's damping", "N.m.s/rad"),
        ];
        // Stiffness and rotor must be there; the hub may be massless, damping may be none.
        let above_zero = [true, false, false, true, false, true, false];
        for ((known, (what, unit)), above) in self.figures().into_iter().zip(names).zip(above_zero) {
            let bad = !known.value.is_finite() || known.value < 0.0 || (above && known.value <= 0.0);
            if bad || !known.u.is_finite() || known.u < 0.0 {
                return Err(Refusal::OutOfRange {
                    what: format!("{what} or its uncertainty"),
                    value: if bad { known.value } else { known.u },
                    low: 0.0,
                    high: f64::INFINITY,
                    unit: unit.into(),
                });
            }
        }
        Ok(())
    }

    /// Lowest mode that the rig has of itself: the hub on the rig's spring, Hz; infinite without a hub. What a tap on the
    /// clamped hub shows lies at or above it, for the drive's spring only stiffens the hub.
    pub fn rig_mode_hz(&self) -> f64 {
        (self.rig_stiffness.value / self.hub_inertia.value).sqrt() / TAU
    }

    /// Torque in the rig's spring over the motor's torque.
    pub fn on_the_rig(&self, f_hz: f64) -> Complex64 {
        on_the_rig(&self.figures().map(|k| k.value), f_hz)
    }

    /// Torque in the drive over the motor's torque with the hub held still.
    pub fn on_an_ideal_clamp(&self, f_hz: f64) -> Complex64 {
        on_an_ideal_clamp(&self.figures().map(|k| k.value), f_hz)
    }

    /// Ideal clamp over rig, and the standard uncertainties of its magnitude (relative) and phase (rad), by the figures'
    /// uncertainties taken as independent (JCGM 100, 5.1.2, slopes by central differences).
    pub fn correction(&self, f_hz: f64) -> (Complex64, f64, f64) {
        let known = self.figures();
        let values = known.map(|k| k.value);
        let ratio = |x: &[f64; FIGURES]| on_an_ideal_clamp(x, f_hz) / on_the_rig(x, f_hz);
        let c = ratio(&values);
        let (mut size, mut turn) = (0.0, 0.0);
        for (i, k) in known.iter().enumerate() {
            if k.u > 0.0 {
                // Where zero is near, the slope is taken on the side that exists.
                let (mut above, mut below) = (values, values);
                above[i] += 0.5 * k.u;
                below[i] = (below[i] - 0.5 * k.u).max(0.0);
                let width = above[i] - below[i];
                let shift = (ratio(&above) - ratio(&below)) / width * k.u / c;
                size += shift.re.powi(2);
                turn += shift.im.powi(2);
            }
        }
        (c, size.sqrt(), turn.sqrt())
    }
}

fn on_the_rig(x: &[f64; FIGURES], f_hz: f64) -> Complex64 {
    let s = Complex64::new(0.0, TAU * f_hz);
    let [kr, cr, hub, k, c, rotor, b] = *x;
    let (drive, rig) = (k + c * s, kr + cr * s);
    let a = rotor * s * s + b * s + drive;
    let h = hub * s * s + drive + rig;
    drive * rig / (a * h - drive * drive)
}

fn on_an_ideal_clamp(x: &[f64; FIGURES], f_hz: f64) -> Complex64 {
    let s = Complex64::new(0.0, TAU * f_hz);
    let [_, _, _, k, c, rotor, b] = *x;
    let drive = k + c * s;
    drive / (rotor * s * s + b * s + drive)
}
