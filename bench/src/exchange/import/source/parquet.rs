//! Parquet: flat columns of numbers, one row group after another.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

use parquet::basic::{ConvertedType, LogicalType, Type as Physical};
use parquet::column::reader::{ColumnReader, ColumnReaderImpl};
use parquet::data_type::DataType;
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::schema::types::ColumnDescriptor;

use super::{BATCH_ROWS, Batch, ColumnInfo, Rows, thrift};
use crate::exchange::ExchangeError;

/// Largest footer, and largest page when unpacked; writers make pages of about 1 MiB.
const MOST_FOOTER: u64 = 64 << 20;
const MOST_PAGE: i64 = 256 << 20;
/// Longest header of a page that is looked at.
const MOST_HEADER: u64 = 1 << 16;

fn damaged(path: &Path, what: impl std::fmt::Display) -> ExchangeError {
    let fix = "save it again, uncompressed or with snappy or gzip compression";
    ExchangeError::format(path, format!("cannot be read as Parquet: {what}"), fix)
}

/// Calls the library; a panic of its own on a damaged file is an error like the others.
fn guarded<T>(
    path: &Path,
    call: impl FnOnce() -> Result<T, parquet::errors::ParquetError>,
) -> Result<T, ExchangeError> {
    match catch_unwind(AssertUnwindSafe(call)) {
        Ok(done) => done.map_err(|e| damaged(path, e)),
        Err(_) => Err(damaged(path, "its contents contradict each other")),
    }
}

/// Checks the footer's lengths before the library reserves memory by them.
fn open(path: &Path) -> Result<SerializedFileReader<File>, ExchangeError> {
    let io = |e| ExchangeError::io("read", path, e);
    let mut file = File::open(path).map_err(io)?;
    let length = file.metadata().map_err(io)?.len();
    let mut tail = [0; 8];
    if length >= 12 {
        file.seek(SeekFrom::End(-8)).map_err(io)?;
        file.read_exact(&mut tail).map_err(io)?;
    }
    let [a, b, c, d, magic @ ..] = tail;
    if magic != *b"PAR1" {
        return Err(damaged(path, "the mark at its end is missing: it was cut short"));
    }
    let footer = u64::from(u32::from_le_bytes([a, b, c, d]));
    if footer > MOST_FOOTER || footer + 12 > length {
        return Err(damaged(
            path,
            format!("its footer declares {footer} bytes of {length}"),
        ));
    }
    let mut bytes = vec![0; usize::try_from(footer).unwrap_or(0)];
    file.seek(SeekFrom::End(-8 - footer as i64)).map_err(io)?;
    file.read_exact(&mut bytes).map_err(io)?;
    thrift::glance(&bytes).map_err(|what| damaged(path, what))?;
    guarded(path, || SerializedFileReader::new(file))
}

/// Whether a column holds plain numbers, one a row.
fn is_plain(column: &ColumnDescriptor) -> bool {
    let numbers = matches!(
        column.physical_type(),
        Physical::INT32 | Physical::INT64 | Physical::FLOAT | Physical::DOUBLE
    );
    let meant = match column.logical_type_ref() {
        None => matches!(
            column.converted_type(),
            ConvertedType::NONE
                | ConvertedType::INT_8
                | ConvertedType::INT_16
                | ConvertedType::INT_32
                | ConvertedType::INT_64
                | ConvertedType::UINT_8
                | ConvertedType::UINT_16
                | ConvertedType::UINT_32
        ),
        Some(LogicalType::Integer(whole)) => whole.is_signed || whole.bit_width < 64,
        Some(_) => false,
    };
    numbers && meant && column.max_rep_level() == 0
}

/// Whether whole numbers of 32 bits are without sign.
fn is_unsigned(column: &ColumnDescriptor) -> bool {
    match column.logical_type_ref() {
        Some(LogicalType::Integer(whole)) => !whole.is_signed,
        _ => column.converted_type() == ConvertedType::UINT_32,
    }
}

