//! HDF5, netCDF-4 and MATLAB 7.3 (which is HDF5): one-dimensional datasets of numbers, in slices.

use std::path::{Path, PathBuf};

use hdf5_metno::types::{FixedAscii, FixedUnicode, TypeDescriptor, VarLenAscii, VarLenUnicode};
use hdf5_metno::{Dataset, File, Group};
use ndarray::s;

use super::memory::uneven;
use super::{BATCH_ROWS, Batch, ColumnInfo, MOST_COLUMNS, Rows};
use crate::exchange::ExchangeError;

/// Deepest nesting of groups that is looked into.
const DEEPEST: usize = 8;
/// Most values a byte of file may stand for; deflate reaches about a thousand.
const MOST_PER_BYTE: u64 = 2048;

fn damaged(path: &Path, what: impl std::fmt::Display) -> ExchangeError {
    let fix = "check it with h5dump, or save it again";
    ExchangeError::format(path, format!("cannot be read as HDF5: {what}"), fix)
}

fn open(path: &Path) -> Result<File, ExchangeError> {
    File::with_options()
        .with_fapl(|access| access.file_locking(false))
        .open(path)
        .map_err(|e| damaged(path, e))
}

/// How the one long axis of a dataset lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Lie {
    Line,
    Down,
    Across,
}

/// Length and lie of a dataset with one long axis.
fn lie(shape: &[usize]) -> Option<(usize, Lie)> {
    match shape {
        [n] => Some((*n, Lie::Line)),
        [n, 1] => Some((*n, Lie::Down)),
        [1, n] => Some((*n, Lie::Across)),
        _ => None,
    }
}

/// The datasets of numbers with one long axis, by path.
pub(super) fn columns(path: &Path) -> Result<Vec<ColumnInfo>, ExchangeError> {
    let file = open(path)?;
    let mut found = Vec::new();
    collect(&file, DEEPEST, &mut found).map_err(|e| damaged(path, e))?;
    Ok(found)
}

fn collect(group: &Group, depth: usize, found: &mut Vec<ColumnInfo>) -> hdf5_metno::Result<()> {
    for dataset in group.datasets()? {
        let whole = match dataset.dtype().and_then(|t| t.to_descriptor()) {
            Ok(TypeDescriptor::Integer(_) | TypeDescriptor::Unsigned(_)) => true,
            Ok(TypeDescriptor::Float(_)) => false,
            _ => continue,
        };
        if lie(&dataset.shape()).is_none() || found.len() > MOST_COLUMNS {
            continue;
        }
        let scale = number(&dataset, "scale_factor");
        let offset = number(&dataset, "add_offset");
        found.push(ColumnInfo {
            name: dataset.name().trim_start_matches('/').to_owned(),
            units: text(&dataset, "units"),
            whole,
            packing: (scale.is_some() || offset.is_some())
                .then(|| (scale.unwrap_or(1.0), offset.unwrap_or(0.0))),
            fill: number(&dataset, "_FillValue"),
        });
    }
    if depth > 0 {
        for inner in group.groups()? {
            collect(&inner, depth - 1, found)?;
        }
    }
    Ok(())
}

/// A numeric attribute, scalar or of one element.
fn number(dataset: &Dataset, name: &str) -> Option<f64> {
    let attribute = dataset.attr(name).ok()?;
    match attribute.dtype().and_then(|t| t.to_descriptor()) {
        Ok(TypeDescriptor::Integer(_) | TypeDescriptor::Unsigned(_) | TypeDescriptor::Float(_)) => {}
        _ => return None,
    }
    if attribute.size() != 1 {
        return None;
    }
    attribute.read_raw::<f64>().ok()?.first().copied()
}

