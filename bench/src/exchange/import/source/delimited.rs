//! Delimited text: CSV, TSV and their relatives, read row by row in constant memory.

use std::fs::File;
use std::io::{BufRead, BufReader, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use csv_core::{ReadRecordResult, ReaderBuilder};

use super::{BATCH_ROWS, Batch, ColumnInfo, Fault, MOST_COLUMNS, Rows};
use crate::exchange::ExchangeError;

/// Longest row, bytes; a longer one is a quotation that never ends, or no table.
const MOST_ROW_BYTES: usize = 1 << 20;
/// Most decimals of a number that count as a decimal grid.
const MOST_DECIMALS: u32 = 12;
/// Longest part of a cell that a message shows.
const SHOWN: usize = 24;
/// Mark that some programs put before UTF-8 text.
const BOM: &[u8] = b"\xef\xbb\xbf";

/// How the text is laid out.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Layout {
    /// Byte between fields; `None`: told from the header.
    pub(crate) delimiter: Option<u8>,
    /// Whether numbers have a decimal comma.
    pub(crate) decimal_comma: bool,
    /// Line of the header, from 1; `None`: there is none, and columns are called `1`, `2`, ….
    pub(crate) header_line: Option<u64>,
    /// Whether a row of units follows the header.
    pub(crate) units_row: bool,
    /// Lines that begin with this byte are passed over.
    pub(crate) comment: Option<u8>,
    /// Whether text that is not UTF-8 is Latin-1.
    pub(crate) latin_1: bool,
}

impl Default for Layout {
    fn default() -> Self {
        Self {
            delimiter: None,
            decimal_comma: false,
            header_line: Some(1),
            units_row: false,
            comment: Some(b'#'),
            latin_1: false,
        }
    }
}

/// Splits bytes into rows.
struct Splitter {
    path: PathBuf,
    input: BufReader<File>,
    core: csv_core::Reader,
    output: Vec<u8>,
    ends: Vec<usize>,
    /// Lines that end before the byte that the core sees next.
    lines: u64,
    /// Line on which the row given last ends; that it begins on too, unless it holds a quoted line end.
    line: u64,
    last_byte: u8,
    /// Whether nothing is left.
    done: bool,
    /// Whether the last byte of the file is a line end.
    ended_by_line: bool,
}

/// Fields of one row.
struct Record<'a> {
    bytes: &'a [u8],
    ends: &'a [usize],
}

impl<'a> Record<'a> {
    fn len(&self) -> usize {
        self.ends.len()
    }

    fn field(&self, i: usize) -> &'a [u8] {
        let from = i.checked_sub(1).and_then(|k| self.ends.get(k)).copied();
        let to = self.ends.get(i).copied().unwrap_or(0);
        self.bytes.get(from.unwrap_or(0)..to).unwrap_or_default()
    }
}

impl Splitter {
    /// Opens the file at its header, or at its first row if there is none.
    fn open(path: &Path, layout: &Layout) -> Result<Self, ExchangeError> {
        let io = |e| ExchangeError::io("read", path, e);
        let mut file = File::open(path).map_err(io)?;
        let length = file.metadata().map_err(io)?.len();
        let mut ended_by_line = false;
        if length > 0 {
            file.seek(SeekFrom::End(-1)).map_err(io)?;
            let mut last = [0];
            file.read_exact(&mut last).map_err(io)?;
            ended_by_line = matches!(last, [b'\n' | b'\r']);
            file.seek(SeekFrom::Start(0)).map_err(io)?;
        }
        let mut input = BufReader::with_capacity(1 << 16, file);
        if input.fill_buf().map_err(io)?.starts_with(BOM) {
            input.consume(BOM.len());
        }
        let before = layout.header_line.unwrap_or(1).saturating_sub(1);
        for line in 0..before {
            let mut skipped = Vec::new();
            let got = (&mut input)
                .take(MOST_ROW_BYTES as u64)
                .read_until(b'\n', &mut skipped)
                .map_err(io)?;
            if got == 0 {
                let what = format!("ends before line {}, where the map has the header", line + 1);
                return Err(ExchangeError::format(path, what, "correct file.header_line"));
            }
        }
        let core = ReaderBuilder::new()
            .delimiter(layout.delimiter.unwrap_or(b','))
            .comment(layout.comment)
            .build();
        Ok(Self {
            path: path.to_owned(),
            input,
            core,
            output: vec![0; 1 << 14],
            ends: vec![0; 256],
            lines: before,
            line: before,
            last_byte: 0,
            done: false,
            ended_by_line,
        })
    }

