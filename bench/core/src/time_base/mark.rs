//! Marks, and what they come from. Times are whole nanoseconds of their own clock.

/// At `at_ns` of the host's clock the second clock was ahead by `offset_ns`, at most `half_ns` more or less.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark {
    /// Host clock, ns.
    pub at_ns: i64,
    /// Second clock less host clock, ns.
    pub offset_ns: i64,
    /// Bound of the offset's error either way, ns; above 0.
    pub half_ns: f64,
    /// What tells a good mark from a bad one of its kind: time on the way, ns, up to a constant.
    pub delay_ns: i64,
}

impl Mark {
    /// Whether both can be true of a clock that does not jump and is off by `rate` at most.
    #[must_use]
    pub fn agrees(&self, other: &Self, rate: f64) -> bool {
        let apart = (self.offset_ns - other.offset_ns) as f64;
        let elapsed = (self.at_ns - other.at_ns) as f64;
        libm::fabs(apart) <= self.half_ns + other.half_ns + rate * libm::fabs(elapsed)
    }
}

/// A question and its answer, each stamped on both sides.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RoundTrip {
    /// Host clock when the question left, ns.
    pub sent_ns: i64,
    /// Second clock when it was there, ns.
    pub received_ns: i64,
    /// Second clock when the answer left, ns; not before `received_ns`.
    pub answered_ns: i64,
    /// Host clock when the answer was there, ns; not before `sent_ns`.
    pub returned_ns: i64,
}

impl RoundTrip {
    /// Of a rig link's echo: host times in ns, the rig's in ticks (1 µs). What is beyond 292 years stops there.
    #[must_use]
    pub fn of_ticks(sent_ns: u64, [received, answered]: [u64; 2], returned_ns: u64) -> Self {
        let whole = |ns: u64| i64::try_from(ns).unwrap_or(i64::MAX);
        Self {
            sent_ns: whole(sent_ns),
            received_ns: whole(received.saturating_mul(1_000)),
            answered_ns: whole(answered.saturating_mul(1_000)),
            returned_ns: whole(returned_ns),
        }
    }

    /// Time on the way, both ways together, ns.
    #[must_use]
    pub const fn round_trip_ns(&self) -> i64 {
        (self.returned_ns - self.sent_ns) - (self.answered_ns - self.received_ns)
    }

    /// The mark: `((r2 − h1) + (r3 − h4)) / 2 ± round trip / 2`. `resolution_ns` is what one count of the second clock
    /// is worth: a stamp is too old by up to that. `None` for stamps that cannot be true.
    #[must_use]
    pub fn mark(&self, resolution_ns: u32) -> Option<Mark> {
        let way = self.round_trip_ns();
        let in_order = self.returned_ns >= self.sent_ns && self.answered_ns >= self.received_ns;
        // A turned-around time shorter than the resolution may come out as a way of nothing.
        if !in_order || way < -i64::from(resolution_ns) {
            return None;
        }
        let there = self.received_ns - self.sent_ns;
        let back = self.answered_ns - self.returned_ns;
        Some(Mark {
            at_ns: midpoint(self.sent_ns, self.returned_ns),
            offset_ns: midpoint(there, back),
            half_ns: 0.5 * way.max(0) as f64 + f64::from(resolution_ns),
            delay_ns: way,
        })
    }
}

/// Something that a device sent, known by its own count, and when it was there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OneWay {
    /// Second clock when it was sent, ns: count times period.
    pub sent_ns: i64,
    /// Host clock when it had arrived, ns.
    pub arrived_ns: i64,
}

impl OneWay {
    /// The mark of one that was on the way for `most_ns` at most. Only the least delayed of many is: what the
    /// [`super::filter`] keeps, its lower envelope.
    #[must_use]
    pub const fn mark(&self, most_ns: u32) -> Mark {
        let half = (most_ns / 2) as i64;
        let at_ns = self.arrived_ns - half;
        Mark {
            at_ns,
            offset_ns: self.sent_ns - at_ns,
            half_ns: 0.5 * most_ns as f64 + 1.0,
            delay_ns: self.arrived_ns - self.sent_ns,
        }
    }
}

const fn midpoint(a: i64, b: i64) -> i64 {
    a + (b - a) / 2
}

#[cfg(test)]
mod tests {
    use super::{OneWay, RoundTrip};

    #[test]
    fn the_protocols_own_example() {
        // PROTOCOL.md, chapter 13: offset −6.000000 s, round trip 0.000700 s, so ± 0.000350 s.
        let pair = RoundTrip {
            sent_ns: 10_000_000_000,
            received_ns: 4_000_350_000,
            answered_ns: 4_000_410_000,
            returned_ns: 10_000_760_000,
        };
        assert_eq!(pair.round_trip_ns(), 700_000);
        let mark = pair.mark(1_000).unwrap();
        assert_eq!((mark.offset_ns, mark.at_ns), (-6_000_000_000, 10_000_380_000));
        assert!((mark.half_ns - 351_000.0).abs() < 1e-6);
    }

    #[test]
    fn stamps_that_cannot_be_true_are_no_mark() {
        let good = RoundTrip {
            sent_ns: 0,
            received_ns: 50,
            answered_ns: 60,
            returned_ns: 100,
        };
        assert!(good.mark(1).is_some());
        let answered_first = RoundTrip {
            answered_ns: 40,
            ..good
        };
        let back_before_sent = RoundTrip {
            returned_ns: -1,
            ..good
        };
        let faster_than_nothing = RoundTrip {
            answered_ns: 250,
            ..good
        };
        for pair in [answered_first, back_before_sent, faster_than_nothing] {
            assert_eq!(pair.mark(1), None, "{pair:?}");
        }
    }

    #[test]
    fn a_one_way_stamp_covers_every_delay_allowed() {
        let stamp = OneWay {
            sent_ns: 5_000,
            arrived_ns: 9_000,
        };
        let mark = stamp.mark(1_000);
        // On the way for 0 to 1,000 ns: the host's clock was 8,000 to 9,000 when it was sent, so the offset −4,000 to −3,000.
        assert_eq!((mark.offset_ns, mark.at_ns), (-3_500, 8_500));
        assert!((mark.half_ns - 501.0).abs() < 1e-9);
    }
}
