//! The linear model of a unit on its rig: masses, springs, dampers and first-order lags; no friction but the viscous, no
//! gaps, no cogging, no limits.
//!
//! Seen from the motor the drivetrain is a ladder: each mass adds `J·s² + b·s`, each stage `D = k + c·s` stands in series,
//! `A' = D·A/(D + A)`, and passes on the share `D/(D + A)` of the angle. At the far end stands the sensor,
//! `S = k + c·s` to ground, or in series with the disc's `J·s²`. Then
//! `T_sensor/T_motor = S·Π D/(D + A) / A_motor`.
//!
//! In front of it: gain and flux, the firmware's hold (`sin(π·f·T_u)/(π·f·T_u)`) and smoothing, the current loop. The dead
//! time turns the phase only and is left to the latency.
//!
//! Where a measurement at a small amplitude disagrees, friction does it: bristles add stiffness to each mass, and a gap
//! takes some away.

use std::f64::consts::{PI, TAU};

use super::complex::Complex;
use crate::RigParameters;
use crate::plant::{FarSide, PlantParameters};

/// 3 dB as a factor.
const THREE_DB: f64 = 1.412_537_544_622_754_4;
/// Frequencies looked at, Hz.
const SPAN_HZ: [f64; 2] = [0.5, 5_000.0];

/// One mass of the chain with the stage behind it, seen from the motor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Link {
    pub(super) inertia_kg_m2: f64,
    pub(super) viscous: f64,
    /// Stiffness and damping of the stage to the next mass (for the last: of the sensor).
    pub(super) stiffness: f64,
    pub(super) damping: f64,
}

/// The linear model.
#[derive(Debug, Clone, PartialEq)]
pub struct LinearModel {
    gain: f64,
    hold_s: f64,
    smoothing: f64,
    pub(super) loop_hz: f64,
    /// From the motor to the hub.
    pub(super) chain: Vec<Link>,
    pub(super) disc_kg_m2: Option<f64>,
}

/// What the magnitude of the response shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bands {
    /// Mean gain at 1 to 5 Hz, 1: the reference of the others.
    pub gain: f64,
    /// Where the gain first leaves ±3 dB about the reference, Hz.
    pub flat_hz: f64,
    /// Where the gain falls below −3 dB for good, Hz.
    pub minus_3_db_hz: f64,
    /// Where it is largest, Hz.
    pub peak_hz: f64,
    /// How large it is there, over the reference, 1.
    pub peak: f64,
}

impl LinearModel {
    /// The model of a rig, cold.
    pub fn new(parameters: &RigParameters) -> Self {
        let plant = &parameters.plant;
        Self {
            gain: plant.torque.gain * cold_flux(plant),
            hold_s: plant.firmware.period_s,
            smoothing: if plant.firmware.smoothing_s > 0.0 {
                -(-plant.firmware.period_s / plant.firmware.smoothing_s).exp_m1()
            } else {
                1.0
            },
            loop_hz: plant.torque.loop_hz,
            chain: chain(plant),
            disc_kg_m2: match plant.mounting.far_side {
                FarSide::Disc { inertia_kg_m2 } => Some(inertia_kg_m2),
                FarSide::Ground { .. } | FarSide::Drive(_) => None,
            },
        }
    }

    /// Magnitude of the response from setpoint to torque through the sensor at `f_hz`, 1.
    pub fn gain(&self, f_hz: f64) -> f64 {
        let x = PI * f_hz * self.hold_s;
        let hold = if x.abs() < 1e-9 { 1.0 } else { (x.sin() / x).abs() };
        let turn = TAU * f_hz * self.hold_s;
        let left = 1.0 - self.smoothing;
        let smooth = self.smoothing / (1.0 - 2.0 * left * turn.cos() + left * left).sqrt();
        let control = 1.0 / (f_hz / self.loop_hz).hypot(1.0);
        let mechanics = self.mechanics(Complex::new(0.0, TAU * f_hz));
        self.gain * hold * smooth * control * mechanics.re.hypot(mechanics.im)
    }

    pub(super) fn mechanics(&self, s: Complex) -> Complex {
        let square = s * s;
        let mut passed = Complex::real(1.0);
        let mut behind: Option<Complex> = None;
        for link in self.chain.iter().rev() {
            let stage = Complex::real(link.stiffness) + s.scaled(link.damping);
            let reacting = match (behind, self.disc_kg_m2) {
                // The sensor: what it passes on is torque.
                (None, disc) => {
                    let sensor = disc.map_or(stage, |inertia| {
                        let disc = square.scaled(inertia);
                        stage * disc / (stage + disc)
                    });
                    passed = sensor;
                    sensor
                }
                (Some(behind), _) => {
                    passed = passed * (stage / (stage + behind));
                    stage * behind / (stage + behind)
                }
            };
            behind = Some(square.scaled(link.inertia_kg_m2) + s.scaled(link.viscous) + reacting);
        }
        behind.map_or(passed, |motor| passed / motor)
    }