    fn too_long(&self) -> ExchangeError {
        let what = format!(
            "the row that begins on line {} is longer than {MOST_ROW_BYTES} bytes or {MOST_COLUMNS} fields",
            self.line + 1
        );
        let fix = "close the quotation there, or correct the delimiter in the map";
        ExchangeError::format(&self.path, what, fix)
    }

    /// The next row that is not empty.
    fn next(&mut self) -> Result<Option<Record<'_>>, ExchangeError> {
        if self.done {
            return Ok(None);
        }
        let (mut written, mut fields) = (0, 0);
        loop {
            let input = match self.input.fill_buf() {
                Ok(input) => input,
                Err(e) => return Err(ExchangeError::io("read", &self.path, e)),
            };
            let (room, places) = (
                self.output.get_mut(written..).unwrap_or_default(),
                self.ends.get_mut(fields..).unwrap_or_default(),
            );
            let (result, used, wrote, found) = self.core.read_record(input, room, places);
            let seen = input.get(..used).unwrap_or_default();
            self.lines += seen.iter().filter(|b| **b == b'\n').count() as u64;
            self.last_byte = seen.last().copied().unwrap_or(self.last_byte);
            self.input.consume(used);
            written += wrote;
            fields += found;
            match result {
                ReadRecordResult::InputEmpty => {}
                ReadRecordResult::OutputFull if self.output.len() < MOST_ROW_BYTES => {
                    self.output.resize(2 * self.output.len(), 0);
                }
                ReadRecordResult::OutputEndsFull if self.ends.len() < MOST_COLUMNS => {
                    self.ends.resize(2 * self.ends.len(), 0);
                }
                ReadRecordResult::OutputFull | ReadRecordResult::OutputEndsFull => {
                    return Err(self.too_long());
                }
                ReadRecordResult::Record => break,
                ReadRecordResult::End => {
                    self.done = true;
                    return Ok(None);
                }
            }
        }
        self.line = self.lines + u64::from(self.last_byte != b'\n');
        Ok(Some(Record {
            bytes: self.output.get(..written).unwrap_or_default(),
            ends: self.ends.get(..fields).unwrap_or_default(),
        }))
    }

    fn at_end(&mut self) -> bool {
        self.input.fill_buf().is_ok_and(<[u8]>::is_empty)
    }
}

/// Text of a name, as UTF-8 or Latin-1.
fn text(bytes: &[u8], latin_1: bool) -> Option<String> {
    match std::str::from_utf8(bytes) {
        Ok(text) => Some(text.trim().to_owned()),
        Err(_) if latin_1 => Some(
            bytes
                .iter()
                .map(|b| char::from(*b))
                .collect::<String>()
                .trim()
                .to_owned(),
        ),
        Err(_) => None,
    }
}

/// The delimiter that the first row has most of.
fn told_delimiter(path: &Path, layout: &Layout) -> Result<u8, ExchangeError> {
    if path
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("tsv") || e.eq_ignore_ascii_case("tab"))
    {
        return Ok(b'\t');
    }
    // Split at line ends alone: a byte that no text has stands for the delimiter.
    let whole = Layout {
        delimiter: Some(0),
        ..layout.clone()
    };
    let mut rows = Splitter::open(path, &whole)?;
    let first = rows.next()?.map(|row| row.field(0).to_vec()).unwrap_or_default();
    let count = |byte: u8| first.iter().filter(|b| **b == byte).count();
    let choices = [b'\t', b';', b'|', b','];
    let most = choices.into_iter().max_by_key(|byte| count(*byte));
    Ok(most.filter(|byte| count(*byte) > 0).unwrap_or(b','))
}

