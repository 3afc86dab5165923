//! Rows written while the run lasts, as lines of bytes.
//!
//! HDF5's one-writer-many-readers mode cannot append strings of variable length safely, so segments, events and host
//! rows go to one growing dataset of bytes. Each line is a JSON array of texts: the kind of row, then its values in
//! the order of its columns. Numbers are written so that reading gives the same bits. Sealing turns the lines into
//! tables.

use std::ops::Range;
use std::path::Path;

use hdf5_metno::Dataset;

use super::columns::{Cell, Cells, Kind, TableRow};
use super::error::RecordingError;
use super::rows::{EventRow, HostRow, RoundTrip, SegmentRow};

/// Bytes of the journal read at a time.
const PIECE: usize = 1 << 18;
/// Longest line, so that reading needs no more memory than that whatever a damaged file holds.
const LONGEST: usize = 1 << 20;

/// What a journal holds: the rows of which a run has few, and how many there are of the others.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Journal {
    pub(super) segments: Vec<SegmentRow>,
    pub(super) events: Vec<EventRow>,
    pub(super) host: usize,
    pub(super) round_trips: usize,
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
    let before = out.len();
    serde_json::to_writer(&mut *out, &line).map_err(|e| e.to_string())?;
    let length = out.len() - before;
    if length > LONGEST {
        out.truncate(before);
        return Err(format!(
            "a row of {length} bytes of text; at most {LONGEST} are kept, shorten its texts"
        ));
    }
    out.push(b'\n');
    Ok(())
}

/// Where the bytes of a journal come from.
pub(super) trait Bytes {
    /// Those of `range`, which is within the journal.
    fn read(&self, range: Range<usize>) -> Result<Vec<u8>, RecordingError>;
}

/// The journal of a live file.
pub(super) struct Stored<'a> {
    pub(super) path: &'a Path,
    pub(super) dataset: &'a Dataset,
}

impl Bytes for Stored<'_> {
    fn read(&self, range: Range<usize>) -> Result<Vec<u8>, RecordingError> {
        self.dataset
            .read_slice_1d::<u8, _>(range)
            .map(|bytes| bytes.into_raw_vec_and_offset().0)
            .map_err(|e| RecordingError::damaged(self.path, "/progress/journal", e.to_string()))
    }
}

/// Goes through the lines of a journal without holding more than a piece of it.
pub(super) struct Lines<B> {
    bytes: B,
    /// First byte not yet read, and the end of what may be.
    at: usize,
    end: usize,
    /// What was read, of which the first `used` bytes were given out.
    buffer: Vec<u8>,
    used: usize,
    /// Lines given out.
    number: usize,
}

/// A line without its line feed.
struct Line<'a> {
    text: &'a [u8],
    /// Whether a line feed ended it.
    whole: bool,
}

impl<B: Bytes> Lines<B> {
    /// The lines in the first `end` bytes.
    pub(super) fn new(bytes: B, end: usize) -> Self {
        Self {
            bytes,
            at: 0,
            end,
            buffer: Vec::new(),
            used: 0,
            number: 0,
        }
    }

    fn next(&mut self) -> Result<Option<Line<'_>>, RecordingError> {
        let mut searched = self.used;
        let feed = loop {
            let fresh = self.buffer.iter().skip(searched);
            if let Some(position) = fresh.take(LONGEST + 1).position(|byte| *byte == b'\n') {
                break Some(searched + position);
            }
            let waiting = self.buffer.len() - self.used;
            if self.at >= self.end || waiting > LONGEST {
                break None;
            }
            self.buffer.drain(..self.used);
            (self.used, searched) = (0, waiting);
            let upto = self.end.min(self.at + PIECE);
            self.buffer.extend(self.bytes.read(self.at..upto)?);
            self.at = upto;
        };
        let from = self.used;
        self.number += 1;
        let end = feed.unwrap_or(self.buffer.len());
        self.used = feed.map_or(end, |feed| feed + 1);
        let text = self.buffer.get(from..end).unwrap_or_default();
        Ok((feed.is_some() || !text.is_empty()).then_some(Line {
            text,
            whole: feed.is_some(),
        }))
    }
}

fn bad_line(path: &Path, number: usize, what: String) -> RecordingError {
    RecordingError::damaged(path, format!("/progress/journal line {number}"), what)
}

/// Reads all lines. Kinds of rows this version does not know are passed over.
pub(super) fn decode(path: &Path, mut lines: Lines<impl Bytes>) -> Result<Journal, RecordingError> {
    let mut journal = Journal::default();
    while let Some(line) = lines.next()? {
        if !line.text.is_empty()
            && let Err(what) = decode_line(line.text, &mut journal)
        {
            return Err(bad_line(path, lines.number, what));
        }
    }
    Ok(journal)
}

/// How many bytes there are before the first line that does not do or cannot be read.
pub(super) fn good_bytes(mut lines: Lines<impl Bytes>) -> usize {
    let mut good = 0;
    while let Ok(Some(line)) = lines.next() {
        let does = line.whole && decode_line(line.text, &mut Journal::default()).is_ok();
        if !does {
            break;
        }
        good += line.text.len() + 1;
    }
    good
}

