//! Samples in batches, as raw counts.

use super::Payload;
use crate::bytes::{Reader, Writer};
use crate::codes::{RigState, Width};

/// Bytes of a samples payload before its rows.
const FIXED: usize = 8 + 4 + 1 + 2 + 1 + 1;
/// Most bytes of rows in one message.
pub(crate) const MAX_ROWS_BYTES: usize = crate::frame::MAX_PAYLOAD - FIXED;

/// A batch of rows: row i was sampled at `first_tick + i * period_us`. A row holds one count a channel, in the order
/// of the channel indices, each as wide as its description says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Samples<'a> {
    /// Tick of the first row.
    pub first_tick: u64,
    /// Ticks between rows.
    pub period_us: u32,
    /// The rig's state when the batch was written.
    pub state: RigState,
    /// Free places in the setpoint queue when the batch was written.
    pub credit: u16,
    row_bytes: u8,
    rows: u8,
    data: &'a [u8],
}

impl<'a> Samples<'a> {
    /// Number of rows.
    #[must_use]
    pub const fn rows(&self) -> usize {
        self.rows as usize
    }

    /// Bytes of one row.
    #[must_use]
    pub const fn row_bytes(&self) -> usize {
        self.row_bytes as usize
    }

    /// Tick of row `row`.
    #[must_use]
    pub const fn tick(&self, row: usize) -> u64 {
        self.first_tick
            .saturating_add((row as u64).saturating_mul(self.period_us as u64))
    }

    /// Reads each row's counts into `row`, one place a channel, and hands it to `on_row` with its tick.
    ///
    /// Returns `None`, having called nothing, when the rows are not as wide as `widths` add up to, or `row` has fewer
    /// places than `widths`.
    pub fn for_each_row(
        &self,
        widths: &[Width],
        row: &mut [i32],
        mut on_row: impl FnMut(u64, &[i32]),
    ) -> Option<()> {
        let wide: usize = widths.iter().map(|width| usize::from(width.code())).sum();
        if wide != self.row_bytes() || row.len() < widths.len() {
            return None;
        }
        let mut reader = Reader::new(self.data);
        for index in 0..self.rows() {
            for (place, width) in row.iter_mut().zip(widths) {
                *place = match width {
                    Width::I16 => i32::from(reader.i16()?),
                    Width::I32 => reader.i32()?,
                };
            }
            on_row(self.tick(index), row.get(..widths.len())?);
        }
        Some(())
    }
}

impl<'a> Payload<'a> for Samples<'a> {
    fn read(r: &mut Reader<'a>) -> Option<Self> {
        let first_tick = r.u64()?;
        let period_us = r.u32()?;
        let state = RigState::from_code(r.u8()?)?;
        let credit = r.u16()?;
        let row_bytes = r.u8()?;
        let rows = r.u8()?;
        if rows == 0 || row_bytes == 0 || (rows > 1 && period_us == 0) {
            return None;
        }
        let data = r.take(usize::from(rows) * usize::from(row_bytes))?;
        Some(Self {
            first_tick,
            period_us,
            state,
            credit,
            row_bytes,
            rows,
            data,
        })
    }
    fn write(&self, w: &mut Writer<'_>) {
        w.u64(self.first_tick);
        w.u32(self.period_us);
        w.u8(self.state.code());
        w.u16(self.credit);
        w.u8(self.row_bytes);
        w.u8(self.rows);
        w.put(self.data);
    }
}

/// Why a row was not taken into a batch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RowError {
    /// No room, or the row does not follow the one before it by one period, or is not as wide: send the batch, clear
    /// it, and push the row again.
    StartsNewBatch,
    /// No batch can hold it: not one count a channel, no channel, or more than [`crate::MAX_CHANNELS`].
    Shape,
}

/// Gathers rows into a batch, for a rig controller.
#[derive(Debug, Clone)]
pub struct SamplesBuilder {
    first_tick: u64,
    period_us: u32,
    row_bytes: u8,
    rows: u8,
    length: usize,
    data: [u8; MAX_ROWS_BYTES],
}

impl SamplesBuilder {
    /// An empty batch of rows `period_us` apart.
    #[must_use]
    pub const fn new(period_us: u32) -> Self {
        Self {
            first_tick: 0,
            period_us,
            row_bytes: 0,
            rows: 0,
            length: 0,
            data: [0; MAX_ROWS_BYTES],
        }
    }

    /// Rows gathered.
    #[must_use]
    pub const fn rows(&self) -> usize {
        self.rows as usize
    }

    /// Appends one row. The first row's tick becomes the batch's; each later row must follow by one period, so that
    /// a row that was missed cannot shift the ticks of those behind it. Counts that do not fit a 16-bit channel are
    /// cut to its ends.
    ///
    /// # Errors
    /// [`RowError`]; the row is not in the batch then. After [`RowError::StartsNewBatch`] an empty batch takes it.
    pub fn push(&mut self, tick: u64, widths: &[Width], counts: &[i32]) -> Result<(), RowError> {
        if widths.len() != counts.len() || !(1..=crate::MAX_CHANNELS).contains(&widths.len()) {
            return Err(RowError::Shape);
        }
        if self.rows > 0 && !self.follows(tick) {
            return Err(RowError::StartsNewBatch);
        }
        let free = self.data.get_mut(self.length..).unwrap_or_default();
        let mut writer = Writer::new(free);
        for (width, &count) in widths.iter().zip(counts) {
            match width {
                Width::I16 => writer.i16(count.clamp(i32::from(i16::MIN), i32::from(i16::MAX)) as i16),
                Width::I32 => writer.i32(count),
            }
        }
        let written = writer.written().ok_or(RowError::StartsNewBatch)?;
        let rows = self.rows.checked_add(1).ok_or(RowError::StartsNewBatch)?;
        let row_bytes = u8::try_from(written).map_err(|_| RowError::Shape)?;
        if self.rows == 0 {
            self.first_tick = tick;
            self.row_bytes = row_bytes;
        } else if row_bytes != self.row_bytes {
            return Err(RowError::StartsNewBatch);
        }
        self.rows = rows;
        self.length += written;
        Ok(())
    }

    /// Whether a row at `tick` comes one period after the last one.
    fn follows(&self, tick: u64) -> bool {
        let ahead = u64::from(self.rows) * u64::from(self.period_us);
        self.period_us > 0 && self.first_tick.checked_add(ahead) == Some(tick)
    }

    /// The batch as a message, or `None` while it is empty.
    #[must_use]
    pub fn message(&self, state: RigState, credit: u16) -> Option<Samples<'_>> {
        (self.rows > 0).then_some(Samples {
            first_tick: self.first_tick,
            period_us: self.period_us,
            state,
            credit,
            row_bytes: self.row_bytes,
            rows: self.rows,
            data: self.data.get(..self.length)?,
        })
    }

    /// Empties the batch.
    pub fn clear(&mut self) {
        self.rows = 0;
        self.length = 0;
    }
}
