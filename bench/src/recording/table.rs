//! Tables as groups of one-dimensional datasets on a dimension scale `row`.

use std::borrow::Borrow;
use std::marker::PhantomData;
use std::ops::Range;
use std::path::{Path, PathBuf};

use hdf5_metno::{Dataset, Group, H5Type, Location, types::VarLenUnicode};
use ndarray::ArrayView1;

use super::columns::{Cell, Cells, Column, Kind, TableRow};
use super::error::RecordingError;
use super::h5::{self, Explain};

/// Longer columns of numbers are chunked and compressed.
const CHUNK_ROWS: usize = 4096;
/// Rows held in memory while a table is written or read; whole chunks.
const PIECE_ROWS: usize = 2 * CHUNK_ROWS;

/// Writes all rows of one kind into a new group.
pub(super) fn write<T: TableRow>(root: &Group, path: &Path, rows: &[T]) -> Result<(), RecordingError> {
    write_each::<T, &T>(root, path, rows.len(), rows.iter().map(Ok))
}

/// As [`write`], of `length` rows that are made one by one; a piece of them is held in memory.
pub(super) fn write_each<T: TableRow, R: Borrow<T>>(
    root: &Group,
    path: &Path,
    length: usize,
    mut rows: impl Iterator<Item = Result<R, RecordingError>>,
) -> Result<(), RecordingError> {
    let group = root
        .create_group(T::GROUP)
        .doing(path, format!("create group /{}", T::GROUP))?;
    h5::put_text(&group, path, "long_name", T::TITLE)?;
    let scale = create::<i64>(&group, path, "row", length)?;
    describe(&scale, path, "1", "row")?;
    h5::make_scale(&scale, path, "row")?;
    let mut columns = Vec::with_capacity(T::COLUMNS.len());
    for c in T::COLUMNS {
        let column = Filling::create(&group, path, c, length)?;
        describe(&column.dataset, path, c.units, c.long_name)?;
        h5::attach_scale(&column.dataset, path, &scale)?;
        columns.push(column);
    }
    for piece in pieces(0..length) {
        let numbers: Vec<i64> = (0_i64..).skip(piece.start).take(piece.len()).collect();
        write_part(&scale, path, &numbers, piece.clone())?;
        for index in piece.clone() {
            let row = rows.next().unwrap_or_else(|| {
                let what = format!("ends after {index} of {length} rows");
                Err(RecordingError::damaged(path, format!("/{}", T::GROUP), what))
            })?;
            let cells = row
                .borrow()
                .cells()
                .map_err(|what| RecordingError::invalid(path, format!("/{}: {what}", T::GROUP)))?;
            for (column, cell) in columns.iter_mut().zip(cells) {
                column.take(path, cell)?;
            }
        }
        for column in &mut columns {
            column.write(path, piece.clone())?;
        }
    }
    Ok(())
}

/// `range` cut into pieces that memory may hold.
fn pieces(range: Range<usize>) -> impl Iterator<Item = Range<usize>> {
    let end = range.end;
    range
        .step_by(PIECE_ROWS)
        .map(move |start| start..end.min(start + PIECE_ROWS))
}

/// A column of a new table, with the values that are not yet in the file.
struct Filling {
    dataset: Dataset,
    waiting: Waiting,
}

enum Waiting {
    Whole(Vec<i64>),
    Real(Vec<f64>),
    Text(Vec<VarLenUnicode>),
}

impl Filling {
    fn create(group: &Group, path: &Path, c: &Column, length: usize) -> Result<Self, RecordingError> {
        let (dataset, waiting) = match c.kind {
            Kind::Whole => (
                create::<i64>(group, path, c.name, length)?,
                Waiting::Whole(Vec::new()),
            ),
            Kind::Real => (
                create::<f64>(group, path, c.name, length)?,
                Waiting::Real(Vec::new()),
            ),
            Kind::Text => (
                create::<VarLenUnicode>(group, path, c.name, length)?,
                Waiting::Text(Vec::new()),
            ),
        };
        Ok(Self { dataset, waiting })
    }

    fn take(&mut self, path: &Path, cell: Cell) -> Result<(), RecordingError> {
        match (&mut self.waiting, cell) {
            (Waiting::Whole(values), Cell::Whole(v)) => values.push(v),
            (Waiting::Real(values), Cell::Real(v)) => values.push(v),
            (Waiting::Text(values), Cell::Text(text)) => {
                values.push(h5::to_h5_text(path, &self.dataset.name(), &text)?);
            }
            (_, cell) => {
                let what = format!("{}: {cell:?} is not of the column's kind", self.dataset.name());
                return Err(RecordingError::invalid(path, what));
            }
        }
        Ok(())
    }

    fn write(&mut self, path: &Path, rows: Range<usize>) -> Result<(), RecordingError> {
        match &mut self.waiting {
            Waiting::Whole(values) => write_part(&self.dataset, path, values, rows).map(|()| values.clear()),
            Waiting::Real(values) => write_part(&self.dataset, path, values, rows).map(|()| values.clear()),
            Waiting::Text(values) => write_part(&self.dataset, path, values, rows).map(|()| values.clear()),
        }
    }
}

