//! Columns that are in memory as a whole.

use super::{BATCH_ROWS, Batch, ColumnInfo, Rows};
use crate::exchange::ExchangeError;

/// Rows of columns in memory, all of one length.
pub(super) struct Columns {
    infos: Vec<ColumnInfo>,
    values: Vec<Vec<f64>>,
    at: usize,
}

impl Columns {
    /// The columns must be of one length; the caller sees to that.
    pub(super) fn new(infos: Vec<ColumnInfo>, values: Vec<Vec<f64>>) -> Self {
        Self { infos, values, at: 0 }
    }
}

impl Rows for Columns {
    fn next(&mut self) -> Result<Option<Batch>, ExchangeError> {
        let all = self.values.first().map_or(0, Vec::len);
        let to = (self.at + BATCH_ROWS).min(all);
        if self.at >= to {
            return Ok(None);
        }
        let part = |values: &Vec<f64>| values.get(self.at..to).unwrap_or_default().to_vec();
        let mut batch = Batch {
            first_row: self.at as u64 + 1,
            columns: self.values.iter().map(part).collect(),
            rows: to - self.at,
            ..Batch::default()
        };
        batch.note_missing(&self.infos.iter().collect::<Vec<_>>());
        self.at = to;
        Ok(Some(batch))
    }

    fn decimals(&self) -> Vec<Option<u32>> {
        vec![None; self.values.len()]
    }
}

/// Says which columns are not of the length of the first one.
pub(super) fn uneven(columns: &[(String, usize)]) -> Option<String> {
    let (first, rows) = columns.first()?;
    let (other, there) = columns.iter().find(|(_, n)| n != rows)?;
    Some(format!(
        "the columns are not of one length: {first:?} has {rows} values, {other:?} has {there}"
    ))
}
