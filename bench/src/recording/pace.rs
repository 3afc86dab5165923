//! When what was taken is written: by time, whatever the sample rate.

use super::header::Header;

/// Longest stretch of time that waits in memory, s. With the gathering of a block before it and the writing after it,
/// what is safe stays within 0.25 s of what was taken.
const WAIT_S: f64 = 0.15;
/// Rows a chunk at least, so that slow recordings are not all index, and at most.
const CHUNK: std::ops::RangeInclusive<usize> = 64..=16_384;
/// Longest time between two requests to force the file to the disk, s.
const FORCE_S: f64 = 1.0;

/// The pace of one recording, in rows and ticks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Pace {
    /// Rows a chunk of the live file: a power of two that takes no longer than is waited for, so that a full chunk is
    /// written once and never again.
    pub(super) chunk_rows: usize,
    /// Ticks of samples after which is written what there is, the chunk full or not.
    wait_ticks: u64,
    /// Ticks between two requests to force the file to the disk.
    force_ticks: u64,
    /// Host time after which is written what there is, ns.
    wait_ns: i64,
}

impl Pace {
    pub(super) fn of(header: &Header) -> Self {
        let ticks = |s: f64| ((s / header.tick_s).floor() as u64).max(1);
        let rows = usize::try_from(ticks(WAIT_S) / u64::from(header.sample_period_ticks.max(1)));
        let rows = rows.unwrap_or(*CHUNK.end()).clamp(*CHUNK.start(), *CHUNK.end());
        Self {
            chunk_rows: 1 << rows.ilog2(),
            wait_ticks: ticks(WAIT_S),
            force_ticks: ticks(FORCE_S),
            wait_ns: (WAIT_S * 1e9) as i64,
        }
    }

    /// Of `waiting` rows behind `written`, how many to write now: whole chunks, or all if they span `span_ticks` and
    /// that is long enough.
    pub(super) fn due(&self, written: usize, waiting: usize, span_ticks: u64) -> usize {
        let to_boundary = self.chunk_rows - written % self.chunk_rows;
        if span_ticks >= self.wait_ticks && waiting < to_boundary {
            return waiting;
        }
        let Some(beyond) = waiting.checked_sub(to_boundary) else {
            return 0;
        };
        to_boundary + beyond / self.chunk_rows * self.chunk_rows
    }

    /// Whether lines that wait since `oldest_ns` are due at `now_ns`, both of the host's monotonic clock.
    pub(super) fn lines_due(&self, oldest_ns: i64, now_ns: i64) -> bool {
        now_ns.saturating_sub(oldest_ns) >= self.wait_ns
    }

    /// Whether the file is to be forced to the disk at `tick` if it last was at `before`.
    pub(super) fn force_due(&self, before: u64, tick: u64) -> bool {
        tick.saturating_sub(before) >= self.force_ticks
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pace(period_us: u32) -> Pace {
        Pace::of(&Header {
            sample_period_ticks: period_us,
            tick_s: 1e-6,
            ..Header::default()
        })
    }

    #[test]
    fn a_chunk_takes_no_longer_than_is_waited_for() {
        // 4,000, 20,000, 1,000 and 100 samples/s: 600, 3,000, 150 and 15 rows in 0.15 s.
        assert_eq!(
            [250, 50, 1_000, 10_000].map(|us| pace(us).chunk_rows),
            [512, 2_048, 128, 64]
        );
        assert_eq!(pace(u32::MAX).chunk_rows, 64);
        assert_eq!(pace(1).chunk_rows, 16_384);
    }

    #[test]
    fn whole_chunks_are_due_at_once_and_the_rest_when_it_has_waited() {
        let p = pace(250);
        assert_eq!(p.due(0, 511, 511 * 250), 0);
        assert_eq!(p.due(0, 512, 512 * 250), 512);
        assert_eq!(p.due(0, 1_500, 1_500 * 250), 1_024);
        assert_eq!(p.due(100, 412, 412 * 250), 412);
        assert_eq!(p.due(0, 3, 150_000), 3, "a gap ages what came before it");
        assert_eq!(p.due(0, 3, 149_999), 0);
        let slow = pace(10_000);
        assert_eq!(slow.due(0, 14, 14 * 10_000), 0);
        assert_eq!(slow.due(0, 15, 15 * 10_000), 15);
    }

    #[test]
    fn lines_wait_no_longer_than_samples() {
        assert!(!pace(250).lines_due(-5, 149_999_994));
        assert!(pace(250).lines_due(-5, 149_999_995));
        assert!(pace(250).lines_due(i64::MIN, i64::MAX));
    }
}
