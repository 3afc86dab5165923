//! Files of numbers, read column by column in batches of rows, whatever their format.
//!
//! CSV, Parquet and HDF5 are read in pieces, so that memory does not grow with the file. Members of an `.npz` and
//! variables of a `.mat` of level 5 are compressed as a whole: the columns in use are held in memory.

mod delimited;
mod hdf5;
mod matlab;
mod memory;
mod numpy;
mod numpy_header;
mod parquet;
mod thrift;

use std::path::{Path, PathBuf};

use crate::exchange::ExchangeError;
pub(crate) use delimited::Layout;

/// Rows handed on at a time.
pub(crate) const BATCH_ROWS: usize = 8192;
/// Most columns a file may have.
pub(crate) const MOST_COLUMNS: usize = 4096;
/// Most bytes that one compressed column may take in memory.
pub(crate) const MOST_COLUMN_BYTES: u64 = 2 << 30;

/// What a file says of one of its columns.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct ColumnInfo {
    /// Name as in the file.
    pub(crate) name: String,
    /// Unit as the file writes it, if it does.
    pub(crate) units: Option<String>,
    /// Whether it is stored as whole numbers.
    pub(crate) whole: bool,
    /// `scale_factor` and `add_offset` of packed values (CF conventions).
    pub(crate) packing: Option<(f64, f64)>,
    /// The value that stands for a missing one.
    pub(crate) fill: Option<f64>,
}

/// Something wrong with a row.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Fault {
    /// A row with another number of fields than the header.
    Fields { got: usize, due: usize, at_end: bool },
    /// A cell that is no finite number; the position is that among the wanted columns.
    Cell { column: usize, text: String },
}

/// Rows in a block. A cell that is no finite number is NaN and has its fault.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Batch {
    /// Number of the first data row, from 1.
    pub(crate) first_row: u64,
    /// Line of each row, for text files.
    pub(crate) lines: Option<Vec<u64>>,
    /// The wanted columns in the order in which they were asked for, as stored (packing not applied).
    pub(crate) columns: Vec<Vec<f64>>,
    /// Faults by position in the block.
    pub(crate) faults: Vec<(usize, Fault)>,
    /// Number of rows.
    pub(crate) rows: usize,
}

impl Batch {
    /// Notes every cell that is not finite and has no fault yet; for formats whose cells are numbers.
    fn note_missing(&mut self, columns: &[&ColumnInfo]) {
        for (column, (values, info)) in self.columns.iter_mut().zip(columns).enumerate() {
            for (row, value) in values.iter_mut().enumerate() {
                let filled = info.fill.is_some_and(|fill| fill.to_bits() == value.to_bits());
                if value.is_finite() && !filled {
                    continue;
                }
                let text = if filled {
                    format!("fill value {value}")
                } else {
                    value.to_string()
                };
                *value = f64::NAN;
                self.faults.push((row, Fault::Cell { column, text }));
            }
        }
        self.faults.sort_by_key(|(row, _)| *row);
    }
}

/// Rows of the wanted columns, from the first to the last.
pub(crate) trait Rows {
    /// The next rows, `None` behind the last.
    fn next(&mut self) -> Result<Option<Batch>, ExchangeError>;
    /// For each wanted column the most decimals its numbers were written with so far; `None` for formats that are not
    /// text, and for numbers written with so many that they are no decimal grid.
    fn decimals(&self) -> Vec<Option<u32>>;
}

/// Kinds of file, told by their first bytes, text by its ending.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Kind {
    Delimited,
    Parquet,
    Numpy,
    Matlab,
    Hdf5,
}

impl Kind {
    fn words(self) -> &'static str {
        match self {
            Self::Delimited => "delimited text",
            Self::Parquet => "Parquet",
            Self::Numpy => "NumPy npz",
            Self::Matlab => "MATLAB level 5",
            Self::Hdf5 => "HDF5",
        }
    }
}

/// Whether HDF5's library would read a file.
pub(crate) fn is_hdf5(path: &Path) -> Result<bool, ExchangeError> {
    Ok(kind_of(path)? == Kind::Hdf5)
}

/// A data file whose columns are known.
#[derive(Debug)]
pub(crate) struct DataFile {
    path: PathBuf,
    kind: Kind,
    layout: Layout,
    columns: Vec<ColumnInfo>,
    /// What was noticed when opening, for the report.
    pub(crate) notes: Vec<String>,
}

