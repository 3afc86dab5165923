//! Three columns of a table, in SI units and evenly in time: what a fit of any moving axis needs.

use std::path::Path;

use settings_file::{Angle, Force, Length, Time, Torque, parse_quantity};

use super::source::{DataFile, Fault, Layout};
use crate::exchange::ExchangeError;

/// Share of a period by which rows may be off the even grid without being resampled.
const TOLERANCE: f64 = 0.05;
/// Share of a period beyond which a step in time is a gap.
const GAP: f64 = 0.75;

/// A column, and its unit where the file does not say it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ColumnOf {
    /// Name in the file.
    pub name: String,
    /// Unit; `None`: as the file says.
    pub unit: Option<String>,
}

impl ColumnOf {
    /// From `NAME=UNIT`, or `NAME` alone; the last `=` counts.
    #[must_use]
    pub fn from_words(words: &str) -> Self {
        match words.rsplit_once('=') {
            Some((name, unit)) => Self {
                name: name.trim().to_owned(),
                unit: Some(unit.trim().to_owned()),
            },
            None => Self {
                name: words.trim().to_owned(),
                unit: None,
            },
        }
    }
}

/// How the text of a table is written; other files need none of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct TextStyle {
    /// Byte between fields; `None`: told from the header.
    pub delimiter: Option<u8>,
    /// Whether numbers have a decimal comma.
    pub decimal_comma: bool,
}

/// Motion of an axis with the torque or force that makes it.
#[derive(Debug, Clone, PartialEq)]
pub struct AxisSeries {
    /// Whether positions are lengths (m, with N) instead of angles (rad, with N·m).
    pub linear: bool,
    /// Samples a second.
    pub fs_hz: f64,
    /// Angles, rad, or positions, m.
    pub position: Vec<f64>,
    /// Torques, N·m, or forces, N.
    pub effort: Vec<f64>,
    /// What was done to the rows, in words.
    pub notes: Vec<String>,
}

/// Reads time, position and torque or force.
///
/// # Errors
/// [`ExchangeError`]: the file cannot be read or lacks a column; a unit is none of its column's; a cell is no number; time
/// stands, goes back or has a gap.
pub fn read_axis(
    path: &Path,
    style: TextStyle,
    [time, position, effort]: [&ColumnOf; 3],
) -> Result<AxisSeries, ExchangeError> {
    let layout = Layout {
        delimiter: style.delimiter,
        decimal_comma: style.decimal_comma,
        ..Layout::default()
    };
    let data = DataFile::open(path, &layout)?;
    let mut notes = data.notes.clone();
    let indices = [
        data.find(&time.name)?,
        data.find(&position.name)?,
        data.find(&effort.name)?,
    ];
    let unit = |column: &ColumnOf, index: usize| {
        let from_file = || data.column(index).and_then(|c| c.units.clone());
        column.unit.clone().or_else(from_file)
    };
    let refuse = |what: String, fix: &str| ExchangeError::format(path, what, fix);
    let second = match unit(time, indices[0]) {
        None => 1.0,
        Some(text) => {
            parse_quantity::<Time>(&format!("1 {text}"))
                .map_err(|error| {
                    refuse(
                        format!("column {:?} in {text:?}: not a time: it {error}", time.name),
                        "write s, ms or us",
                    )
                })?
                .si
        }
    };
    let text = unit(position, indices[1]).ok_or_else(|| {
        refuse(
            format!("column {:?} has no unit", position.name),
            "write it behind the name, such as angle=deg or x=mm",
        )
    })?;
    let one = format!("1 {text}");
    let (linear, position_si) = match (parse_quantity::<Angle>(&one), parse_quantity::<Length>(&one)) {
        (Ok(one), _) => (false, one.si),
        (_, Ok(one)) => (true, one.si),
        (Err(error), _) => {
            return Err(refuse(
                format!(
                    "column {:?} in {text:?}: no angle and no length: it {error}",
                    position.name
                ),
                "write deg or rad, m or mm",
            ));
        }
    };
    let text = unit(effort, indices[2]).unwrap_or_else(|| if linear { "N" } else { "N·m" }.to_owned());
    let one = format!("1 {text}");
    let effort_si = if linear {
        parse_quantity::<Force>(&one).map_err(|error| error.to_string())
    } else {
        parse_quantity::<Torque>(&one).map_err(|error| error.to_string())
    };
    let effort_si = effort_si
        .map_err(|error| {
            let (what, fix) = if linear {
                ("a force, which a position in a length needs", "write N or kN")
            } else {
                ("a torque, which an angle needs", "write N·m or mN·m")
            };
            refuse(
                format!("column {:?} in {text:?}: not {what}: it {error}", effort.name),
                fix,
            )
        })?
        .si;
    let [mut at_s, mut position, mut effort] = cells(path, &data, &indices)?;
    for (column, si) in [
        (&mut at_s, second),
        (&mut position, position_si),
        (&mut effort, effort_si),
    ] {
        column.iter_mut().for_each(|value| *value *= si);
    }
    let period_s = even(path, &at_s, &mut notes, [&mut position, &mut effort])?;
    Ok(AxisSeries {
        linear,
        fs_hz: 1.0 / period_s,
        position,
        effort,
        notes,
    })
}

