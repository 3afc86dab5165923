//! The rig's clock against this computer's, from the echoes of keep-alives.
//!
//! Each echo bounds the offset between two certain numbers, whatever the delays were (`bench_core::run`, clock watch). The least delayed of
//! the first third of a check and the least delayed of its last third bound the rate: offset there less offset here, over the time between.

use bench_core::time_base::RoundTrip;

/// Half a tick, ns. Both of the rig's stamps are too old by up to one, which is the same for all and drops out of a rate, but for half.
const HALF_TICK_NS: u32 = 500;

/// How fast the rig's clock runs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rate {
    /// Parts per million; above 0 where the rig's clock is fast.
    pub ppm: f64,
    /// Bound of its error either way.
    pub bound_ppm: f64,
    /// Time between the echoes that it rests on, s.
    pub over_s: f64,
}

impl Rate {
    /// Least that the rates can differ by, parts per million.
    #[must_use]
    pub fn least_ppm(&self) -> f64 {
        (self.ppm.abs() - self.bound_ppm).max(0.0)
    }
}

/// The rate from round trips in their order; `None` where there are too few, or their ticks go back.
#[must_use]
pub fn rate(trips: &[RoundTrip]) -> Option<Rate> {
    let third = trips.len() / 3;
    let least = |some: &[RoundTrip]| {
        some.iter()
            .min_by_key(|trip| trip.returned_ns - trip.sent_ns)
            .copied()
    };
    let first = least(trips.get(..third)?)?;
    let last = least(trips.get(trips.len() - third..)?)?;
    let (then, now) = (first.mark(HALF_TICK_NS)?, last.mark(HALF_TICK_NS)?);
    let over_ns = (now.at_ns - then.at_ns) as f64;
    (over_ns > 0.0 && last.received_ns > first.answered_ns).then(|| Rate {
        ppm: (now.offset_ns - then.offset_ns) as f64 / over_ns * 1e6,
        bound_ppm: (now.half_ns + then.half_ns) / over_ns * 1e6,
        over_s: over_ns * 1e-9,
    })
}

#[cfg(test)]
mod tests {
    use super::{RoundTrip, rate};

    /// Echoes each 5 ms of a clock that is fast by `ppm`, each way between 0.1 and 1.1 ms, unequal.
    fn echoes(ppm: f64) -> Vec<RoundTrip> {
        let there_ns = |number: u64| 100_000 + (number * 7 % 11) * 100_000;
        let back_ns = |number: u64| 100_000 + (number * 5 % 13) * 80_000;
        let tick = |ns: u64| (7_000_000.0 + ns as f64 * 1e-3 * (1.0 + ppm * 1e-6)) as u64;
        let each = |number: u64| {
            let sent_ns = 1_000_000_000 + number * 5_000_000;
            let arrived_ns = sent_ns + there_ns(number);
            let ticks = [arrived_ns, arrived_ns + 20_000].map(tick);
            RoundTrip::of_ticks(sent_ns, ticks, arrived_ns + 20_000 + back_ns(number))
        };
        (0..200).map(each).collect()
    }

    #[test]
    fn the_truth_lies_within_the_bound_however_the_ways_divide() {
        for truth in [-5_000.0, -80.0, 0.0, 80.0, 5_000.0] {
            let found = rate(&echoes(truth)).unwrap();
            assert!(
                (found.ppm - truth).abs() <= found.bound_ppm,
                "{found:?} for {truth}"
            );
            // The least delayed round trips of this series take 0.3 to 0.6 ms, 0.7 s to 1 s apart.
            assert!(found.bound_ppm < 900.0 && found.over_s > 0.6, "{found:?}");
        }
        assert!(rate(&echoes(5_000.0)).unwrap().least_ppm() > 500.0);
    }

    #[test]
    fn too_few_echoes_and_ticks_that_go_back_have_no_rate() {
        assert_eq!(rate(&[]), None);
        assert_eq!(rate(&echoes(0.0)[..2]), None);
        let mut back = echoes(0.0);
        for echo in &mut back[100..] {
            echo.received_ns -= 7_000_000_000;
            echo.answered_ns -= 7_000_000_000;
        }
        assert_eq!(rate(&back), None);
    }
}