/// The columns of a text, and what is to be said about it. Settles the delimiter in `layout`.
pub(super) fn columns(
    path: &Path,
    layout: &mut Layout,
    notes: &mut Vec<String>,
) -> Result<Vec<ColumnInfo>, ExchangeError> {
    if layout.delimiter.is_none() {
        layout.delimiter = Some(told_delimiter(path, layout)?);
    }
    if layout.decimal_comma && layout.delimiter == Some(b',') {
        let fix = "a file with decimal commas needs another delimiter: set file.delimiter";
        return Err(ExchangeError::format(
            path,
            "has commas between fields and in numbers",
            fix,
        ));
    }
    let start = first_bytes(path)?;
    if start.starts_with(BOM) {
        notes.push("begins with a byte-order mark, passed over".into());
    }
    if start.windows(2).any(|pair| pair == b"\r\n") {
        notes.push("has CR LF line ends".into());
    }
    let mut rows = Splitter::open(path, layout)?;
    if !rows.ended_by_line {
        notes.push("does not end with a line end: its last row may have been cut short".into());
    }
    let latin_1 = layout.latin_1;
    let encoding = |line: u64| {
        let what = format!("line {line} is not UTF-8");
        let fix = "save the file as UTF-8, or write file.encoding = \"latin-1\" in the map";
        ExchangeError::format(path, what, fix)
    };
    let Some(first) = rows.next()? else {
        return Err(ExchangeError::format(
            path,
            "holds no row",
            "give a file that holds data",
        ));
    };
    let has_header = layout.header_line.is_some();
    let names: Option<Vec<String>> = (0..first.len())
        .map(|i| {
            if has_header {
                text(first.field(i), latin_1)
            } else {
                Some((i + 1).to_string())
            }
        })
        .collect();
    let line = rows.line;
    let names = names.ok_or_else(|| encoding(line))?;
    let mut units = vec![None; names.len()];
    let unit_row = if has_header && layout.units_row {
        rows.next()?
    } else {
        None
    };
    if let Some(row) = unit_row {
        let read: Option<Vec<String>> = (0..row.len()).map(|i| text(row.field(i), latin_1)).collect();
        let line = rows.line;
        let read = read.ok_or_else(|| encoding(line))?;
        for (unit, text) in units.iter_mut().zip(read) {
            let bare = text.trim_matches(['[', ']', '(', ')']).trim().to_owned();
            *unit = Some(bare).filter(|t| !t.is_empty());
        }
    }
    Ok(names
        .into_iter()
        .zip(units)
        .map(|(name, units)| ColumnInfo {
            name,
            units,
            ..ColumnInfo::default()
        })
        .collect())
}

fn first_bytes(path: &Path) -> Result<Vec<u8>, ExchangeError> {
    let mut start = Vec::new();
    File::open(path)
        .and_then(|file| file.take(1 << 16).read_to_end(&mut start))
        .map_err(|e| ExchangeError::io("read", path, e))?;
    Ok(start)
}

/// Rows of a text.
pub(super) struct Reader {
    rows: Splitter,
    wanted: Vec<usize>,
    due: usize,
    decimal_comma: bool,
    next_row: u64,
    decimals: Vec<Option<u32>>,
}

impl Reader {
    pub(super) fn open(
        path: &Path,
        layout: &Layout,
        wanted: &[usize],
        due: usize,
    ) -> Result<Self, ExchangeError> {
        let mut rows = Splitter::open(path, layout)?;
        let before = layout
            .header_line
            .map_or(0, |_| 1 + usize::from(layout.units_row));
        for _ in 0..before {
            rows.next()?;
        }
        Ok(Self {
            rows,
            wanted: wanted.to_vec(),
            due,
            decimal_comma: layout.decimal_comma,
            next_row: 1,
            decimals: vec![Some(0); wanted.len()],
        })
    }
}