/// A text attribute, in whichever way it is stored.
fn text(dataset: &Dataset, name: &str) -> Option<String> {
    let attribute = dataset.attr(name).ok()?;
    let found = match attribute.dtype().and_then(|t| t.to_descriptor()).ok()? {
        TypeDescriptor::VarLenUnicode => attribute
            .read_scalar::<VarLenUnicode>()
            .ok()
            .map(|t| t.as_bytes().to_vec()),
        TypeDescriptor::VarLenAscii => attribute
            .read_scalar::<VarLenAscii>()
            .ok()
            .map(|t| t.as_bytes().to_vec()),
        TypeDescriptor::FixedAscii(n) if n <= 64 => attribute
            .read_scalar::<FixedAscii<64>>()
            .ok()
            .map(|t| t.as_bytes().to_vec()),
        TypeDescriptor::FixedUnicode(n) if n <= 64 => attribute
            .read_scalar::<FixedUnicode<64>>()
            .ok()
            .map(|t| t.as_bytes().to_vec()),
        _ => None,
    }?;
    String::from_utf8(found).ok().filter(|t| !t.is_empty())
}

/// Slices of datasets of one length.
pub(super) struct Reader {
    path: PathBuf,
    infos: Vec<ColumnInfo>,
    datasets: Vec<(Dataset, Lie)>,
    rows: usize,
    at: usize,
}

impl Reader {
    pub(super) fn open(path: &Path, infos: Vec<ColumnInfo>) -> Result<Self, ExchangeError> {
        let file = open(path)?;
        let mut datasets = Vec::with_capacity(infos.len());
        let mut lengths = Vec::with_capacity(infos.len());
        for info in &infos {
            let dataset = file
                .dataset(&info.name)
                .map_err(|e| damaged(path, format!("{}: {e}", info.name)))?;
            let (length, lie) = lie(&dataset.shape())
                .ok_or_else(|| damaged(path, format!("{} has another shape now", info.name)))?;
            lengths.push((info.name.clone(), length));
            datasets.push((dataset, lie));
        }
        if let Some(what) = uneven(&lengths) {
            return Err(ExchangeError::format(path, what, "map datasets of one recording"));
        }
        let rows = lengths.first().map_or(0, |(_, n)| *n);
        let bytes = std::fs::metadata(path)
            .map_err(|e| ExchangeError::io("read", path, e))?
            .len();
        if rows as u64 > bytes.saturating_mul(MOST_PER_BYTE) {
            return Err(damaged(
                path,
                format!("declares {rows} values in a file of {bytes} bytes"),
            ));
        }
        Ok(Self {
            path: path.to_owned(),
            infos,
            datasets,
            rows,
            at: 0,
        })
    }
}

impl Rows for Reader {
    fn next(&mut self) -> Result<Option<Batch>, ExchangeError> {
        let to = (self.at + BATCH_ROWS).min(self.rows);
        if self.at >= to {
            return Ok(None);
        }
        let range = self.at..to;
        let mut columns = Vec::with_capacity(self.datasets.len());
        for (dataset, lie) in &self.datasets {
            let values = match lie {
                Lie::Line => dataset.read_slice_1d::<f64, _>(range.clone()).map(|v| v.to_vec()),
                Lie::Down => dataset
                    .read_slice_2d::<f64, _>(s![range.clone(), 0..1])
                    .map(|v| v.iter().copied().collect()),
                Lie::Across => dataset
                    .read_slice_2d::<f64, _>(s![0..1, range.clone()])
                    .map(|v| v.iter().copied().collect()),
            };
            columns.push(values.map_err(|e| damaged(&self.path, format!("{}: {e}", dataset.name())))?);
        }
        let mut batch = Batch {
            first_row: self.at as u64 + 1,
            columns,
            rows: range.len(),
            ..Batch::default()
        };
        batch.note_missing(&self.infos.iter().collect::<Vec<_>>());
        self.at = to;
        Ok(Some(batch))
    }

    fn decimals(&self) -> Vec<Option<u32>> {
        vec![None; self.infos.len()]
    }
}