    /// Gain, flat band, −3 dB and peak, by scanning in steps of 0.1 % and bisection.
    pub fn bands(&self) -> Bands {
        let reference = (1..=5).map(|f| self.gain(f64::from(f))).sum::<f64>() / 5.0;
        let relative = |f: f64| self.gain(f) / reference;
        let inside = |f: f64| (1.0 / THREE_DB..=THREE_DB).contains(&relative(f));
        let [low, high] = SPAN_HZ;
        let mut flat_hz = 5.0;
        while flat_hz < high && inside(flat_hz) {
            flat_hz *= 1.001;
        }
        let flat_hz = boundary(flat_hz / 1.001, flat_hz, inside);
        let mut end = high;
        while end > low && relative(end) < 1.0 / THREE_DB {
            end /= 1.001;
        }
        let minus_3_db_hz = boundary(end, end * 1.001, |f| relative(f) >= 1.0 / THREE_DB);
        let (mut peak_hz, mut f) = (low, low);
        while f < high {
            if relative(f) > relative(peak_hz) {
                peak_hz = f;
            }
            f *= 1.0001;
        }
        Bands {
            gain: reference,
            flat_hz,
            minus_3_db_hz,
            peak_hz,
            peak: relative(peak_hz),
        }
    }

    /// Undamped frequencies of the chain on its rig, Hz, the lowest first (0 when everything turns freely).
    pub fn modes_hz(&self) -> Vec<f64> {
        let mut masses: Vec<f64> = self.chain.iter().map(|link| link.inertia_kg_m2).collect();
        masses.extend(self.disc_kg_m2);
        let springs: Vec<f64> = self.chain.iter().map(|link| link.stiffness).collect();
        modes_hz(&masses, &springs)
    }

    /// The modes with the motor held still, Hz: where the motor's side does not move whatever pushes it.
    pub fn antiresonances_hz(&self) -> Vec<f64> {
        let mut masses: Vec<f64> = self.chain.iter().skip(1).map(|link| link.inertia_kg_m2).collect();
        masses.extend(self.disc_kg_m2);
        masses.reverse();
        let mut springs: Vec<f64> = self.chain.iter().map(|link| link.stiffness).collect();
        // With ground at the far end the chain hangs between two walls; what is told is for a rim that is free.
        if self.disc_kg_m2.is_none() {
            springs.pop();
        }
        springs.reverse();
        modes_hz(&masses, &springs)
    }

    /// The same with the hub held still: an ideal clamp.
    pub fn modes_on_ideal_clamp_hz(&self) -> Vec<f64> {
        let before = self.chain.len().saturating_sub(1);
        let links = self.chain.get(..before).unwrap_or_default();
        let masses: Vec<f64> = links.iter().map(|link| link.inertia_kg_m2).collect();
        let springs: Vec<f64> = links.iter().map(|link| link.stiffness).collect();
        modes_hz(&masses, &springs)
    }
}

/// Flux at ambient temperature over its value at 20 °C.
pub(super) fn cold_flux(plant: &PlantParameters) -> f64 {
    1.0 - plant.motor.flux_loss_per_k * (plant.heat.ambient_degc - 20.0)
}

fn chain(plant: &PlantParameters) -> Vec<Link> {
    let sensor = &plant.mounting;
    let motor = |stage: &crate::plant::DriveParameters| Link {
        inertia_kg_m2: plant.reflected_kg_m2(),
        viscous: plant.motor_friction.viscous_nm_s_per_rad,
        stiffness: stage.stiffness_nm_per_rad,
        damping: stage.damping_nm_s_per_rad,
    };
    let mut chain = Vec::new();
    match &plant.gear {
        None => chain.push(motor(&plant.drive)),
        Some(gear) => {
            chain.push(motor(&gear.mesh));
            chain.push(Link {
                inertia_kg_m2: gear.shaft_kg_m2,
                viscous: gear.shaft_viscous_nm_s_per_rad,
                stiffness: plant.drive.stiffness_nm_per_rad,
                damping: plant.drive.damping_nm_s_per_rad,
            });
        }
    }
    chain.push(Link {
        inertia_kg_m2: plant.hub_kg_m2,
        viscous: plant.output_friction.viscous_nm_s_per_rad,
        stiffness: sensor.stiffness_nm_per_rad(),
        damping: sensor.damping_nm_s_per_rad,
    });
    chain
}

/// Where `holds` ends between `yes` (where it holds) and `no`.
pub(super) fn boundary(mut yes: f64, mut no: f64, holds: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..60 {
        let middle = 0.5 * (yes + no);
        if holds(middle) {
            yes = middle;
        } else {
            no = middle;
        }
    }
    0.5 * (yes + no)
}

/// Frequencies of a chain of masses, spring i between mass i and the next one or, where there is none, ground. By
/// Sturm's count: as many modes lie below ω as the factorisation of K − ω²·M has negative pivots.
fn modes_hz(masses: &[f64], springs: &[f64]) -> Vec<f64> {
    let below = |hz: f64| {
        let w2 = (TAU * hz) * (TAU * hz);
        let (mut count, mut pivot, mut before) = (0_usize, 0.0, 0.0);
        for (index, mass) in masses.iter().enumerate() {
            let after = springs.get(index).copied().unwrap_or(0.0);
            let coupling = if index == 0 { 0.0 } else { before * before / pivot };
            pivot = before + after - w2 * mass - coupling;
            count += usize::from(pivot < 0.0);
            before = after;
        }
        count
    };
    (1..=masses.len())
        .map(|number| {
            let hz = boundary(0.0, 100_000.0, |hz| below(hz) < number);
            // Turning as one comes out as a rounding error.
            if hz < 1e-3 { 0.0 } else { hz }
        })
        .collect()
}
