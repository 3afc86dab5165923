//! The weight of a sample in a running mean of first order, at any sample rate.

/// When the last sample came.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Pace {
    last_tick: Option<u64>,
}

impl Pace {
    /// No sample yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { last_tick: None }
    }

    /// Share of a new sample at `tick` in a mean with this time constant, ticks: `1 − exp(−Δt/τ)`, exact for a constant
    /// input; after a long gap the mean is the newest value. Nothing for the first sample and for ticks that go back.
    pub fn weight(&mut self, tick: u64, averaged_us: f64) -> f64 {
        let elapsed_us = self.last_tick.map_or(0, |last| tick.saturating_sub(last)) as f64;
        self.last_tick = Some(tick);
        1.0 - libm::exp(-elapsed_us / averaged_us)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_constant_is_followed_as_the_closed_form_says_at_every_rate() {
        for period_us in [50, 250, 1_000, 10_000_u64] {
            let (mut pace, mut mean) = (Pace::default(), 0.0);
            for tick in (0..=50_000).step_by(period_us as usize) {
                mean += pace.weight(tick, 20_000.0) * (1.0 - mean);
            }
            assert!(
                (mean - (1.0 - libm::exp(-2.5))).abs() < 1e-12,
                "{period_us}: {mean}"
            );
        }
        let mut pace = Pace::default();
        assert!(pace.weight(7, 1.0).abs() < 1e-15 && pace.weight(3, 1.0).abs() < 1e-15);
    }
}