/// Creates one column; a table without rows gets columns of length 0.
fn create<T: H5Type>(
    group: &Group,
    path: &Path,
    name: &str,
    length: usize,
) -> Result<Dataset, RecordingError> {
    let builder = group.new_dataset_builder();
    if length > CHUNK_ROWS {
        builder
            .chunk((CHUNK_ROWS,))
            .shuffle()
            .deflate(1)
            .empty::<T>()
            .shape((length,))
            .create(name)
    } else {
        builder.empty::<T>().shape((length,)).create(name)
    }
    .doing(path, format!("create {}/{name}", group.name()))
}

fn write_part<T: H5Type>(
    dataset: &Dataset,
    path: &Path,
    values: &[T],
    rows: Range<usize>,
) -> Result<(), RecordingError> {
    dataset
        .write_slice(ArrayView1::from(values), rows)
        .doing(path, format!("write {}", dataset.name()))
}

/// Unit and name of a column.
fn describe(at: &Location, path: &Path, units: &str, long_name: &str) -> Result<(), RecordingError> {
    if !units.is_empty() {
        h5::put_text(at, path, "units", units)?;
    }
    h5::put_text(at, path, "long_name", long_name)
}

/// Reads all rows of one kind. Columns this version does not know are passed over.
pub(super) fn read<T: TableRow>(root: &Group, path: &Path) -> Result<Vec<T>, RecordingError> {
    let table = Table::<T>::open(root, path)?;
    let mut rows = Vec::with_capacity(table.rows());
    for piece in pieces(0..table.rows()) {
        rows.extend(table.read(piece)?);
    }
    Ok(rows)
}

/// A table of an open file, read when asked.
pub(super) struct Table<T> {
    path: PathBuf,
    columns: Vec<Dataset>,
    rows: usize,
    kind: PhantomData<T>,
}

impl<T: TableRow> Table<T> {
    /// Opens the group; all its columns must be there and of one length.
    pub(super) fn open(root: &Group, path: &Path) -> Result<Self, RecordingError> {
        let group = root.group(T::GROUP).map_err(|e| {
            RecordingError::damaged(path, format!("/{}", T::GROUP), format!("group is missing: {e}"))
        })?;
        let mut columns = Vec::with_capacity(T::COLUMNS.len());
        let mut rows = None;
        for c in T::COLUMNS {
            let object = format!("/{}/{}", T::GROUP, c.name);
            let dataset = group
                .dataset(c.name)
                .map_err(|e| RecordingError::damaged(path, &object, e.to_string()))?;
            let length = h5::length(&dataset, path)?;
            let due = *rows.get_or_insert(length);
            if length != due {
                let detail = format!("has {length} rows, the first column has {due}");
                return Err(RecordingError::damaged(path, object, detail));
            }
            columns.push(dataset);
        }
        Ok(Self {
            path: path.to_owned(),
            columns,
            rows: rows.unwrap_or(0),
            kind: PhantomData,
        })
    }

    /// Number of rows.
    pub(super) const fn rows(&self) -> usize {
        self.rows
    }

    /// The next rows from `start` on, as many as memory may hold; none behind the last.
    pub(super) fn read_from(&self, start: usize) -> Result<Vec<T>, RecordingError> {
        self.read(start..self.rows.min(start.saturating_add(PIECE_ROWS)))
    }

    fn read(&self, range: Range<usize>) -> Result<Vec<T>, RecordingError> {
        if range.is_empty() {
            return Ok(Vec::new());
        }
        let mut columns = Vec::with_capacity(T::COLUMNS.len());
        for (dataset, c) in self.columns.iter().zip(T::COLUMNS) {
            columns.push(read_part(dataset, &self.path, c, range.clone())?.into_iter());
        }
        let mut out = Vec::with_capacity(range.len());
        for index in range {
            let cells = columns.iter_mut().filter_map(Iterator::next).collect();
            let row = T::from_cells(&mut Cells::new(cells)).map_err(|what| {
                RecordingError::damaged(&self.path, format!("/{} row {index}", T::GROUP), what)
            })?;
            out.push(row);
        }
        Ok(out)
    }
}

fn read_part(
    dataset: &Dataset,
    path: &Path,
    c: &Column,
    rows: Range<usize>,
) -> Result<Vec<Cell>, RecordingError> {
    let object = dataset.name();
    let damaged = |e: hdf5_metno::Error| RecordingError::damaged(path, &object, e.to_string());
    match c.kind {
        Kind::Whole => {
            let values = dataset.read_slice_1d::<i64, _>(rows).map_err(damaged)?;
            Ok(values.into_iter().map(Cell::Whole).collect())
        }
        Kind::Real => {
            let values = dataset.read_slice_1d::<f64, _>(rows).map_err(damaged)?;
            Ok(values.into_iter().map(Cell::Real).collect())
        }
        Kind::Text => {
            let texts = dataset.read_slice_1d::<VarLenUnicode, _>(rows).map_err(damaged)?;
            texts
                .iter()
                .map(|t| h5::from_h5_text(path, &object, t).map(Cell::Text))
                .collect()
        }
    }
}
