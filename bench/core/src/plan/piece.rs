//! The smallest parts of a plan: one closed form each.

use crate::{
    excitation::{ChirpTorque, HalfSineTorque, ReversalTorque, TraceTorque, WaveTorque},
    units::s_from_us,
};

/// What a piece is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Role {
    /// The first torque of the run.
    Approach,
    /// Waiting, at zero or at a preload.
    Rest,
    /// On the way from one torque to another.
    Ramp,
    /// What the segment is for.
    Excitation,
    /// Zero torque long enough to check the sensor's zero.
    Zero,
}

/// The setpoint over a piece.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// One torque, N·m.
    Level(f64),
    /// From one torque to another at a steady rate.
    Ramp {
        /// Torque at the start of the piece, N·m.
        from_nm: f64,
        /// Torque at its end, N·m.
        to_nm: f64,
    },
    /// A chirp that starts with the piece.
    Chirp(ChirpTorque),
    /// A pulse that starts with the piece.
    HalfSine(HalfSineTorque),
    /// Periods of a wave, or the rise to them or the fall from them.
    Wave(WaveTorque),
    /// A loop of slow reversals that starts with the piece.
    Reversal(ReversalTorque),
    /// A trace that starts with the piece.
    Trace(TraceTorque),
}

/// A stretch of the time line with one role and one closed form.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// First tick.
    pub start_us: u64,
    /// First tick after it; above `start_us`.
    pub end_us: u64,
    /// 0 for the approach and the zero check before it, then the segments of the procedure counted from 1. The zero
    /// check after a segment belongs to it.
    pub segment: usize,
    /// Running number of the repeat within the segment, counted from 0 in the order of time.
    pub repeat: usize,
    /// What it is for.
    pub role: Role,
    /// The setpoint over it.
    pub shape: Shape,
}

impl Piece {
    /// The setpoint at a tick, N·m. Ticks before the piece count as its start, ticks after it as its end.
    pub fn setpoint_nm(&self, t_us: u64) -> f64 {
        let into_us = t_us.clamp(self.start_us, self.end_us) - self.start_us;
        match &self.shape {
            Shape::Level(torque_nm) => *torque_nm,
            Shape::Ramp { from_nm, to_nm } => {
                let part = into_us as f64 / (self.end_us - self.start_us) as f64;
                from_nm + (to_nm - from_nm) * part
            }
            Shape::Chirp(chirp) => chirp.at(s_from_us(into_us)),
            Shape::HalfSine(pulse) => pulse.at(s_from_us(into_us)),
            Shape::Wave(wave) => wave.at(into_us, self.end_us - self.start_us),
            Shape::Reversal(reversal) => reversal.at(s_from_us(into_us)),
            Shape::Trace(trace) => trace.at(into_us),
        }
    }

    /// Greatest setpoint over the piece either way, N·m (a bound for a chirp, reached where its taper has ended).
    pub fn peak_nm(&self) -> f64 {
        match &self.shape {
            Shape::Level(torque_nm) => torque_nm.abs(),
            Shape::Ramp { from_nm, to_nm } => from_nm.abs().max(to_nm.abs()),
            Shape::Chirp(chirp) => chirp.preload_nm.abs() + chirp.amplitude_nm.abs(),
            Shape::HalfSine(pulse) => pulse.preload_nm.abs() + pulse.amplitude_nm.abs(),
            Shape::Wave(wave) => wave.peak_nm(),
            Shape::Reversal(reversal) => reversal.preload_nm.abs() + reversal.amplitude_nm.abs(),
            Shape::Trace(trace) => trace.peak_nm(),
        }
    }
}
