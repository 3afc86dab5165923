//! Damage to bytes on the line: losses, doubles, flipped bits, delays, cuts, and a line that is gone; seeded.

use std::collections::VecDeque;

use rand_chacha::ChaCha8Rng;

use crate::random::{Stream, generator, unit};

/// Most bytes that may be on their way in one direction; what comes on top of them is lost.
const ON_THE_WAY: usize = 1 << 20;

/// Frames end with this byte, which is nowhere else in them.
const DELIMITER: u8 = 0;

/// How many of `bytes` end in the middle of a frame: half of them, or one more where that would end with a frame.
fn middle_of_a_frame(bytes: &[u8]) -> usize {
    let half = bytes.len() / 2;
    match half.checked_sub(1).and_then(|last| bytes.get(last)) {
        Some(&DELIMITER) => half + 1,
        _ => half,
    }
}

/// Which way bytes go.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Way {
    /// To the controller.
    In,
    /// To the bench.
    Out,
}

/// Bytes of one direction that are still on their way, with the tick at which they arrive.
#[derive(Debug, Clone, Default)]
struct Delayed {
    pieces: VecDeque<(u64, Vec<u8>)>,
    bytes: usize,
}

/// A line that loses, doubles, flips, delays, cuts.
#[derive(Debug, Clone)]
pub(crate) struct LineFaults {
    /// Probability that a byte is lost.
    pub(crate) lost: f64,
    /// Probability that a byte is doubled.
    pub(crate) doubled: f64,
    /// Probability that one bit of a byte is flipped.
    pub(crate) flipped: f64,
    /// How late bytes are, ticks.
    pub(crate) delay_us: u64,
    /// Whether nothing gets through.
    pub(crate) gone: bool,
    /// Whether the next bytes are cut: in, out.
    cut: [bool; 2],
    delayed: [Delayed; 2],
    random: ChaCha8Rng,
}

impl LineFaults {
    pub(crate) fn new(seed: u64) -> Self {
        Self {
            lost: 0.0,
            doubled: 0.0,
            flipped: 0.0,
            delay_us: 0,
            gone: false,
            cut: [false; 2],
            delayed: [Delayed::default(), Delayed::default()],
            random: generator(seed, Stream::Line),
        }
    }

    /// The next bytes of either way end in the middle.
    pub(crate) fn cut_next(&mut self) {
        self.cut = [true; 2];
    }

    /// Whether the line does anything to bytes, and whether it still has some.
    pub(crate) fn is_clean(&self) -> bool {
        self.lost <= 0.0
            && self.doubled <= 0.0
            && self.flipped <= 0.0
            && self.delay_us == 0
            && !self.gone
            && self.cut == [false; 2]
            && !self.is_holding(Way::In)
            && !self.is_holding(Way::Out)
    }

    /// Whether bytes are on their way.
    pub(crate) fn is_holding(&self, way: Way) -> bool {
        !self.delayed[way as usize].pieces.is_empty()
    }

    /// Puts `bytes` on the line at tick `now`.
    pub(crate) fn send(&mut self, way: Way, bytes: &[u8], now: u64) {
        if self.gone || bytes.is_empty() {
            return;
        }
        let kept = if self.cut[way as usize] {
            self.cut[way as usize] = false;
            middle_of_a_frame(bytes)
        } else {
            bytes.len()
        };
        let left = self.damaged(bytes.get(..kept).unwrap_or(bytes));
        let delayed = &mut self.delayed[way as usize];
        if delayed.bytes + left.len() <= ON_THE_WAY {
            delayed.bytes += left.len();
            // A delay that shrinks does not let bytes overtake each other.
            let due = (now + self.delay_us).max(delayed.pieces.back().map_or(0, |(due, _)| *due));
            delayed.pieces.push_back((due, left));
        }
    }

    /// What has arrived at the other end by tick `now`.
    pub(crate) fn arrived(&mut self, way: Way, now: u64) -> Vec<u8> {
        let delayed = &mut self.delayed[way as usize];
        let mut arrived = Vec::new();
        while delayed.pieces.front().is_some_and(|(due, _)| *due <= now) {
            if let Some((_, piece)) = delayed.pieces.pop_front() {
                delayed.bytes -= piece.len();
                arrived.extend(piece);
            }
        }
        if self.gone { Vec::new() } else { arrived }
    }

    fn damaged(&mut self, bytes: &[u8]) -> Vec<u8> {
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
            if self.doubled > 0.0 && unit(&mut self.random) < self.doubled {
                left.push(byte ^ bit);
            }
        }
        left
    }
}

#[cfg(test)]
mod tests {
    use super::{DELIMITER, LineFaults, Way};

    #[test]
    fn a_cut_never_ends_with_a_whole_frame() {
        for frames in [&[5_usize][..], &[5, 5], &[3, 3, 3, 3], &[2, 9], &[9, 2], &[1, 1]] {
            let bytes: Vec<u8> = frames
                .iter()
                .flat_map(|&length| std::iter::repeat_n(7, length).chain([DELIMITER]))
                .collect();
            let mut line = LineFaults::new(1);
            line.cut_next();
            for way in [Way::In, Way::Out] {
                line.send(way, &bytes, 0);
                let first = line.arrived(way, 0);
                assert!(first.len() < bytes.len() && bytes.starts_with(&first));
                assert_ne!(first.last(), Some(&DELIMITER), "{frames:?}");
                line.send(way, &bytes, 0);
                assert_eq!(line.arrived(way, 0), bytes, "once");
            }
        }
    }
}
