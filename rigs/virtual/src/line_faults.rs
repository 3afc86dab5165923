//! Damage to bytes on the line: losses and flipped bits, seeded.

use rand_chacha::ChaCha8Rng;

use crate::random::{Stream, generator, unit};

/// A line that loses and flips.
#[derive(Debug, Clone)]
pub(crate) struct LineFaults {
    /// Probability that a byte is lost.
    pub(crate) lost: f64,
    /// Probability that one bit of a byte is flipped.
    pub(crate) flipped: f64,
    random: ChaCha8Rng,
}

impl LineFaults {
    pub(crate) fn new(seed: u64) -> Self {
        Self {
            lost: 0.0,
            flipped: 0.0,
            random: generator(seed, Stream::Line),
        }
    }

    /// Whether the line does anything to bytes.
    pub(crate) fn is_clean(&self) -> bool {
        self.lost <= 0.0 && self.flipped <= 0.0
    }

    /// What is left of `bytes` at the other end.
    pub(crate) fn pass(&mut self, bytes: &[u8]) -> Vec<u8> {
        let mut left = Vec::with_capacity(bytes.len());
        for &byte in bytes {
            if unit(&mut self.random) < self.lost {
                continue;
            }
            let flip = unit(&mut self.random) < self.flipped;
            let bit = if flip {
                1_u8 << ((unit(&mut self.random) * 8.0) as u8)
            } else {
                0
            };
            left.push(byte ^ bit);
        }
        left
    }
}
