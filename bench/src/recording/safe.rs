//! What of a recording under way is safe, for whoever hands samples over.

use std::sync::atomic::{AtomicU64, Ordering};

/// How far the writer's last flush that succeeded reaches. Shared, and never waited for.
#[derive(Debug, Default)]
pub struct Safe {
    rows: AtomicU64,
    /// Tick after the last safe row; 0 while there is none.
    end_tick: AtomicU64,
    /// Greatest distance seen, ticks.
    behind_ticks: AtomicU64,
}

impl Safe {
    /// Rows that are safely in the file.
    pub fn rows(&self) -> u64 {
        self.rows.load(Ordering::Acquire)
    }

    /// Where the safe rows end: the tick of the last one plus a sample period; 0 while there is none.
    pub fn end_tick(&self) -> u64 {
        self.end_tick.load(Ordering::Acquire)
    }

    /// Tells that a sample of `tick` was just taken, so that the greatest distance between what is taken and what is
    /// safe can be stored with the recording. Only of use where the rig's time is the host's; `first_tick` counts as
    /// safe while nothing is.
    pub fn taken(&self, tick: u64, first_tick: u64) {
        let behind = tick.saturating_sub(self.end_tick().max(first_tick));
        self.behind_ticks.fetch_max(behind, Ordering::Relaxed);
    }

    /// Greatest distance told, ticks; `None` if nothing was.
    pub(super) fn behind_ticks(&self) -> Option<u64> {
        Some(self.behind_ticks.load(Ordering::Relaxed)).filter(|ticks| *ticks > 0)
    }

    pub(super) fn reaches(&self, rows: u64, end_tick: u64) {
        self.end_tick.store(end_tick, Ordering::Release);
        self.rows.store(rows, Ordering::Release);
    }
}
