//! Allowed ranges, checked and put into words.

use alloc::{format, string::String};
use core::ops::{Bound, RangeBounds};

/// Every finite value.
pub fn any() -> (Bound<f64>, Bound<f64>) {
    (Bound::Unbounded, Bound::Unbounded)
}

/// Every finite value above zero.
pub fn positive() -> (Bound<f64>, Bound<f64>) {
    (Bound::Excluded(0.0), Bound::Unbounded)
}

/// A value to go on with after a finding: inside the range where it has one.
pub(crate) fn placeholder(range: &impl RangeBounds<f64>) -> f64 {
    match (range.start_bound(), range.end_bound()) {
        (Bound::Included(lo), _) => *lo,
        (_, Bound::Included(hi)) => *hi,
        (Bound::Excluded(lo), Bound::Excluded(hi)) => (lo + hi) / 2.0,
        (Bound::Excluded(lo), Bound::Unbounded) => lo + 1.0,
        (Bound::Unbounded, Bound::Excluded(hi)) => hi - 1.0,
        (Bound::Unbounded, Bound::Unbounded) => 0.0,
    }
}

/// The range in words, with bounds written by `show`; `None` where every value is allowed.
pub(crate) fn describe<T>(range: &impl RangeBounds<T>, show: impl Fn(&T) -> String) -> Option<String> {
    Some(match (range.start_bound(), range.end_bound()) {
        (Bound::Unbounded, Bound::Unbounded) => return None,
        (Bound::Included(lo), Bound::Included(hi)) => format!("{} to {}", show(lo), show(hi)),
        (Bound::Included(lo), Bound::Excluded(hi)) => format!("{} to below {}", show(lo), show(hi)),
        (Bound::Excluded(lo), Bound::Included(hi)) => format!("above {} to {}", show(lo), show(hi)),
        (Bound::Excluded(lo), Bound::Excluded(hi)) => format!("above {} and below {}", show(lo), show(hi)),
        (Bound::Included(lo), Bound::Unbounded) => format!("{} or more", show(lo)),
        (Bound::Excluded(lo), Bound::Unbounded) => format!("above {}", show(lo)),
        (Bound::Unbounded, Bound::Included(hi)) => format!("{} or less", show(hi)),
        (Bound::Unbounded, Bound::Excluded(hi)) => format!("below {}", show(hi)),
    })
}

/// Whether `value` lies beyond the upper end (and not below the lower one).
pub(crate) fn is_above<T: PartialOrd>(range: &impl RangeBounds<T>, value: &T) -> bool {
    match range.end_bound() {
        Bound::Included(hi) => value > hi,
        Bound::Excluded(hi) => value >= hi,
        Bound::Unbounded => false,
    }
}