impl DataFile {
    /// Opens a file and reads what columns it has. `layout` is used for text alone.
    pub(crate) fn open(path: &Path, layout: &Layout) -> Result<Self, ExchangeError> {
        let kind = kind_of(path)?;
        let mut layout = layout.clone();
        let mut notes = Vec::new();
        let columns = match kind {
            Kind::Delimited => delimited::columns(path, &mut layout, &mut notes)?,
            Kind::Parquet => parquet::columns(path)?,
            Kind::Numpy => numpy::columns(path)?,
            Kind::Matlab => matlab::columns(path)?,
            Kind::Hdf5 => hdf5::columns(path)?,
        };
        if columns.is_empty() {
            let fix = "give a file with one-dimensional columns of numbers";
            return Err(ExchangeError::format(path, "holds no column of numbers", fix));
        }
        if columns.len() > MOST_COLUMNS {
            let what = format!("has {} columns, at most {MOST_COLUMNS} are read", columns.len());
            let fix = "is the delimiter in the map right? Otherwise keep fewer columns";
            return Err(ExchangeError::format(path, what, fix));
        }
        Ok(Self {
            path: path.to_owned(),
            kind,
            layout,
            columns,
            notes,
        })
    }

    /// The kind of file, in words.
    pub(crate) fn kind(&self) -> &'static str {
        self.kind.words()
    }

    pub(crate) fn column(&self, index: usize) -> Option<&ColumnInfo> {
        self.columns.get(index)
    }

    /// Position of a column.
    pub(crate) fn find(&self, name: &str) -> Result<usize, ExchangeError> {
        if let Some(found) = self.columns.iter().position(|c| c.name == name) {
            return Ok(found);
        }
        let names: Vec<String> = self.columns.iter().map(|c| c.name.clone()).collect();
        let lower: Vec<String> = names.iter().map(|n| n.to_lowercase()).collect();
        let nearest = settings_file::nearest(&name.to_lowercase(), lower.iter().map(String::as_str))
            .and_then(|near| lower.iter().position(|n| n == near))
            .and_then(|at| names.get(at).cloned());
        let shown = names.iter().take(40).cloned().collect::<Vec<_>>().join(", ");
        let available = if names.len() > 40 {
            format!("{shown}, …")
        } else {
            shown
        };
        Err(ExchangeError::NoColumn {
            path: self.path.clone(),
            name: name.to_owned(),
            nearest,
            available,
        })
    }

    /// Starts reading the columns at `wanted`.
    pub(crate) fn rows(&self, wanted: &[usize]) -> Result<Box<dyn Rows>, ExchangeError> {
        let infos: Vec<ColumnInfo> = wanted
            .iter()
            .filter_map(|i| self.columns.get(*i).cloned())
            .collect();
        let path = self.path.as_path();
        Ok(match self.kind {
            Kind::Delimited => Box::new(delimited::Reader::open(
                path,
                &self.layout,
                wanted,
                self.columns.len(),
            )?),
            Kind::Parquet => Box::new(parquet::Reader::open(path, infos)?),
            Kind::Numpy => Box::new(numpy::read(path, infos)?),
            Kind::Matlab => Box::new(matlab::read(path, infos)?),
            Kind::Hdf5 => Box::new(hdf5::Reader::open(path, infos)?),
        })
    }
}

/// Tells the kind of a file.
fn kind_of(path: &Path) -> Result<Kind, ExchangeError> {
    let mut start = Vec::new();
    std::fs::File::open(path)
        .and_then(|file| std::io::Read::read_to_end(&mut std::io::Read::take(file, 520), &mut start))
        .map_err(|e| ExchangeError::io("read", path, e))?;
    if start.is_empty() {
        return Err(ExchangeError::format(
            path,
            "is empty",
            "give a file that holds data",
        ));
    }
    let refuse = |what: &str, fix: &str| Err(ExchangeError::format(path, what, fix));
    let begins = |magic: &[u8]| start.starts_with(magic);
    // MATLAB 7.3 files are HDF5 behind a block of 512 bytes.
    let hdf5 = b"\x89HDF\r\n\x1a\n";
    if begins(hdf5) || start.get(512..).is_some_and(|rest| rest == hdf5) {
        return Ok(Kind::Hdf5);
    }
    if begins(b"PAR1") {
        return Ok(Kind::Parquet);
    }
    if begins(b"PK\x03\x04") || begins(b"PK\x05\x06") {
        return Ok(Kind::Numpy);
    }
    if begins(b"MATLAB 5.0") {
        return Ok(Kind::Matlab);
    }
    if begins(b"\x93NUMPY") {
        return refuse(
            "is a single NumPy array",
            "save the columns by name with numpy.savez",
        );
    }
    if begins(b"CDF\x01") || begins(b"CDF\x02") || begins(b"CDF\x05") {
        return refuse(
            "is netCDF of the classic kind",
            "convert it to netCDF-4 with `nccopy -k nc4`",
        );
    }
    if begins(b"ARROW1") {
        return refuse("is Arrow IPC", "save it as Parquet");
    }
    if begins(b"\x1f\x8b") {
        return refuse("is compressed with gzip", "unpack it first");
    }
    if begins(b"\xff\xfe") || begins(b"\xfe\xff") {
        return refuse("is text in UTF-16", "save it as UTF-8");
    }
    if start.contains(&0) {
        return refuse(
            "is of no kind that is read here",
            "give CSV or TSV text, Parquet, npz, mat (5 or 7.3), HDF5 or netCDF-4",
        );
    }
    Ok(Kind::Delimited)
}