/// The flat columns of numbers.
pub(super) fn columns(path: &Path) -> Result<Vec<ColumnInfo>, ExchangeError> {
    let file = open(path)?;
    let metadata = file.metadata().file_metadata();
    let unit = |name: &str| {
        let pairs = metadata.key_value_metadata()?;
        let key = format!("units:{name}");
        pairs.iter().find(|p| p.key == key).and_then(|p| p.value.clone())
    };
    let columns = metadata.schema_descr().columns().iter().filter(|c| is_plain(c));
    Ok(columns
        .map(|column| ColumnInfo {
            name: column.path().parts().join("."),
            units: unit(column.name()),
            whole: matches!(column.physical_type(), Physical::INT32 | Physical::INT64),
            ..ColumnInfo::default()
        })
        .collect())
}

/// Rows, group by group.
pub(super) struct Reader {
    path: PathBuf,
    file: SerializedFileReader<File>,
    infos: Vec<ColumnInfo>,
    /// Positions of the wanted columns in the file, and whether they are without sign.
    wanted: Vec<(usize, bool)>,
    group: usize,
    columns: Vec<ColumnReader>,
    left: i64,
    next_row: u64,
}

impl Reader {
    pub(super) fn open(path: &Path, infos: Vec<ColumnInfo>) -> Result<Self, ExchangeError> {
        let file = open(path)?;
        let schema = file.metadata().file_metadata().schema_descr();
        let all = schema.columns();
        let mut wanted = Vec::with_capacity(infos.len());
        for info in &infos {
            let at = all
                .iter()
                .position(|c| c.path().parts().join(".") == info.name)
                .ok_or_else(|| damaged(path, format!("column {:?} is gone", info.name)))?;
            wanted.push((at, all.get(at).is_some_and(|c| is_unsigned(c))));
        }
        Ok(Self {
            path: path.to_owned(),
            file,
            infos,
            wanted,
            group: 0,
            columns: Vec::new(),
            left: 0,
            next_row: 1,
        })
    }

    /// Opens the next row group with rows; `false` behind the last.
    fn next_group(&mut self) -> Result<bool, ExchangeError> {
        while self.left == 0 {
            if self.group >= self.file.num_row_groups() {
                return Ok(false);
            }
            let path = self.path.clone();
            let metadata = self.file.metadata().row_group(self.group);
            let rows = metadata.num_rows();
            for (column, _) in &self.wanted {
                let chunk = metadata
                    .columns()
                    .get(*column)
                    .ok_or_else(|| damaged(&path, "a row group lacks a column"))?;
                if chunk.num_values() != rows {
                    let what = format!(
                        "a column chunk of {} values in a group of {rows} rows",
                        chunk.num_values()
                    );
                    return Err(damaged(&path, what));
                }
                let (start, length) = guarded(&path, || Ok(chunk.byte_range()))?;
                check_pages(&path, start, length).map_err(|what| damaged(&path, what))?;
            }
            let group = guarded(&path, || self.file.get_row_group(self.group))?;
            let mut columns = Vec::with_capacity(self.wanted.len());
            for (column, _) in &self.wanted {
                columns.push(guarded(&path, || group.get_column_reader(*column))?);
            }
            drop(group);
            self.columns = columns;
            self.left = rows;
            self.group += 1;
        }
        Ok(true)
    }
}

