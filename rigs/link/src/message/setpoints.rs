//! Setpoints, streamed ahead.

use super::Payload;
use crate::MAX_SETPOINTS;
use crate::bytes::{Reader, Writer};

/// Why setpoints do not make a message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SetpointsError {
    /// None, or more than [`MAX_SETPOINTS`].
    Count(usize),
    /// More than one setpoint and no time between them.
    Period,
}

impl core::fmt::Display for SetpointsError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Count(count) => write!(
                f,
                "{count} setpoints in one message; 1 to {MAX_SETPOINTS} are allowed"
            ),
            Self::Period => write!(f, "several setpoints need a period of at least 1 us between them"),
        }
    }
}

impl core::error::Error for SetpointsError {}

/// Setpoints in counts: the first comes into force at `first_tick`, each next one `period_us` later. Each stays in
/// force until the next, from this message or a later one, or until it expires.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Setpoints {
    first_tick: u64,
    period_us: u32,
    ends: bool,
    count: u8,
    values: [i16; MAX_SETPOINTS],
}

impl Setpoints {
    /// `ends` says that nothing follows: the last value must then be zero (the rig refuses another), and stays in
    /// force without expiring.
    ///
    /// # Errors
    /// [`SetpointsError`] when there are none or too many, or when several have no time between them.
    pub fn new(first_tick: u64, period_us: u32, ends: bool, values: &[i16]) -> Result<Self, SetpointsError> {
        let mut own = [0; MAX_SETPOINTS];
        let count = u8::try_from(values.len()).map_err(|_| SetpointsError::Count(values.len()))?;
        match own.get_mut(..values.len()) {
            Some(place) if count > 0 => place.copy_from_slice(values),
            _ => return Err(SetpointsError::Count(values.len())),
        }
        if count > 1 && period_us == 0 {
            return Err(SetpointsError::Period);
        }
        Ok(Self {
            first_tick,
            period_us,
            ends,
            count,
            values: own,
        })
    }

    /// Tick of the first setpoint.
    #[must_use]
    pub const fn first_tick(&self) -> u64 {
        self.first_tick
    }

    /// Whether nothing follows.
    #[must_use]
    pub const fn ends(&self) -> bool {
        self.ends
    }

    /// The values in counts.
    #[must_use]
    pub fn values(&self) -> &[i16] {
        self.values.get(..usize::from(self.count)).unwrap_or_default()
    }

    /// Each setpoint with its tick (saturating at the end of time).
    pub fn entries(&self) -> impl Iterator<Item = (u64, i16)> + '_ {
        let period = u64::from(self.period_us);
        self.values().iter().enumerate().map(move |(i, &raw)| {
            (
                self.first_tick.saturating_add(period.saturating_mul(i as u64)),
                raw,
            )
        })
    }
}

impl Payload<'_> for Setpoints {
    fn read(r: &mut Reader<'_>) -> Option<Self> {
        let first_tick = r.u64()?;
        let period_us = r.u32()?;
        let ends = match r.u8()? {
            0 => false,
            1 => true,
            _ => return None,
        };
        let count = usize::from(r.u8()?);
        let mut values = [0; MAX_SETPOINTS];
        for place in values.get_mut(..count)? {
            *place = r.i16()?;
        }
        Self::new(first_tick, period_us, ends, values.get(..count)?).ok()
    }
    fn write(&self, w: &mut Writer<'_>) {
        w.u64(self.first_tick);
        w.u32(self.period_us);
        w.u8(u8::from(self.ends));
        w.u8(self.count);
        for &value in self.values() {
            w.i16(value);
        }
    }
}
