//! Warming: one or two bodies behind the current, what torque loses, and what can be held for good.
//!
//! The winding's rise is `Σ a x`, each body's `τ dx/dt = p − x`, with `p = i² (1 + α (ϑ − 20 °C))`: the loss in a copper winding over
//! its cold resistance, at the temperature measured, so that warming and cooling, long holds and duty cycles are all one linear
//! response. Two bodies in a row, winding and case, have two such constants, the roots of both heat balances.

mod bodies;
mod current_noise;
mod holds;

pub use bodies::{Warming, warming};
pub use holds::{Hold, derating, held, recovery, sustained};

/// Copper's temperature coefficient at 20 °C, 1/K (IEC 60034-1's rule `(235 + ϑ)`, from memory: 1/255).
pub const COPPER_PER_K: f64 = 0.00393;

/// Means over equal stretches of time, one behind the other; lists have one entry a stretch but for `square`.
#[derive(Debug, Clone, PartialEq)]
pub struct HeatRecord {
    /// Length of a stretch, s.
    pub step_s: f64,
    /// Temperature of the winding, °C.
    pub temperature_degc: Vec<f64>,
    /// Parts of a stretch, one or more. What begins early in a stretch warms for longer than what begins late: current is told more
    /// finely than temperature.
    pub parts: usize,
    /// Mean square of the current, A², or of what is proportional to it; one entry a part.
    pub square: Vec<f64>,
    /// Standard uncertainty of the mean current of a part by its noise, A, or of what is proportional to it; 0 where it has none.
    pub current_u_a: f64,
    /// Torque, N·m.
    pub torque_nm: Vec<f64>,
    /// Setpoint in force, N·m.
    pub command_nm: Vec<f64>,
}

impl Default for HeatRecord {
    /// Nothing, in stretches of a second of one part.
    fn default() -> Self {
        Self {
            step_s: 1.0,
            temperature_degc: Vec::new(),
            parts: 1,
            square: Vec::new(),
            current_u_a: 0.0,
            torque_nm: Vec::new(),
            command_nm: Vec::new(),
        }
    }
}

impl HeatRecord {
    /// Mean squares of the current in the parts of stretch `i`.
    fn squares(&self, i: usize) -> &[f64] {
        &self.square[i * self.parts..(i + 1) * self.parts]
    }

    /// Resistance over that at 20 °C in stretch `i`.
    fn copper(&self, i: usize) -> f64 {
        1.0 + COPPER_PER_K * (self.temperature_degc[i] - 20.0)
    }

    /// Root of the mean square of the current in stretch `i`.
    fn current(&self, i: usize) -> f64 {
        (self.squares(i).iter().sum::<f64>() / self.parts as f64).sqrt()
    }
}
