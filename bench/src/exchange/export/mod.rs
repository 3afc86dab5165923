//! A recording's channels as a table for other programs.

mod delimited;
mod map;
mod numpy;
mod parquet;

use std::ops::Range;
use std::path::{Path, PathBuf};

use super::ExchangeError;
use crate::recording::Recording;
pub use map::write_map;

/// Rows read at a time.
const BLOCK: usize = 1 << 16;

/// What to write.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// Text, one row a line.
    Csv,
    /// Apache Parquet.
    Parquet,
    /// NumPy, one array a column.
    Npz,
}

/// Which part of a recording.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Selection {
    /// Channels by name; empty: all.
    pub channels: Vec<String>,
    /// First time, s on the recording's clock; `None`: from the start.
    pub from_s: Option<f64>,
    /// Time behind the last, s; `None`: to the end.
    pub to_s: Option<f64>,
}

/// What was written.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Exported {
    /// The file.
    pub path: PathBuf,
    /// Rows.
    pub rows: u64,
    /// Names of the columns, time first.
    pub columns: Vec<String>,
}

/// Writes the selected part of `recording` to a new file `out`, in blocks: memory does not grow with the recording.
/// Values are in the units of the channels, exactly as scale and offset give them; a gap is a step in `time_s`.
///
/// # Errors
/// [`ExchangeError`]: the file is there already, cannot be written, or a channel does not exist.
pub fn export(
    recording: &Recording,
    format: Format,
    selection: &Selection,
    out: &Path,
) -> Result<Exported, ExchangeError> {
    let table = Table::of(recording, selection)?;
    let file = std::fs::File::create_new(out).map_err(|e| ExchangeError::io("create", out, e))?;
    let file = std::io::BufWriter::with_capacity(1 << 18, file);
    let done = match format {
        Format::Csv => delimited::write(&table, file, out),
        Format::Parquet => parquet::write(&table, file, out),
        Format::Npz => numpy::write(&table, file, out),
    };
    if let Err(error) = done {
        // A part of a table looks like a whole one.
        let _ = std::fs::remove_file(out);
        return Err(error);
    }
    Ok(Exported {
        path: out.to_owned(),
        rows: table.rows.len() as u64,
        columns: table.columns.iter().map(|c| c.name.clone()).collect(),
    })
}

/// A column of the table.
#[derive(Debug, Clone, PartialEq)]
struct Column {
    /// Name with the unit, `torque_nm`.
    name: String,
    /// Unit as UDUNITS writes it.
    units: String,
    /// Channel; `None`: time.
    channel: Option<String>,
}

/// The part of a recording that is written.
struct Table<'a> {
    recording: &'a Recording,
    columns: Vec<Column>,
    rows: Range<usize>,
}

/// A column's name: channel and unit in small letters.
fn column_name(channel: &str, units: &str) -> String {
    let unit: String = units
        .replace("N.m", "nm")
        .chars()
        .filter(char::is_ascii_alphanumeric)
        .collect();
    format!("{channel}_{}", unit.to_lowercase())
}

impl<'a> Table<'a> {
    fn of(recording: &'a Recording, selection: &Selection) -> Result<Self, ExchangeError> {
        let header = recording.header();
        let mut columns = vec![Column {
            name: "time_s".into(),
            units: "s".into(),
            channel: None,
        }];
        let named: Vec<&str> = if selection.channels.is_empty() {
            header.channels.iter().map(|c| c.name.as_str()).collect()
        } else {
            selection.channels.iter().map(String::as_str).collect()
        };
        for name in named {
            let info = recording.channel(name)?;
            columns.push(Column {
                name: column_name(&info.name, &info.units),
                units: info.units.clone(),
                channel: Some(info.name.clone()),
            });
        }
        let tick = |s: f64| (s / header.tick_s).round().max(0.0) as u64;
        let from = selection.from_s.map_or(0, tick);
        let to = selection.to_s.map_or(u64::MAX, tick);
        Ok(Self {
            recording,
            columns,
            rows: recording.rows_between(from, to)?,
        })
    }

    /// Parts of the rows, in order.
    fn blocks(&self) -> impl Iterator<Item = Range<usize>> {
        let end = self.rows.end;
        self.rows
            .clone()
            .step_by(BLOCK)
            .map(move |start| start..(start + BLOCK).min(end))
    }

    /// Values of a column.
    fn values(&self, column: &Column, rows: Range<usize>) -> Result<Vec<f64>, ExchangeError> {
        if let Some(channel) = &column.channel {
            return Ok(self.recording.values(channel, rows)?.to_vec());
        }
        let tick_s = self.recording.header().tick_s;
        // A division by a whole number of ticks a second rounds once, to the nearest decimal's neighbour.
        let per_second = (1.0 / tick_s).round();
        let exact = (per_second * tick_s - 1.0).abs() < 1e-12;
        let seconds = |tick: &u64| {
            if exact {
                *tick as f64 / per_second
            } else {
                *tick as f64 * tick_s
            }
        };
        Ok(self.recording.ticks(rows)?.iter().map(seconds).collect())
    }
}
