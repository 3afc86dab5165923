//! How late the loop that drives a run woke, counted in bins: no memory is asked for while it counts.

use serde::{Deserialize, Serialize};

/// Upper edges of the bins but the last, µs: a wake that is `e` late or more belongs to the bin behind `e`. Among them
/// the lateness beyond which an armed run trips, 15 ms, and the silence beyond which it does, 30 ms.
pub const EDGES_US: [u64; 10] = [50, 100, 200, 500, 1_000, 2_000, 5_000, 10_000, 15_000, 30_000];

/// Counts of wakes that came when their time had come, by how much later they were.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Lateness {
    /// Wakes in each bin; the last holds all that were as late as the last edge or later.
    pub bins: [u64; EDGES_US.len() + 1],
    /// The latest, µs.
    pub worst_us: u64,
}

impl Lateness {
    /// Counts one.
    pub fn add(&mut self, late_us: u64) {
        let bin = EDGES_US.partition_point(|&edge| edge <= late_us);
        if let Some(count) = self.bins.get_mut(bin) {
            *count += 1;
        }
        self.worst_us = self.worst_us.max(late_us);
    }

    /// How many there were.
    #[must_use]
    pub fn count(&self) -> u64 {
        self.bins.iter().sum()
    }

    /// Adds those of another run.
    pub fn merge(&mut self, other: &Self) {
        for (bin, more) in self.bins.iter_mut().zip(other.bins) {
            *bin += more;
        }
        self.worst_us = self.worst_us.max(other.worst_us);
    }
}

#[cfg(test)]
mod tests {
    use super::Lateness;

    #[test]
    fn edges_belong_to_the_bin_behind_them() {
        let mut lateness = Lateness::default();
        for late_us in [0, 49, 50, 99, 14_999, 15_000, 29_999, 30_000, 1_000_000] {
            lateness.add(late_us);
        }
        // Counted by hand.
        assert_eq!(lateness.bins, [2, 2, 0, 0, 0, 0, 0, 0, 1, 2, 2]);
        assert_eq!((lateness.count(), lateness.worst_us), (9, 1_000_000));
        let mut twice = lateness;
        twice.merge(&lateness);
        assert_eq!((twice.count(), twice.bins[0]), (18, 4));
    }
}
