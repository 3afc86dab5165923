//! The host's clocks. No other file of the bench reads one.

use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use bench_core::time::HostNs;

/// A monotonic clock that counts from 1970, as far as the system's calendar was right when it was made. So what it
/// stamps rises from one program to the next too: a rig that tripped under an earlier one takes a keep-alive as a sign
/// of life only with a stamp above all before.
#[derive(Debug, Clone, Copy)]
pub struct HostClock {
    start: Instant,
    start_ns: u64,
}

impl HostClock {
    /// Begins now.
    #[must_use]
    #[allow(clippy::disallowed_methods)] // this file is where time enters
    pub fn start() -> Self {
        let since_1970 = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
        Self {
            start: Instant::now(),
            start_ns: u64::try_from(since_1970.as_nanos()).unwrap_or(0),
        }
    }

    /// Time since 1970.
    #[must_use]
    #[allow(clippy::disallowed_methods)] // this file is where time enters
    pub fn now(&self) -> HostNs {
        let elapsed_ns =
            u64::try_from(Instant::now().duration_since(self.start).as_nanos()).unwrap_or(u64::MAX);
        HostNs(self.start_ns.saturating_add(elapsed_ns))
    }
}

/// Time from `now` until `until`; zero when it has come.
#[must_use]
pub fn remaining(now: HostNs, until: HostNs) -> Duration {
    Duration::from_nanos(until.0.saturating_sub(now.0))
}

/// Waits for `at_most`, or until somebody wakes this thread.
pub fn rest(at_most: Duration) {
    std::thread::park_timeout(at_most);
}

/// Date and time of day with the zone's offset, RFC 3339, for provenance only.
#[must_use]
pub fn wall_clock() -> String {
    jiff::ZonedDateTime::now()
        .strftime("%Y-%m-%dT%H:%M:%S%:z")
        .to_string()
}

/// Date and time of day as part of a file name.
#[must_use]
pub fn wall_clock_for_names() -> String {
    jiff::ZonedDateTime::now().strftime("%Y%m%d-%H%M%S").to_string()
}

/// Today, `YYYY-MM-DD`.
#[must_use]
pub fn today() -> String {
    jiff::ZonedDateTime::now().strftime("%Y-%m-%d").to_string()
}
