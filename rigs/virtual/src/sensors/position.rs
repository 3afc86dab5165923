//! Angle sensors: the rig's encoder at the rim and the wheelbase's own on the motor.

use std::f64::consts::TAU;

use rand_chacha::ChaCha8Rng;

use crate::random::normal;

/// The rig's encoder at the rim: `counts = floor((θ + e·sin(θ + φ))/step)`, exact edges; e is what an eccentric
/// coupling makes of it, once a turn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RimEncoderParameters {
    /// Counts a turn; 1 or more.
    pub counts_per_turn: u32,
    /// Amplitude e of the once-per-turn error, rad; 0 for none.
    pub run_out_rad: f64,
    /// Its phase φ at angle zero, rad.
    pub run_out_phase_rad: f64,
}

impl RimEncoderParameters {
    /// Angle of one count, rad.
    pub fn step_rad(&self) -> f64 {
        TAU / f64::from(self.counts_per_turn)
    }

    /// What the encoder gives at `angle_rad`; wraps at the ends of 32 bits.
    pub fn counts(&self, angle_rad: f64) -> i32 {
        let error = if self.run_out_rad > 0.0 {
            self.run_out_rad * (angle_rad + self.run_out_phase_rad).sin()
        } else {
            0.0
        };
        wrapped(((angle_rad + error) / self.step_rad()).floor())
    }
}

/// The wheelbase's position sensor. It reports the motor shaft's angle; the errors are given at the rim:
/// `counts = floor(N·(θ + a·sin(n·θ + φ) + noise)/step)` with θ the motor's angle at the rim.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MotorPositionParameters {
    /// Angle of one count on the motor shaft, rad; above 0.
    pub step_rad: f64,
    /// Motor turns per rim turn, 1.
    pub ratio: f64,
    /// Amplitude a of the periodic error, rad at the rim.
    pub error_rad: f64,
    /// Order n of the periodic error, cycles a rim turn.
    pub error_order: f64,
    /// Phase φ of the periodic error, rad.
    pub error_phase_rad: f64,
    /// Standard deviation of the noise, rad at the rim; 0 or more.
    pub noise_rad: f64,
}

/// The position sensor with its noise.
#[derive(Debug, Clone)]
pub struct MotorPosition {
    parameters: MotorPositionParameters,
    random: ChaCha8Rng,
}

impl MotorPosition {
    /// A sensor with its own noise.
    pub fn new(parameters: MotorPositionParameters, random: ChaCha8Rng) -> Self {
        Self { parameters, random }
    }

    /// What the sensor gives with the motor at `rim_angle_rad` (at the rim).
    pub fn counts(&mut self, rim_angle_rad: f64) -> i32 {
        let p = &self.parameters;
        let error = p.error_rad * (p.error_order * rim_angle_rad + p.error_phase_rad).sin();
        let noise = if p.noise_rad > 0.0 {
            p.noise_rad * normal(&mut self.random)
        } else {
            0.0
        };
        wrapped((p.ratio * (rim_angle_rad + error + noise) / p.step_rad).floor())
    }
}

/// The low 32 bits of a whole number, as a counter wraps.
fn wrapped(counts: f64) -> i32 {
    (counts as i64) as i32
}
