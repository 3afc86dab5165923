//! Whether the rig's clock runs as fast as this computer's.
//!
//! Everything that is measured is told in the rig's ticks, and every setpoint is due at one: a clock that is off makes
//! each of them wrong. Each keep-alive with its echo bounds the offset θ = host clock − rig clock between two certain
//! numbers, whatever the delays were:
//!
//! ```text
//! sent − received there  ≤  θ  ≤  received back − sent back
//! ```
//!
//! If the rates differ by no more than [`LIMIT_PPM`], what was known of θ widens by so much a second and no more, and a
//! new echo must overlap it (interval intersection, as Marzullo 1984 does it with several clocks). Echoes that do not,
//! one after the other for [`SUSTAINED_US`], show a clock that drifts or jumped. Delays on the line can widen an echo's
//! interval but never shift it off the truth, so they are no alarm; the time is for a rig that was itself held up
//! between reading its clock and the line.

use crate::time::HostNs;

/// Greatest difference of the rates, parts per million: crystals keep 100 (common practice), hot and aged ones 200; ceramic
/// resonators and RC oscillators, off by 3,000 and more, are found out.
pub const LIMIT_PPM: f64 = 500.0;
/// For how long every echo must contradict what was known, µs.
const SUSTAINED_US: u64 = 100_000;
/// An echo of a keep-alive older than this is not looked at, µs.
const OLDEST_US: u64 = 1_000_000;

/// One keep-alive that came back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct RoundTrip {
    /// When it was written, as the rig sent it back.
    pub(super) sent: HostNs,
    /// When its echo arrived.
    pub(super) received: HostNs,
    /// Rig tick at which it arrived there.
    pub(super) rig_received: u64,
    /// Rig tick at which the echo was sent.
    pub(super) rig_sent: u64,
}

impl RoundTrip {
    /// Least and greatest offset, ns; `None` where the numbers cannot be those of an echo of this program.
    fn bounds(self) -> Option<Interval> {
        let age_us = self.received.0.checked_sub(self.sent.0)? / 1_000;
        if age_us > OLDEST_US || self.rig_sent < self.rig_received {
            return None;
        }
        // A tick is the microsecond that begins with it.
        let low = i128::from(self.sent.0) - (i128::from(self.rig_received) + 1) * 1_000;
        let high = i128::from(self.received.0) - i128::from(self.rig_sent) * 1_000;
        (low <= high).then_some(Interval { low, high })
    }
}

/// Bounds of an offset, ns.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Interval {
    low: i128,
    high: i128,
}

impl Interval {
    fn overlap(self, other: Self) -> Option<Self> {
        let (low, high) = (self.low.max(other.low), self.high.min(other.high));
        (low <= high).then_some(Self { low, high })
    }

    const fn wider(self, ns: i128) -> Self {
        Self {
            low: self.low - ns,
            high: self.high + ns,
        }
    }
}

/// What is known of the offset.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct ClockWatch {
    /// The first echo, for telling a rate.
    first: Option<(Interval, HostNs)>,
    known: Option<(Interval, HostNs)>,
    /// Since when every echo contradicts.
    astray_since: Option<HostNs>,
}

