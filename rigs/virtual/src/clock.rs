//! The rig controller's clock beside true time: exact until a fault makes it fast or slow.
//!
//! `local = local₀ + ⌊(true − true₀)·(1 + e)⌋`, both in µs; `e` is 0 for a sound clock. A reboot starts it from 0 again;
//! what is wrong with the crystal stays wrong.

/// Local time of the controller.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct LocalClock {
    true_tick: u64,
    local_tick: u64,
    /// How much it is fast, 1; nothing where it is right.
    error: Option<f64>,
}

impl LocalClock {
    /// A clock that is right, and starts with true time.
    pub(crate) const fn new() -> Self {
        Self {
            true_tick: 0,
            local_tick: 0,
            error: None,
        }
    }

    /// Local time at `true_tick`, which is not before the last change.
    pub(crate) fn local(&self, true_tick: u64) -> u64 {
        let since = true_tick.saturating_sub(self.true_tick);
        self.local_tick + self.stretched(since)
    }

    /// The first true tick at which local time is at least `local_tick`.
    pub(crate) fn true_at(&self, local_tick: u64) -> u64 {
        let ahead = local_tick.saturating_sub(self.local_tick);
        let Some(error) = self.error else {
            return self.true_tick.saturating_add(ahead);
        };
        let mut since = ((ahead as f64 / (1.0 + error)) as u64).saturating_sub(2);
        while self.stretched(since) < ahead && since < u64::MAX / 4 {
            since += 1;
        }
        self.true_tick.saturating_add(since)
    }

    /// From `true_tick` on the clock is fast by `error`.
    pub(crate) fn drift(&mut self, true_tick: u64, error: f64) {
        self.local_tick = self.local(true_tick);
        self.true_tick = true_tick;
        self.error = Some(error);
    }

    /// It counts from 0 at `true_tick`.
    pub(crate) fn restart(&mut self, true_tick: u64) {
        self.true_tick = true_tick;
        self.local_tick = 0;
    }

    fn stretched(&self, since: u64) -> u64 {
        self.error
            .map_or(since, |error| (since as f64 * (1.0 + error)) as u64)
    }
}

#[cfg(test)]
mod tests {
    use super::LocalClock;

    #[test]
    fn there_and_back() {
        for error in [0.0, 1e-6, -1e-6, 0.05, -0.05] {
            let mut clock = LocalClock::new();
            clock.drift(1_000, error);
            let mut before = 0;
            for tick in (1_000..200_000).step_by(37) {
                let local = clock.local(tick);
                assert!(local >= before);
                before = local;
                let back = clock.true_at(local);
                assert!(
                    back <= tick && clock.local(back) == local,
                    "{error}: {tick} {local} {back}"
                );
                let wanted = clock.true_at(local + 1);
                assert!(clock.local(wanted) > local && clock.local(wanted - 1) <= local);
            }
            let day = 86_400_000_000_u64;
            let exact = 1_000.0 + (day - 1_000) as f64 * (1.0 + error);
            assert!((clock.local(day) as f64 - exact).abs() <= 1.0);
            clock.restart(day);
            assert_eq!(clock.local(day), 0);
        }
    }

    #[test]
    fn never_stays_never() {
        let mut clock = LocalClock::new();
        assert_eq!(clock.true_at(u64::MAX), u64::MAX);
        clock.drift(5, 0.01);
        assert!(clock.true_at(u64::MAX) > u64::MAX / 8);
    }
}
