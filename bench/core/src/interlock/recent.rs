//! What the setpoint was over the last 20 to 40 ms: torque follows it with a delay.

/// Torque that is commanded may come this much later, ticks: dead time, update period and rise of wheelbases together
/// take 2 to 15 ms (common practice).
pub const DELAY_US: u64 = 20_000;

/// Least and greatest setpoint over a stretch of at least [`DELAY_US`] and at most twice that; allocates nothing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Recent {
    since: u64,
    now: [f64; 2],
    before: [f64; 2],
}

impl Default for Recent {
    fn default() -> Self {
        Self {
            since: 0,
            now: [0.0; 2],
            before: [0.0; 2],
        }
    }
}

impl Recent {
    /// Takes a setpoint; least and greatest so far, zero included.
    pub fn step(&mut self, tick: u64, setpoint_nm: f64) -> [f64; 2] {
        if tick.saturating_sub(self.since) >= DELAY_US || tick < self.since {
            self.before = self.now;
            self.now = [setpoint_nm; 2];
            self.since = tick;
        }
        let ([low, high], [low_before, high_before]) = (self.now, self.before);
        self.now = [low.min(setpoint_nm), high.max(setpoint_nm)];
        [
            low.min(setpoint_nm).min(low_before).min(0.0),
            high.max(setpoint_nm).max(high_before).max(0.0),
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_setpoint_counts_for_one_to_two_delays() {
        for period_us in [50, 250, 1_000, 7_000_u64] {
            let mut recent = Recent::default();
            let mut last = 0;
            for index in 0..40_000 / period_us * 4 {
                let tick = 1_000 + index * period_us;
                let [low, high] = recent.step(tick, if tick == 1_000 { -2.0 } else { 0.0 });
                assert!(high.abs() < 1e-12);
                if low < 0.0 {
                    last = tick - 1_000;
                }
            }
            assert!(
                last >= DELAY_US - period_us && last <= 2 * (DELAY_US + period_us),
                "{period_us}: {last}"
            );
        }
    }
}
