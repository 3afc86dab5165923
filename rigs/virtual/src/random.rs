//! Seeded random numbers: one stream a purpose, so that adding a draw in one place moves no other.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use rand_distr::{Distribution, StandardNormal};

/// What a stream is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stream {
    /// Phase and rate of the wheelbase's clock, and anything else drawn once.
    Setup = 1,
    /// Jitter of the firmware.
    Firmware = 2,
    /// Noise of the torque sensor.
    TorqueNoise = 3,
    /// Noise of the motor's position sensor.
    PositionNoise = 4,
    /// Temperature and supply channels.
    SlowNoise = 5,
    /// Damage to bytes on the line.
    Line = 6,
    /// Boot ids and challenges of the controller.
    Controller = 7,
}

/// The generator of `stream` under `seed`.
pub fn generator(seed: u64, stream: Stream) -> ChaCha8Rng {
    let mut generator = ChaCha8Rng::seed_from_u64(seed);
    generator.set_stream(stream as u64);
    generator
}

/// A number in 0 (included) to 1 (excluded), 53 bits.
pub fn unit(generator: &mut ChaCha8Rng) -> f64 {
    (generator.next_u64() >> 11) as f64 * (1.0 / 9_007_199_254_740_992.0)
}

/// A standard normal number.
pub fn normal(generator: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(generator)
}
