//! The wall clock of the real-time side, and nothing else.

use std::time::{Duration, Instant};

/// Time since the rig was switched on.
#[derive(Debug, Clone, Copy)]
pub(super) struct WallClock {
    start: Instant,
    tick_at_start: u64,
}

impl WallClock {
    /// Starts now, with a rig that is at `tick`.
    #[allow(clippy::disallowed_methods)] // serving in real time is the one thing here that needs the time
    pub(super) fn start(tick: u64) -> Self {
        Self {
            start: Instant::now(),
            tick_at_start: tick,
        }
    }

    /// The tick that the rig should be at now.
    pub(super) fn tick(&self) -> u64 {
        let elapsed = self.start.elapsed().as_micros();
        self.tick_at_start
            .saturating_add(u64::try_from(elapsed).unwrap_or(u64::MAX))
    }

    /// From now to `tick`; nothing if that is past.
    pub(super) fn until(&self, tick: u64) -> Duration {
        Duration::from_micros(tick.saturating_sub(self.tick()))
    }
}
