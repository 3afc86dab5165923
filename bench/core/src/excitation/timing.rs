//! The repeats, rests and periods that excitations have.

use alloc::format;
use settings_file::{Section, Time, write_number};

use crate::{
    plan::{Against, SETPOINT_STRIDE_US},
    procedure::Placed,
    units::us_from_s,
};

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
        Self::counted(s, "repeats", 1000)
    }

    /// The same where repeats have another name and another most.
    pub(super) fn counted(s: &Section<'_>, count: &str, most: i64) -> Self {
        let rest_s = s.quantity::<Time>("rest", 0.02..=600.0);
        Self {
            repeats: u32::try_from(s.integer(count, 1..=most)).unwrap_or(1),
            rest_us: us_from_s(rest_s),
            settle_us: us_from_s(s.quantity_or::<Time>("settle", 0.02..=600.0, rest_s)),
            dither_us: us_from_s(s.quantity_or::<Time>("dither", 0.0..=0.1, 0.0)),
        }
    }
}

/// Periods of a periodic excitation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Periods {
    /// Whole periods of each repeat, one behind the other; at least 1.
    pub count: u32,
    /// The first so many, in which the rig is still settling; fewer than all.
    pub transient: u32,
}

impl Periods {
    /// Reads `periods` and `transient`; where that is left out, the first of several.
    pub(super) fn read(s: &Section<'_>) -> Self {
        let count = s.integer("periods", 1..=1000);
        let transient = s.integer_or("transient", 0..=999, i64::from(count > 1));
        if s.has("periods") && transient >= count {
            let allowed = Some(format!("at most {}", count - 1));
            s.report(
                "transient",
                "no period is left",
                allowed,
                "lower it, or raise `periods`",
            );
        }
        Self {
            count: u32::try_from(count).unwrap_or(1),
            transient: u32::try_from(transient).unwrap_or(0),
        }
    }
}

/// The shortest time that is both a whole number of setpoint strides and of sample periods, µs.
pub(super) fn common_us(sample_period_us: u32) -> u64 {
    let (mut a, mut b) = (SETPOINT_STRIDE_US, sample_period_us.max(1));
    while b > 0 {
        (a, b) = (b, a % b);
    }
    u64::from(SETPOINT_STRIDE_US) * u64::from(sample_period_us.max(1)) / u64::from(a)
}

/// Notes a finding unless a length is a whole number of setpoint strides and of sample periods: else the lines of a
/// period would leak into each other. Names the nearest length that fits.
pub(super) fn whole(against: &mut Against<'_>, length_us: &Placed<u64>, what: &str) {
    let common_us = common_us(against.procedure.sample_period_us.value);
    if length_us.value > 0 && length_us.value.is_multiple_of(common_us) {
        return;
    }
    let nearest_us = ((length_us.value + common_us / 2) / common_us).max(1) * common_us;
    let milliseconds = |us: u64| write_number(us as f64 / 1e3);
    let problem = format!(
        "{what} is no whole number of setpoint periods ({} ms) and sample periods ({} ms)",
        milliseconds(SETPOINT_STRIDE_US.into()),
        milliseconds(against.procedure.sample_period_us.value.into()),
    );
    let nearest = format!("{} ms", nearest_us as f64 / 1e3);
    let allowed = Some(format!(
        "multiples of {} ms, the nearest is {nearest}",
        milliseconds(common_us)
    ));
    against.finding(&length_us.place, problem, allowed, format!("write \"{nearest}\""));
}