impl Rows for Reader {
    fn next(&mut self) -> Result<Option<Batch>, ExchangeError> {
        let mut batch = Batch {
            first_row: self.next_row,
            columns: vec![Vec::with_capacity(BATCH_ROWS); self.wanted.len()],
            ..Batch::default()
        };
        let mut lines = Vec::with_capacity(BATCH_ROWS);
        let mut faults = Vec::new();
        while batch.rows < BATCH_ROWS {
            let Some(row) = self.rows.next()? else { break };
            let (got, at) = (row.len(), batch.rows);
            if got == self.due {
                for (column, index) in self.wanted.iter().enumerate() {
                    let field = row.field(*index).trim_ascii();
                    let value = number(field, self.decimal_comma);
                    if value.is_none() {
                        let text = shown(field);
                        faults.push((at, Fault::Cell { column, text }));
                    }
                    if let Some(most) = self.decimals.get_mut(column) {
                        *most = most.zip(decimals(field)).map(|(a, b)| a.max(b));
                    }
                    if let Some(values) = batch.columns.get_mut(column) {
                        values.push(value.unwrap_or(f64::NAN));
                    }
                }
            } else {
                batch.columns.iter_mut().for_each(|values| values.push(f64::NAN));
                faults.push((
                    at,
                    Fault::Fields {
                        got,
                        due: self.due,
                        at_end: false,
                    },
                ));
            }
            lines.push(self.rows.line);
            batch.rows += 1;
        }
        let cut = !self.rows.ended_by_line && self.rows.at_end();
        if let (Some((row, Fault::Fields { at_end, .. })), true) = (faults.last_mut(), cut) {
            *at_end = *row + 1 == batch.rows;
        }
        batch.faults = faults;
        batch.lines = Some(lines);
        self.next_row += batch.rows as u64;
        Ok((batch.rows > 0).then_some(batch))
    }

    fn decimals(&self) -> Vec<Option<u32>> {
        self.decimals.clone()
    }
}

/// A finite number.
fn number(field: &[u8], decimal_comma: bool) -> Option<f64> {
    let text = std::str::from_utf8(field).ok()?;
    let value: f64 = if decimal_comma {
        // A point beside a decimal comma would be a mark between thousands, which nobody can tell from a mistake.
        if text.contains('.') {
            return None;
        }
        text.replace(',', ".").parse().ok()?
    } else {
        text.parse().ok()?
    };
    value.is_finite().then_some(value)
}

/// How many decimals a number is written with; `None` if too many for a grid.
fn decimals(field: &[u8]) -> Option<u32> {
    let split = field.iter().position(|b| matches!(b, b'e' | b'E'));
    let (mantissa, exponent) = match split {
        Some(at) => (
            field.get(..at).unwrap_or_default(),
            field.get(at + 1..).unwrap_or_default(),
        ),
        None => (field, &b""[..]),
    };
    let point = mantissa.iter().position(|b| matches!(b, b'.' | b','));
    let behind = point.map_or(0, |at| mantissa.len() - at - 1);
    let exponent: i64 = match exponent {
        b"" => 0,
        digits => std::str::from_utf8(digits).ok()?.parse().ok()?,
    };
    let places = i64::try_from(behind).ok()?.checked_sub(exponent)?.max(0);
    u32::try_from(places)
        .ok()
        .filter(|places| *places <= MOST_DECIMALS)
}

/// A cell as a message shows it.
fn shown(field: &[u8]) -> String {
    if field.is_empty() {
        return "empty".into();
    }
    let text = String::from_utf8_lossy(field);
    let cut: String = text.chars().take(SHOWN).collect();
    let more = if text.chars().count() > SHOWN { "…" } else { "" };
    let hint = if text.contains(',') && text.replace(',', ".").parse::<f64>().is_ok() {
        " (a decimal comma? then write file.decimal = \",\")"
    } else {
        ""
    };
    format!("{cut:?}{more}{hint}")
}