/// Walks over the headers of a column chunk's pages.
fn check_pages(path: &Path, start: u64, length: u64) -> Result<(), String> {
    let mut file = File::open(path).map_err(|e| e.to_string())?;
    let end = start.checked_add(length).ok_or("a column chunk is too long")?;
    let there = file.metadata().map_err(|e| e.to_string())?.len();
    if end > there {
        return Err(format!(
            "a column chunk is to end at byte {end}, the file ends at {there}"
        ));
    }
    let mut at = start;
    while at < end {
        file.seek(SeekFrom::Start(at)).map_err(|e| e.to_string())?;
        let mut bytes = Vec::new();
        (&mut file)
            .take(MOST_HEADER.min(end - at))
            .read_to_end(&mut bytes)
            .map_err(|e| e.to_string())?;
        let header = thrift::glance(&bytes)?;
        let (unpacked, packed) = (header.number(2).unwrap_or(-1), header.number(3).unwrap_or(-1));
        if !(0..=MOST_PAGE).contains(&unpacked) {
            return Err(format!(
                "a page declares {unpacked} bytes, at most {MOST_PAGE} are read"
            ));
        }
        let packed = u64::try_from(packed).map_err(|_| format!("a page declares {packed} packed bytes"))?;
        at = at
            .checked_add(header.length as u64)
            .and_then(|at| at.checked_add(packed))
            .filter(|at| *at <= end)
            .ok_or("a page is to end behind its column chunk")?;
    }
    Ok(())
}

/// Reads `rows` values; a missing one is NaN.
fn take<T: DataType>(
    reader: &mut ColumnReaderImpl<T>,
    rows: usize,
    value: impl Fn(&T::T) -> f64,
) -> Result<Vec<f64>, parquet::errors::ParquetError> {
    let mut levels: Vec<i16> = Vec::new();
    let mut found: Vec<T::T> = Vec::new();
    let mut got = 0;
    while got < rows {
        let (records, _, _) = reader.read_records(rows - got, Some(&mut levels), None, &mut found)?;
        if records == 0 {
            break;
        }
        got += records;
    }
    // Levels tell missing values from those that are there; columns that cannot miss any have none.
    if levels.is_empty() {
        return Ok(found.iter().map(value).collect());
    }
    let most = levels.iter().max().copied().unwrap_or(0).max(1);
    let mut there = found.iter().map(value);
    Ok(levels
        .iter()
        .map(|level| {
            if *level == most {
                there.next().unwrap_or(f64::NAN)
            } else {
                f64::NAN
            }
        })
        .collect())
}

fn read_column(
    reader: &mut ColumnReader,
    rows: usize,
    unsigned: bool,
) -> Result<Vec<f64>, parquet::errors::ParquetError> {
    match reader {
        ColumnReader::Int32ColumnReader(r) if unsigned => take(r, rows, |v| f64::from(v.cast_unsigned())),
        ColumnReader::Int32ColumnReader(r) => take(r, rows, |v| f64::from(*v)),
        ColumnReader::Int64ColumnReader(r) => take(r, rows, |v| *v as f64),
        ColumnReader::FloatColumnReader(r) => take(r, rows, |v| f64::from(*v)),
        ColumnReader::DoubleColumnReader(r) => take(r, rows, |v| *v),
        _ => Ok(Vec::new()),
    }
}

impl Rows for Reader {
    fn next(&mut self) -> Result<Option<Batch>, ExchangeError> {
        if !self.next_group()? {
            return Ok(None);
        }
        let rows = usize::try_from(self.left).unwrap_or(usize::MAX).min(BATCH_ROWS);
        let mut columns = Vec::with_capacity(self.columns.len());
        for ((reader, info), (_, unsigned)) in self.columns.iter_mut().zip(&self.infos).zip(&self.wanted) {
            let values = guarded(&self.path, || read_column(reader, rows, *unsigned))?;
            if values.len() != rows {
                let what = format!(
                    "column {:?} ends after {} rows of {rows}",
                    info.name,
                    values.len()
                );
                return Err(damaged(&self.path, what));
            }
            columns.push(values);
        }
        let mut batch = Batch {
            first_row: self.next_row,
            columns,
            rows,
            ..Batch::default()
        };
        batch.note_missing(&self.infos.iter().collect::<Vec<_>>());
        self.left -= rows as i64;
        self.next_row += rows as u64;
        Ok(Some(batch))
    }

    fn decimals(&self) -> Vec<Option<u32>> {
        vec![None; self.infos.len()]
    }
}
