//! The repeats and rests that every excitation has.

use settings_file::{Section, Time};

use crate::units::us_from_s;

/// Repeats, rests and dither of a segment.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Timing {
    /// How often the excitation is repeated.
    pub repeats: u32,
    /// Rest at zero before each repeat, µs.
    pub rest_us: u64,
    /// Rest at the preload before each repeat, µs; not used without a preload.
    pub settle_us: u64,
    /// Span over which the start of each repeat is shifted at random, µs. A start that keeps step with the firmware's
    /// update period would bias a latency by up to that period.
    pub dither_us: u64,
}

impl Timing {
    /// Reads `repeats`, `rest`, `settle` and `dither`; `settle` is `rest` and `dither` is nothing where left out.
    pub(crate) fn read(s: &Section<'_>) -> Self {
        let rest_s = s.quantity::<Time>("rest", 0.02..=600.0);
        Self {
            repeats: u32::try_from(s.integer("repeats", 1..=1000)).unwrap_or(1),
            rest_us: us_from_s(rest_s),
            settle_us: us_from_s(s.quantity_or::<Time>("settle", 0.02..=600.0, rest_s)),
            dither_us: us_from_s(s.quantity_or::<Time>("dither", 0.0..=0.1, 0.0)),
        }
    }
}