impl ClockWatch {
    /// Takes an echo. `Some(ppm)` when the clocks part: by how much at least the rig's differs on the average since the
    /// first echo, fast if positive.
    pub(super) fn look(&mut self, trip: RoundTrip) -> Option<f64> {
        let seen = trip.bounds()?;
        let now = trip.received;
        let (first, since) = *self.first.get_or_insert((seen, now));
        let expected = match self.known {
            Some((known, then)) => {
                known.wider((now.0.saturating_sub(then.0) as f64 * LIMIT_PPM * 1e-6) as i128)
            }
            None => seen,
        };
        if let Some(overlap) = expected.overlap(seen) {
            self.known = Some((overlap, now));
            self.astray_since = None;
            return None;
        }
        let astray_since = *self.astray_since.get_or_insert(now);
        if now.us_since(astray_since) < SUSTAINED_US {
            return None;
        }
        // A fast rig's offset falls.
        let least_ns = if seen.high < first.low {
            first.low - seen.high
        } else {
            first.high.min(seen.low) - seen.low
        };
        let elapsed_ns = now.0.saturating_sub(since.0).max(1);
        Some(least_ns as f64 / elapsed_ns as f64 * 1e6)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Echoes every 5 ms of a rig whose clock shows `ticks(host µs)`, there and back in `there` and `back` µs; when it is
    /// found out, and the rate.
    fn found(
        ticks: impl Fn(f64) -> f64,
        there: impl Fn(u64) -> f64,
        back: impl Fn(u64) -> f64,
    ) -> Option<(f64, f64)> {
        let mut watch = ClockWatch::default();
        (0..12_000_u64).find_map(|index| {
            let sent_us = 7e6 + index as f64 * 5_000.0;
            let at_rig_us = sent_us + there(index);
            let received_us = at_rig_us + 80.0 + back(index);
            let trip = RoundTrip {
                sent: HostNs((sent_us * 1e3) as u64),
                received: HostNs((received_us * 1e3) as u64),
                rig_received: ticks(at_rig_us) as u64,
                rig_sent: ticks(at_rig_us + 80.0) as u64,
            };
            watch.look(trip).map(|ppm| ((received_us - 7e6) * 1e-6, ppm))
        })
    }

    const fn scattered(index: u64, most: f64) -> f64 {
        let mixed = index.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 40;
        mixed as f64 / (1_u64 << 24) as f64 * most
    }

    #[test]
    fn crystals_on_a_line_that_delays_are_no_alarm() {
        for ppm in [-200.0, -30.0, 0.0, 100.0, 200.0, 450.0, -450.0] {
            let rate = 1.0 + ppm * 1e-6;
            let there = |index: u64| 300.0 + scattered(index, 9_000.0);
            let back =
                |index: u64| 200.0 + scattered(index + 77, if index % 50 < 10 { 14_000.0 } else { 900.0 });
            assert_eq!(found(|us| 3e6 + rate * us, there, back), None, "{ppm}");
        }
    }

    #[test]
    fn a_clock_that_drifts_is_found_once_it_has_left_the_round_trip_behind() {
        for ppm in [-50_000.0, -1_000.0, 1_000.0, 3_000.0, 50_000.0_f64] {
            let rate = 1.0 + ppm * 1e-6;
            let (t, seen) = found(|us| 3e6 + rate * us, |_| 500.0, |_| 500.0).unwrap();
            // It drifts by more than the round trip of 1.08 ms once (|ppm| − 500)·t exceeds it (closed form); then 0.1 s.
            let expected = 1.08e-3 / ((ppm.abs() - LIMIT_PPM) * 1e-6) + 0.1;
            assert!(
                (0.4 * expected..1.1 * expected + 0.01).contains(&t),
                "{ppm}: {t} of {expected}"
            );
            assert!(seen * ppm > 0.0, "{ppm}: {seen}");
            assert!(
                seen.abs() < 1.01 * ppm.abs() && seen.abs() > 0.2 * ppm.abs(),
                "{ppm}: {seen}"
            );
        }
    }

    #[test]
    fn a_jump_is_found_and_a_rig_that_was_held_up_for_a_moment_is_not() {
        let jump = |us: f64| if us < 9e6 { us } else { us + 3_000.0 };
        let (t, _) = found(jump, |_| 500.0, |_| 500.0).unwrap();
        assert!((2.09..2.12).contains(&t), "{t}");
        let held_up = |us: f64| {
            if (9e6..9.06e6).contains(&us) {
                us - 8_000.0
            } else {
                us
            }
        };
        assert_eq!(found(held_up, |_| 500.0, |_| 500.0), None);
    }

    #[test]
    fn an_echo_that_cannot_be_one_is_not_looked_at() {
        let mut watch = ClockWatch::default();
        let trip = RoundTrip {
            sent: HostNs(5_000_000),
            received: HostNs(6_000_000),
            rig_received: 1_000,
            rig_sent: 1_100,
        };
        assert_eq!(watch.look(trip), None);
        for wrong in [
            RoundTrip {
                sent: HostNs(u64::MAX),
                ..trip
            },
            RoundTrip { rig_sent: 0, ..trip },
            RoundTrip {
                received: HostNs(u64::MAX),
                ..trip
            },
            RoundTrip {
                rig_received: 0,
                rig_sent: u64::MAX,
                ..trip
            },
        ] {
            assert_eq!(wrong.bounds(), None, "{wrong:?}");
            assert_eq!(watch.look(wrong), None);
        }
        assert_eq!(watch.known, Some((trip.bounds().unwrap(), trip.received)));
    }
}
