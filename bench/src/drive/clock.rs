//! The host's clocks. No other file of the bench reads one.

use std::time::{Duration, Instant};

use bench_core::time::HostNs;

/// A monotonic clock that began when it was made.
#[derive(Debug, Clone, Copy)]
pub struct HostClock {
    start: Instant,
}

impl HostClock {
    /// Begins at zero.
    #[must_use]
    #[allow(clippy::disallowed_methods)] // this file is where time enters
    pub fn start() -> Self {
        Self { start: Instant::now() }
    }

    /// Time since the beginning.
    #[must_use]
    #[allow(clippy::disallowed_methods)] // this file is where time enters
    pub fn now(&self) -> HostNs {
        HostNs(u64::try_from(Instant::now().duration_since(self.start).as_nanos()).unwrap_or(u64::MAX))
    }
}

/// Time from `now` until `until`; zero when it has come.
#[must_use]
pub fn remaining(now: HostNs, until: HostNs) -> Duration {
    Duration::from_nanos(until.0.saturating_sub(now.0))
}

/// Date and time of day with the zone's offset, RFC 3339, for provenance only.
#[must_use]
pub fn wall_clock() -> String {
    jiff::ZonedDateTime::now().strftime("%Y-%m-%dT%H:%M:%S%:z").to_string()
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