/// The cells of three columns as stored; a row that is not whole is refused with its number.
fn cells(path: &Path, data: &DataFile, indices: &[usize; 3]) -> Result<[Vec<f64>; 3], ExchangeError> {
    let mut columns: [Vec<f64>; 3] = Default::default();
    let mut rows = data.rows(indices)?;
    let name = |column: usize| {
        let info = indices.get(column).and_then(|index| data.column(*index));
        info.map_or_else(String::new, |info| info.name.clone())
    };
    while let Some(batch) = rows.next()? {
        if let Some((row, fault)) = batch.faults.first() {
            let number = batch.first_row + *row as u64;
            let line = batch.lines.as_ref().and_then(|lines| lines.get(*row));
            let place = line.map_or_else(
                || format!("row {number}"),
                |line| format!("row {number} (line {line})"),
            );
            let what = match fault {
                Fault::Fields { got, due, .. } => format!("{place}: {got} fields where the header has {due}"),
                Fault::Cell { column, text } => {
                    format!("{place}, column {:?}: {text} is no number", name(*column))
                }
            };
            let fix = "correct or remove the row";
            return Err(ExchangeError::format(path, what, fix));
        }
        for (all, part) in columns.iter_mut().zip(&batch.columns) {
            all.extend_from_slice(part);
        }
    }
    for (column, index) in columns.iter_mut().zip(indices) {
        if let Some((scale, offset)) = data.column(*index).and_then(|info| info.packing) {
            column
                .iter_mut()
                .for_each(|value| *value = *value * scale + offset);
        }
    }
    Ok(columns)
}

/// The period, s. Columns whose rows are off the even grid are laid on it by straight lines, with a note.
fn even(
    path: &Path,
    at_s: &[f64],
    notes: &mut Vec<String>,
    columns: [&mut Vec<f64>; 2],
) -> Result<f64, ExchangeError> {
    let refuse = |what: String, fix: &str| Err(ExchangeError::format(path, what, fix));
    let (Some(first), Some(last)) = (at_s.first(), at_s.last()) else {
        return refuse("has no rows".into(), "give a table with data");
    };
    let intervals = at_s.len() - 1;
    let period_s = (last - first) / intervals.max(1) as f64;
    if intervals == 0 || !period_s.is_finite() || period_s <= 0.0 {
        let what = format!("time goes from {first} to {last} s in {} rows", at_s.len());
        return refuse(what, "is it the right column? Give rows in order of time");
    }
    for (row, pair) in at_s.windows(2).enumerate() {
        let step_s = pair[1] - pair[0];
        if step_s <= 0.0 {
            let what = format!(
                "row {}: time does not go on: {} after {} s",
                row + 2,
                pair[1],
                pair[0]
            );
            return refuse(what, "sort the rows, or remove those that are there twice");
        }
        if step_s > (1.0 + GAP) * period_s {
            let what = format!(
                "row {}: {step_s} s after the one before, where {period_s:.3e} s is usual",
                row + 2
            );
            return refuse(what, "rows are missing: give a stretch without a gap");
        }
    }
    let off = |row: usize| at_s[row] - first - row as f64 * period_s;
    let worst_s = (0..at_s.len()).map(|row| off(row).abs()).fold(0.0, f64::max);
    if worst_s <= TOLERANCE * period_s {
        return Ok(period_s);
    }
    for column in columns {
        let mut row = 0;
        let laid = (0..column.len())
            .map(|k| {
                let wanted = first + k as f64 * period_s;
                while row + 2 < at_s.len() && at_s[row + 1] < wanted {
                    row += 1;
                }
                let part = (wanted - at_s[row]) / (at_s[row + 1] - at_s[row]);
                column[row] + part * (column[row + 1] - column[row])
            })
            .collect();
        *column = laid;
    }
    notes.push(format!(
        "rows up to {:.0} % of a period off the even grid: resampled by straight lines",
        100.0 * worst_s / period_s
    ));
    Ok(period_s)
}

#[cfg(test)]
mod tests;
