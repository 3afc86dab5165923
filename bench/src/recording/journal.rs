//! Rows written while the run lasts, as lines of bytes.
//!
//! HDF5's one-writer-many-readers mode cannot append strings of variable length safely, so segments, events and host
//! rows go to one growing dataset of bytes. Each line is a JSON array of texts: the kind of row, then its values in
//! the order of its columns. Numbers are written so that reading gives the same bits. Sealing turns the lines into
//! tables.

use std::path::Path;

use super::columns::{Cell, Cells, Kind, TableRow};
use super::error::RecordingError;
use super::rows::{EventRow, HostRow, RoundTrip, SegmentRow};

/// The rows of a journal, kind by kind, in the order in which they were written.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Journal {
    pub(super) segments: Vec<SegmentRow>,
    pub(super) events: Vec<EventRow>,
    pub(super) host: Vec<HostRow>,
    pub(super) round_trips: Vec<RoundTrip>,
}

/// Appends one row to `out`.
pub(super) fn encode<T: TableRow>(row: &T, out: &mut Vec<u8>) -> Result<(), String> {
    let mut line = vec![T::GROUP.to_owned()];
    for (cell, column) in row.cells()?.into_iter().zip(T::COLUMNS) {
        line.push(match cell {
            Cell::Whole(v) => v.to_string(),
            Cell::Real(v) => format!("{v:?}"),
            Cell::Text(v) if v.contains('\0') => {
                return Err(format!(
                    "{} = {v:?} holds a NUL character, which HDF5 cannot keep; remove it",
                    column.name
                ));
            }
            Cell::Text(v) => v,
        });
    }
    serde_json::to_writer(&mut *out, &line).map_err(|e| e.to_string())?;
    out.push(b'\n');
    Ok(())
}

/// Reads all lines. Kinds of rows this version does not know are passed over.
pub(super) fn decode(path: &Path, bytes: &[u8]) -> Result<Journal, RecordingError> {
    let mut journal = Journal::default();
    for (number, line) in bytes.split(|b| *b == b'\n').enumerate() {
        if line.is_empty() {
            continue;
        }
        decode_line(line, &mut journal).map_err(|what| {
            RecordingError::damaged(path, format!("/progress/journal line {}", number + 1), what)
        })?;
    }
    Ok(journal)
}

/// Reads lines up to the first that does not do; with it, how many bytes were good.
pub(super) fn decode_good(bytes: &[u8]) -> (Journal, usize) {
    let mut journal = Journal::default();
    let mut good = 0;
    for line in bytes.split_inclusive(|b| *b == b'\n') {
        let whole = line.strip_suffix(b"\n").filter(|line| !line.is_empty());
        if whole.is_none_or(|line| decode_line(line, &mut journal).is_err()) {
            break;
        }
        good += line.len();
    }
    (journal, good)
}

fn decode_line(line: &[u8], journal: &mut Journal) -> Result<(), String> {
    let words: Vec<String> = serde_json::from_slice(line).map_err(|e| e.to_string())?;
    let Some((kind, values)) = words.split_first() else {
        return Err("is empty".to_owned());
    };
    match kind.as_str() {
        SegmentRow::GROUP => journal.segments.push(row(values)?),
        EventRow::GROUP => journal.events.push(row(values)?),
        HostRow::GROUP => journal.host.push(row(values)?),
        RoundTrip::GROUP => journal.round_trips.push(row(values)?),
        _ => {}
    }
    Ok(())
}

fn row<T: TableRow>(values: &[String]) -> Result<T, String> {
    let mut cells = Vec::with_capacity(values.len());
    for (value, column) in values.iter().zip(T::COLUMNS) {
        let bad = |what: &str| format!("{} = {value:?} is not a {what}", column.name);
        cells.push(match column.kind {
            Kind::Whole => Cell::Whole(value.parse().map_err(|_| bad("whole number"))?),
            Kind::Real => Cell::Real(value.parse().map_err(|_| bad("real number"))?),
            Kind::Text => Cell::Text(value.clone()),
        });
    }
    T::from_cells(&mut Cells::new(cells))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::recording::Source;

    #[test]
    fn rows_come_back_to_the_last_bit() {
        let segment = SegmentRow {
            name: "Schritt „eins“\nzweite Zeile".into(),
            from_nm: f64::NAN,
            to_nm: 0.1 + 0.2,
            amplitude_nm: f64::MIN_POSITIVE,
            preload_nm: -0.0,
            f_start_hz: f64::INFINITY,
            start_tick: 1 << 53 | 1,
            ..SegmentRow::default()
        };
        let event = EventRow {
            tick: 7,
            host_ns: -3,
            source: Source::Rig,
            code: "trip-torque".into(),
            text: "\"9,1 N·m\"".into(),
        };
        let mut bytes = Vec::new();
        encode(&segment, &mut bytes).unwrap();
        encode(&event, &mut bytes).unwrap();
        bytes.extend_from_slice(b"[\"weather\",\"wet\"]\n");
        let journal = decode(Path::new("x"), &bytes).unwrap();
        let back = &journal.segments[0];
        assert_eq!(back.name, segment.name);
        assert!(back.from_nm.is_nan());
        assert_eq!(back.to_nm.to_bits(), segment.to_nm.to_bits());
        assert_eq!(back.amplitude_nm.to_bits(), segment.amplitude_nm.to_bits());
        assert_eq!(back.preload_nm.to_bits(), segment.preload_nm.to_bits());
        assert_eq!(back.f_start_hz.to_bits(), segment.f_start_hz.to_bits());
        assert_eq!(back.start_tick, segment.start_tick);
        assert_eq!(journal.events, [event]);
    }

    #[test]
    fn a_broken_line_is_named() {
        let error = decode(
            Path::new("x.h5"),
            b"[\"host\",\"1\",\"2\"]\n[\"host\",\"one\",\"2\"]\n",
        )
        .unwrap_err();
        assert!(error.to_string().contains("line 2"), "{error}");
        assert!(error.to_string().contains("first_tick"), "{error}");
    }

    #[test]
    fn a_tick_beyond_the_file_is_refused() {
        let error = encode(
            &HostRow {
                first_tick: u64::MAX,
                host_ns: 0,
            },
            &mut Vec::new(),
        )
        .unwrap_err();
        assert!(error.contains("largest tick"), "{error}");
    }
}
