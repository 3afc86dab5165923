//! Channels at rest.

use bench_core::channels::SampleRow;
use rig_link::MAX_CHANNELS;

/// One channel's counts, as they came.
#[derive(Debug, Clone, Copy, Default)]
struct Sums {
    count: f64,
    mean: f64,
    squares: f64,
    last: f64,
    steps: f64,
}

/// What a channel does at rest.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AtRest {
    /// Mean, counts.
    pub mean: f64,
    /// Standard deviation, counts.
    pub sd: f64,
    /// Mean square of successive differences over twice the variance (von Neumann 1941): 1 for noise that is white up to half the
    /// sample rate, near 0 for what a filter has smoothed or what wanders. `None` where nothing moves.
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
            let value = f64::from(count);
            if sums.count > 0.0 {
                sums.steps += (value - sums.last) * (value - sums.last);
            }
            sums.last = value;
            sums.count += 1.0;
            let from_mean = value - sums.mean;
            sums.mean += from_mean / sums.count;
            sums.squares += from_mean * (value - sums.mean);
        }
    }

    /// A channel at rest; `None` before there are two rows.
    #[must_use]
    pub fn channel(&self, place: usize) -> Option<AtRest> {
        let sums = self.channels.get(place).filter(|sums| sums.count >= 2.0)?;
        let variance = sums.squares / (sums.count - 1.0);
        Some(AtRest {
            mean: sums.mean,
            sd: variance.sqrt(),
            whiteness: (variance > 0.0).then(|| sums.steps / (sums.count - 1.0) / (2.0 * variance)),
        })
    }

    /// Rows a second by the rig's own clock, missing ones not counted.
    #[must_use]
    pub fn rate_hz(&self) -> Option<f64> {
        let span = self.last - self.first?;
        (self.rows >= 2 && span > 0).then(|| (self.rows - 1) as f64 / (span as f64 * rig_link::TICK_S))
    }
}
