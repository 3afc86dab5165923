//! Temperature, current and supply: small 16-bit channels with white noise.

use rand_chacha::ChaCha8Rng;

use crate::random::normal;

/// One channel: `counts = round((value + noise)/scale)`, cut to 16 bits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SlowChannelParameters {
    /// Physical value of one count; above 0.
    pub scale: f64,
    /// Standard deviation of the noise, in the channel's unit; 0 or more.
    pub noise: f64,
}

/// Reads `value` through the channel.
pub fn slow_counts(parameters: SlowChannelParameters, value: f64, random: &mut ChaCha8Rng) -> i32 {
    let noise = if parameters.noise > 0.0 {
        parameters.noise * normal(random)
    } else {
        0.0
    };
    ((value + noise) / parameters.scale)
        .round()
        .clamp(-32_767.0, 32_767.0) as i32
}
