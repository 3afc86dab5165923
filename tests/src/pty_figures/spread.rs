//! How times scatter.

use serde_json::{Value, json};

/// Order statistics of times, in microseconds. Percentiles are nearest-rank: each is a time that was seen. With fewer
/// than 1,000 times p99.9 is the worst one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    /// How many times there are; at least one.
    pub count: usize,
    /// Median.
    pub p50_us: f64,
    /// 99 of 100 are no longer.
    pub p99_us: f64,
    /// 999 of 1,000 are no longer.
    pub p999_us: f64,
    /// The longest.
    pub worst_us: f64,
}

impl Spread {
    /// Of times in nanoseconds; `None` when there are none. A time below zero is one whose end was noted before its
    /// beginning, by another thread; it is kept.
    #[must_use]
    pub fn of(times_ns: impl IntoIterator<Item = i64>) -> Option<Self> {
        let mut sorted: Vec<i64> = times_ns.into_iter().collect();
        sorted.sort_unstable();
        let rank = |per_mille: usize| {
            let place = (sorted.len() * per_mille).div_ceil(1_000).max(1) - 1;
            sorted.get(place).map(|&ns| ns as f64 * 1e-3)
        };
        Some(Self {
            count: sorted.len(),
            p50_us: rank(500)?,
            p99_us: rank(990)?,
            p999_us: rank(999)?,
            worst_us: rank(1_000)?,
        })
    }

    /// As JSON.
    #[must_use]
    pub fn json(&self) -> Value {
        json!({
            "count": self.count,
            "p50_us": self.p50_us,
            "p99_us": self.p99_us,
            "p99_9_us": self.p999_us,
            "worst_us": self.worst_us,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::Spread;

    #[test]
    fn percentiles_are_ranks_counted_by_hand() {
        // 1 to 2,000 us, backwards: the nearest rank of p is the value 20 p itself.
        let spread = Spread::of((1..=2_000).rev().map(|us| us * 1_000)).unwrap();
        let got = [spread.p50_us, spread.p99_us, spread.p999_us, spread.worst_us];
        for (got, wanted) in got.into_iter().zip([1_000.0, 1_980.0, 1_998.0, 2_000.0]) {
            assert!((got - wanted).abs() < 1e-9, "{got} is not {wanted}");
        }
        assert_eq!(spread.count, 2_000);
        assert_eq!(Spread::of([]), None);
        let one = Spread::of([-2_000]).unwrap();
        assert!((one.p50_us + 2.0).abs() < 1e-9 && (one.worst_us + 2.0).abs() < 1e-9);
    }
}