/// The next row of one kind; `None` after the last.
pub(super) fn next_row<T: TableRow>(
    path: &Path,
    lines: &mut Lines<impl Bytes>,
) -> Result<Option<T>, RecordingError> {
    while let Some(line) = lines.next()? {
        if line.text.is_empty() || is_of_another_kind(line.text, T::GROUP) {
            continue;
        }
        let decoded = match words(line.text) {
            Ok(words) => match words.split_first() {
                Some((kind, values)) if kind == T::GROUP => row(values),
                _ => continue,
            },
            Err(what) => Err(what),
        };
        return match decoded {
            Ok(row) => Ok(Some(row)),
            Err(what) => Err(bad_line(path, lines.number, what)),
        };
    }
    Ok(None)
}

/// Whether a line plainly is a row of another kind, so that it need not be taken apart.
fn is_of_another_kind(line: &[u8], kind: &str) -> bool {
    let first = line
        .strip_prefix(b"[\"")
        .and_then(|rest| rest.split(|byte| *byte == b'"').next());
    first.is_some_and(|first| first != kind.as_bytes() && !first.contains(&b'\\'))
}

fn words(line: &[u8]) -> Result<Vec<String>, String> {
    if line.len() > LONGEST {
        return Err(format!("is longer than {LONGEST} bytes"));
    }
    serde_json::from_slice(line).map_err(|e| e.to_string())
}

fn decode_line(line: &[u8], journal: &mut Journal) -> Result<(), String> {
    let words = words(line)?;
    let Some((kind, values)) = words.split_first() else {
        return Err("is empty".to_owned());
    };
    match kind.as_str() {
        SegmentRow::GROUP => journal.segments.push(row(values)?),
        EventRow::GROUP => journal.events.push(row(values)?),
        HostRow::GROUP => row::<HostRow>(values).map(|_| journal.host += 1)?,
        RoundTrip::GROUP => row::<RoundTrip>(values).map(|_| journal.round_trips += 1)?,
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

    impl Bytes for &[u8] {
        fn read(&self, range: Range<usize>) -> Result<Vec<u8>, RecordingError> {
            assert!(range.len() <= PIECE, "a piece at a time");
            Ok(self[range].to_vec())
        }
    }

    fn lines(bytes: &[u8]) -> Lines<&[u8]> {
        Lines::new(bytes, bytes.len())
    }

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
        let journal = decode(Path::new("x"), lines(&bytes)).unwrap();
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
            lines(b"[\"host\",\"1\",\"2\"]\n[\"host\",\"one\",\"2\"]\n"),
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

    #[test]
    fn lines_that_cross_pieces_come_back_whole() {
        let mut bytes = Vec::new();
        let texts = [10, PIECE - 200, PIECE, 3 * PIECE, 1, LONGEST - 60];
        for (tick, length) in (0..).zip(texts) {
            let event = EventRow {
                tick,
                host_ns: 0,
                source: Source::Bench,
                code: "long".into(),
                text: "x".repeat(length),
            };
            encode(&event, &mut bytes).unwrap();
            let host = HostRow {
                first_tick: tick,
                host_ns: -1,
            };
            encode(&host, &mut bytes).unwrap();
        }
        let journal = decode(Path::new("x"), lines(&bytes)).unwrap();
        let lengths: Vec<usize> = journal.events.iter().map(|event| event.text.len()).collect();
        assert_eq!((lengths.as_slice(), journal.host), (texts.as_slice(), 6));
        assert_eq!(good_bytes(lines(&bytes)), bytes.len());
        // Cut within the last line but one, which takes several pieces.
        let cut = &bytes[..bytes.len() - 50];
        let whole = cut.iter().rposition(|byte| *byte == b'\n').unwrap() + 1;
        assert_eq!(good_bytes(lines(cut)), whole);
        let mut each = lines(&bytes);
        let mut ticks = Vec::new();
        while let Some(row) = next_row::<HostRow>(Path::new("x"), &mut each).unwrap() {
            ticks.push(row.first_tick);
        }
        assert_eq!(ticks, [0, 1, 2, 3, 4, 5]);
    }

    #[test]
    fn a_line_without_end_is_refused_before_it_fills_the_memory() {
        let endless = vec![b'7'; 4 * LONGEST];
        let error = decode(Path::new("x.h5"), lines(&endless)).unwrap_err();
        assert!(error.to_string().contains("longer than"), "{error}");
        let mut each = lines(&endless);
        assert!(each.next().unwrap().unwrap().text.len() <= LONGEST + PIECE);
        assert!(each.buffer.capacity() <= 2 * (LONGEST + PIECE));
        let event = EventRow {
            tick: 0,
            host_ns: 0,
            source: Source::Bench,
            code: String::new(),
            text: "x".repeat(LONGEST),
        };
        let mut bytes = b"before\n".to_vec();
        assert!(encode(&event, &mut bytes).unwrap_err().contains("shorten"));
        assert_eq!(bytes, b"before\n");
    }
}
