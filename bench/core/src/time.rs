//! The host's time, as an argument.

/// Nanoseconds of the host's monotonic clock since an instant that the caller chose.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct HostNs(pub u64);

impl HostNs {
    /// The end of time: a deadline that never comes.
    pub const NEVER: Self = Self(u64::MAX);

    /// This instant and `us` microseconds more.
    #[must_use]
    pub const fn plus_us(self, us: u64) -> Self {
        Self(self.0.saturating_add(us.saturating_mul(1_000)))
    }

    /// Microseconds from `earlier` to this instant; zero when it is not earlier.
    #[must_use]
    pub const fn us_since(self, earlier: Self) -> u64 {
        self.0.saturating_sub(earlier.0) / 1_000
    }

    /// Seconds from `earlier` to this instant; zero when it is not earlier.
    #[must_use]
    pub fn s_since(self, earlier: Self) -> f64 {
        self.0.saturating_sub(earlier.0) as f64 * 1e-9
    }
}
