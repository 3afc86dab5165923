//! The sample grid and the batch being gathered.

use rig_link::Width;
use rig_link::message::SamplesBuilder;

/// Longest time that a batch may take to fill, µs: the bench's reaction time contains it.
const BATCH_US: u32 = 1_000;

/// Sampling while it is on.
#[derive(Debug, Clone)]
pub(super) struct Sampling {
    pub(super) period_us: u32,
    pub(super) next_row: u64,
    pub(super) last_row: u64,
    pub(super) last_batch: u64,
    rows: usize,
    pub(super) builder: SamplesBuilder,
}

impl Sampling {
    /// A grid of multiples of the period, from the first one after `now` on.
    pub(super) fn new(period_us: u32, batch_rows: u8, now: u64) -> Self {
        let period = u64::from(period_us);
        let rows = u32::from(batch_rows).min(BATCH_US / period_us).max(1);
        Self {
            period_us,
            next_row: (now / period + 1) * period,
            last_row: now,
            last_batch: now,
            rows: rows as usize,
            builder: SamplesBuilder::new(period_us),
        }
    }

    /// The tick count has jumped by this.
    pub(super) fn shift(&mut self, by: i64) {
        for tick in [&mut self.next_row, &mut self.last_row, &mut self.last_batch] {
            *tick = tick.saturating_add_signed(by);
        }
    }

    /// Tick at which the batch being gathered will be full.
    pub(super) fn batch_full_at(&self) -> u64 {
        let missing = self.rows.saturating_sub(self.builder.rows()).max(1) as u64;
        self.next_row + (missing - 1) * u64::from(self.period_us)
    }

    /// Appends the row of `next_row`; `true` when the batch is to be sent now.
    pub(super) fn push(&mut self, widths: &[Width], counts: &[i32]) -> bool {
        let tick = self.next_row;
        self.next_row += u64::from(self.period_us);
        if self.builder.push(tick, widths, counts).is_ok() {
            self.last_row = tick;
        }
        self.builder.rows() >= self.rows
    }
}
