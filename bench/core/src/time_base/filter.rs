//! The least delayed of each group.

use super::Mark;

/// Keeps of every `size` marks the one that was on the way for the least time. RFC 5905, chapter 10, looks at the eight latest at
/// every step; here groups do not overlap, so that no mark counts twice in the line laid through them.
#[derive(Debug, Clone)]
pub struct LeastDelayed {
    size: usize,
    seen: usize,
    best: Option<Mark>,
}

impl LeastDelayed {
    /// Groups of `size` marks, at least 1.
    #[must_use]
    pub const fn new(size: usize) -> Self {
        Self {
            size: if size == 0 { 1 } else { size },
            seen: 0,
            best: None,
        }
    }

    /// Takes one; the best of the group when it is full.
    pub fn push(&mut self, mark: Mark) -> Option<Mark> {
        match &mut self.best {
            Some(best) if best.delay_ns <= mark.delay_ns => {}
            best => *best = Some(mark),
        }
        self.seen += 1;
        if self.seen < self.size {
            return None;
        }
        self.seen = 0;
        self.best.take()
    }

    /// The best of the group that is not full yet.
    #[must_use]
    pub const fn so_far(&self) -> Option<Mark> {
        self.best
    }
}

#[cfg(test)]
mod tests {
    use alloc::vec::Vec;

    use super::{LeastDelayed, Mark};

    fn mark(at_ns: i64, delay_ns: i64) -> Mark {
        Mark {
            at_ns,
            offset_ns: 0,
            half_ns: delay_ns as f64 / 2.0,
            delay_ns,
        }
    }

    #[test]
    fn of_each_group_the_least_delayed_is_kept_and_none_counts_twice() {
        let mut filter = LeastDelayed::new(3);
        let delays = [5, 2, 9, 7, 8, 6, 1];
        let kept: Vec<i64> = delays
            .iter()
            .enumerate()
            .filter_map(|(at, delay)| filter.push(mark(at as i64, *delay)))
            .map(|mark| mark.at_ns)
            .collect();
        assert_eq!(kept, [1, 5]); // delays 2 and 6
        assert_eq!(filter.so_far().unwrap().delay_ns, 1);
    }
}
