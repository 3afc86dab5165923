//! Channels at rest.

use bench_core::channels::SampleRow;
use rig_link::MAX_CHANNELS;

/// Rows in a piece: what wanders more slowly than this is no part of how rough noise is.
const PIECE: f64 = 8.0;

/// Running mean and sum of squares about it (Welford 1962).
#[derive(Debug, Clone, Copy, Default)]
struct Moments {
    count: f64,
    mean: f64,
    squares: f64,
}

impl Moments {
    fn take(&mut self, value: f64) {
        self.count += 1.0;
        let from_mean = value - self.mean;
        self.mean += from_mean / self.count;
        self.squares += from_mean * (value - self.mean);
    }
}

/// One channel's counts, as they came.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    all: Moments,
    piece: Moments,
    last: f64,
    /// Of whole pieces: squares about each one's own mean, their degrees of freedom, squares of steps, their number.
    within: [f64; 2],
    steps: [f64; 2],
    piece_steps: f64,
}

impl Sums {
    fn take(&mut self, value: f64) {
        self.all.take(value);
        if self.piece.count > 0.0 {
            self.piece_steps += (value - self.last) * (value - self.last);
        }
        self.last = value;
        self.piece.take(value);
        if self.piece.count >= PIECE {
            let add = |sum: &mut [f64; 2], squares| *sum = [sum[0] + squares, sum[1] + PIECE - 1.0];
            add(&mut self.within, self.piece.squares);
            add(&mut self.steps, self.piece_steps);
            (self.piece, self.piece_steps) = (Moments::default(), 0.0);
        }
    }

    fn whiteness(&self) -> Option<f64> {
        let variance = self.within[0] / self.within[1];
        (variance > 0.0).then(|| self.steps[0] / self.steps[1] / (2.0 * variance))
    }
}

/// What a channel does at rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AtRest {
    /// Mean, counts.
    pub mean: f64,
    /// Standard deviation, counts.
    pub sd: f64,
    /// Mean square of successive differences over twice the variance (von Neumann 1941), in pieces of 8 rows each about its own mean: 1
    /// for noise that is white up to half the sample rate, near 0 for what a filter has smoothed. `None` where nothing moves.
    pub whiteness: Option<f64>,
}

/// Follows all channels.
#[derive(Debug, Clone, Default)]
pub struct Noise {
    channels: [Sums; MAX_CHANNELS],
    first: Option<u64>,
    last: u64,
    rows: u64,
}

impl Noise {
    pub(crate) fn row(&mut self, row: &SampleRow) {
        self.first.get_or_insert(row.tick);
        self.last = row.tick;
        self.rows += 1;
        for (sums, &count) in self.channels.iter_mut().zip(&row.counts) {
            sums.take(f64::from(count));
        }
    }

    /// A channel at rest; `None` before there are two rows.
    #[must_use]
    pub fn channel(&self, place: usize) -> Option<AtRest> {
        let sums = self.channels.get(place).filter(|sums| sums.all.count >= 2.0)?;
        Some(AtRest {
            mean: sums.all.mean,
            sd: (sums.all.squares / (sums.all.count - 1.0)).sqrt(),
            whiteness: sums.whiteness(),
        })
    }

    /// Rows a second by the rig's own clock, missing ones not counted.
    #[must_use]
    pub fn rate_hz(&self) -> Option<f64> {
        let span = self.last - self.first?;
        (self.rows >= 2 && span > 0).then(|| (self.rows - 1) as f64 / (span as f64 * rig_link::TICK_S))
    }
}

#[cfg(test)]
mod tests {
    use super::Sums;
    use rand_chacha::ChaCha8Rng;
    use rand_chacha::rand_core::{Rng, SeedableRng};

    /// White numbers (rectangular), each the mean of `smooth` successive ones, on something that wanders by sixty times as much.
    fn whiteness(smooth: usize, seed: u64) -> f64 {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let white: Vec<f64> = (0..8_000).map(|_| f64::from(random.next_u32()) / 4e9).collect();
        let mut sums = Sums::default();
        for (row, some) in white.windows(smooth).enumerate() {
            let wander = 50.0 * (row as f64 / 20_000.0).sin();
            sums.take(some.iter().sum::<f64>() / smooth as f64 + wander);
        }
        sums.whiteness().unwrap()
    }

    #[test]
    fn how_rough_noise_is_does_not_hang_on_what_wanders() {
        for seed in 0..5 {
            // Mean of k: autocorrelation 1 − l/k after l rows; variance about the mean of 8 in closed form from it (von Neumann 1941).
            for (smooth, expected) in [(1, 1.0), (2, 0.571_43), (4, 0.378_38)] {
                let found = whiteness(smooth, seed);
                assert!((found - expected).abs() < 0.06 * expected, "{smooth}: {found}");
            }
        }
        let mut still = Sums::default();
        (0..100).for_each(|_| still.take(7.0));
        assert_eq!(still.whiteness(), None);
        assert_eq!(Sums::default().whiteness(), None);
    }
}
