//! The rig's clock as the host sees it.

use crate::time::HostNs;

/// Follows the rig's ticks by the arrival of samples. It is for scheduling and for noticing old samples only; what
/// was measured when is told by ticks alone.
#[derive(Debug, Clone, Copy, Default)]
pub struct RigClock {
    newest: Option<(u64, HostNs)>,
    /// Least of host time minus rig time seen so far, ns: the path with the least delay.
    least_offset_ns: Option<i128>,
}

impl RigClock {
    /// A sample of `tick` arrived at `now`.
    pub fn observe(&mut self, tick: u64, now: HostNs) {
        let offset = i128::from(now.0) - i128::from(tick) * 1_000;
        // The floor may rise by 200 ppm, so that a rig crystal that runs slow is not taken for growing delay.
        let floor = match (self.least_offset_ns, self.newest) {
            (Some(least), Some((_, then))) => least + i128::from(now.0.saturating_sub(then.0)) / 5_000,
            _ => offset,
        };
        self.least_offset_ns = Some(offset.min(floor));
        self.newest = Some((tick, now));
    }

    /// Newest tick seen.
    #[must_use]
    pub fn newest_tick(&self) -> Option<u64> {
        self.newest.map(|(tick, _)| tick)
    }

    /// When the newest sample arrived.
    #[must_use]
    pub fn last_arrival(&self) -> Option<HostNs> {
        self.newest.map(|(_, now)| now)
    }

    /// The rig's tick at `now`, as far as the least-delayed sample tells; never before the newest tick seen.
    #[must_use]
    pub fn tick_at(&self, now: HostNs) -> Option<u64> {
        let (newest, _) = self.newest?;
        let ns = i128::from(now.0) - self.least_offset_ns?;
        Some(u64::try_from(ns / 1_000).unwrap_or(0).max(newest))
    }

    /// How much later the newest sample arrived than the least-delayed one would have, in microseconds.
    #[must_use]
    pub fn delay_us(&self) -> u64 {
        match (self.newest, self.least_offset_ns) {
            (Some((tick, now)), Some(least)) => {
                let delay = i128::from(now.0) - i128::from(tick) * 1_000 - least;
                u64::try_from(delay / 1_000).unwrap_or(0)
            }
            _ => 0,
        }
    }

    /// Forgets everything, as after the rig rebooted.
    pub fn reset(&mut self) {
        *self = Self::default();
    }
}

#[cfg(test)]
mod tests {
    use super::RigClock;
    use crate::time::HostNs;

    #[test]
    fn a_late_sample_shows_as_delay_and_does_not_move_the_clock_back() {
        let mut clock = RigClock::default();
        clock.observe(1_000, HostNs(5_000_000));
        clock.observe(2_000, HostNs(6_000_000));
        assert_eq!(
            (clock.delay_us(), clock.tick_at(HostNs(6_500_000))),
            (0, Some(2_500))
        );
        clock.observe(3_000, HostNs(17_000_000)); // 10 ms late
        let late = clock.delay_us();
        assert!((9_990..=10_000).contains(&late), "{late}");
        let tick = clock.tick_at(HostNs(17_000_000)).unwrap();
        assert!((12_990..=13_000).contains(&tick), "{tick}");
    }

    #[test]
    fn a_slow_crystal_is_not_taken_for_growing_delay() {
        let mut clock = RigClock::default();
        for ms in 0..60_000_u64 {
            // The rig counts 100 ppm slow: 999,900 ticks a second.
            clock.observe(ms * 9_999 / 10, HostNs(ms * 1_000_000));
        }
        assert!(clock.delay_us() < 100, "{}", clock.delay_us());
    }
}
