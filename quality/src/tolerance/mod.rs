//! Tolerance intervals: limits that hold a stated share of all units, with a stated probability.
//!
//! This is what limits are derived from, when a reference group says what is usual.

mod free;
mod normal;

pub use free::{FreeInterval, free_interval, least_count};
pub use normal::{one_sided_factor, tolerance_interval, two_sided_factor};

use serde::Serialize;

/// Which sides an interval bounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Sides {
    /// A lower and an upper limit, between which the share lies.
    Both,
    /// A lower limit alone.
    Lower,
    /// An upper limit alone.
    Upper,
}
