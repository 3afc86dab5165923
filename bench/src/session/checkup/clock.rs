//! The rig's clock against this computer's, from the echoes of keep-alives.
//!
//! Each echo bounds the offset between two certain numbers, whatever the delays were (`bench_core::run`, clock watch). The least delayed of
//! the first third of a check and the least delayed of its last third bound the rate: offset there less offset here, over the time between.

/// A keep-alive and its echo.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Echo {
    /// This computer's clock when it was written, ns.
    pub sent_ns: u64,
    /// This computer's clock when its echo was read, ns.
    pub received_ns: u64,
    /// Rig tick at which the rig had it.
    pub rig_received_tick: u64,
    /// Rig tick at which the rig answered.
    pub rig_sent_tick: u64,
}

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

impl Echo {
    const fn way_ns(&self) -> u64 {
        self.received_ns.saturating_sub(self.sent_ns)
    }

    /// Middle and half width of what the rig's clock is ahead by, ns, and when, ns. A tick is the microsecond that begins with it.
    fn ahead(&self) -> (f64, f64, f64) {
        let ns = |tick: u64| tick as f64 * 1e3;
        let least = ns(self.rig_sent_tick) - self.received_ns as f64;
        let most = ns(self.rig_received_tick) + 1e3 - self.sent_ns as f64;
        let at_ns = 0.5 * (self.sent_ns as f64 + self.received_ns as f64);
        (0.5 * (least + most), 0.5 * (most - least), at_ns)
    }
}

/// The rate from echoes in their order; `None` where there are too few, or their ticks go back.
#[must_use]
pub fn rate(echoes: &[Echo]) -> Option<Rate> {
    let third = echoes.len() / 3;
    let least = |some: &[Echo]| some.iter().min_by_key(|echo| echo.way_ns()).copied();
    let first = least(echoes.get(..third)?)?;
    let last = least(echoes.get(echoes.len() - third..)?)?;
    let ((ahead_then, half_then, then), (ahead, half, now)) = (first.ahead(), last.ahead());
    let over_ns = now - then;
    (over_ns > 0.0 && last.rig_received_tick > first.rig_sent_tick).then(|| Rate {
        ppm: (ahead - ahead_then) / over_ns * 1e6,
        bound_ppm: (half + half_then) / over_ns * 1e6,
        over_s: over_ns * 1e-9,
    })
}

#[cfg(test)]
mod tests {
    use super::{Echo, rate};

    /// Echoes each 5 ms of a clock that is fast by `ppm`, each way between 0.1 and 1.1 ms, unequal.
    fn echoes(ppm: f64) -> Vec<Echo> {
        let there_ns = |number: u64| 100_000 + (number * 7 % 11) * 100_000;
        let back_ns = |number: u64| 100_000 + (number * 5 % 13) * 80_000;
        let tick = |ns: u64| (7_000_000.0 + ns as f64 * 1e-3 * (1.0 + ppm * 1e-6)) as u64;
        let each = |number: u64| {
            let sent_ns = 1_000_000_000 + number * 5_000_000;
            let arrived_ns = sent_ns + there_ns(number);
            Echo {
                sent_ns,
                received_ns: arrived_ns + 20_000 + back_ns(number),
                rig_received_tick: tick(arrived_ns),
                rig_sent_tick: tick(arrived_ns + 20_000),
            }
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
            echo.rig_received_tick -= 7_000_000;
            echo.rig_sent_tick -= 7_000_000;
        }
        assert_eq!(rate(&back), None);
    }
}
