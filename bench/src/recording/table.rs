//! Tables as groups of one-dimensional datasets on a dimension scale `row`.

use std::path::Path;

use hdf5_metno::{Dataset, Group, H5Type, Location, types::VarLenUnicode};
use ndarray::ArrayView1;

use super::columns::{Cell, Cells, Column, Kind, TableRow};
use super::error::RecordingError;
use super::h5::{self, Explain};

/// Longer columns of numbers are chunked and compressed.
const CHUNK_ROWS: usize = 4096;

/// Writes all rows of one kind into a new group.
pub(super) fn write<T: TableRow>(root: &Group, path: &Path, rows: &[T]) -> Result<(), RecordingError> {
    let group = root
        .create_group(T::GROUP)
        .doing(path, format!("create group /{}", T::GROUP))?;
    h5::put_text(&group, path, "long_name", T::TITLE)?;
    let numbers: Vec<i64> = (0_i64..).take(rows.len()).collect();
    let scale = column(&group, path, "row", &numbers)?;
    describe(&scale, path, "1", "row")?;
    h5::make_scale(&scale, path, "row")?;
    let mut cells = Vec::with_capacity(rows.len());
    for row in rows {
        cells.push(
            row.cells()
                .map_err(|what| RecordingError::invalid(path, format!("/{}: {what}", T::GROUP)))?,
        );
    }
    for (index, c) in T::COLUMNS.iter().enumerate() {
        let dataset = write_column(&group, path, c, cells.iter().filter_map(|row| row.get(index)))?;
        describe(&dataset, path, c.units, c.long_name)?;
        h5::attach_scale(&dataset, path, &scale)?;
    }
    Ok(())
}

fn write_column<'a>(
    group: &Group,
    path: &Path,
    c: &Column,
    cells: impl Iterator<Item = &'a Cell>,
) -> Result<Dataset, RecordingError> {
    match c.kind {
        Kind::Whole => {
            let values: Vec<i64> = cells
                .filter_map(|v| if let Cell::Whole(v) = v { Some(*v) } else { None })
                .collect();
            column(group, path, c.name, &values)
        }
        Kind::Real => {
            let values: Vec<f64> = cells
                .filter_map(|v| if let Cell::Real(v) = v { Some(*v) } else { None })
                .collect();
            column(group, path, c.name, &values)
        }
        Kind::Text => {
            let mut values = Vec::new();
            for cell in cells {
                if let Cell::Text(text) = cell {
                    values.push(h5::to_h5_text(
                        path,
                        &format!("{}/{}", group.name(), c.name),
                        text,
                    )?);
                }
            }
            column(group, path, c.name, &values)
        }
    }
}

/// Writes one column; a table without rows gets columns of length 0.
fn column<T: H5Type>(
    group: &Group,
    path: &Path,
    name: &str,
    values: &[T],
) -> Result<Dataset, RecordingError> {
    let action = format!("write {}/{name}", group.name());
    let builder = group.new_dataset_builder();
    let dataset = if values.len() > CHUNK_ROWS {
        builder
            .chunk((CHUNK_ROWS,))
            .shuffle()
            .deflate(1)
            .empty::<T>()
            .shape((values.len(),))
            .create(name)
    } else {
        builder.empty::<T>().shape((values.len(),)).create(name)
    }
    .doing(path, action.clone())?;
    if !values.is_empty() {
        dataset.write_raw(ArrayView1::from(values)).doing(path, action)?;
    }
    Ok(dataset)
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
    let group = root.group(T::GROUP).map_err(|e| {
        RecordingError::damaged(path, format!("/{}", T::GROUP), format!("group is missing: {e}"))
    })?;
    let mut columns = Vec::with_capacity(T::COLUMNS.len());
    for c in T::COLUMNS {
        columns.push(read_column(&group, path, c)?.into_iter());
    }
    let rows = columns.first().map_or(0, ExactSizeIterator::len);
    if let Some((c, found)) = T::COLUMNS
        .iter()
        .zip(&columns)
        .find(|(_, values)| values.len() != rows)
    {
        let detail = format!("has {} rows, the first column has {rows}", found.len());
        return Err(RecordingError::damaged(
            path,
            format!("/{}/{}", T::GROUP, c.name),
            detail,
        ));
    }
    let mut out = Vec::with_capacity(rows);
    for index in 0..rows {
        let cells = columns.iter_mut().filter_map(Iterator::next).collect();
        let row = T::from_cells(&mut Cells::new(cells))
            .map_err(|what| RecordingError::damaged(path, format!("/{} row {index}", T::GROUP), what))?;
        out.push(row);
    }
    Ok(out)
}

fn read_column(group: &Group, path: &Path, c: &Column) -> Result<Vec<Cell>, RecordingError> {
    let object = format!("{}/{}", group.name(), c.name);
    let damaged = |e: hdf5_metno::Error| RecordingError::damaged(path, &object, e.to_string());
    let dataset = group.dataset(c.name).map_err(damaged)?;
    if h5::length(&dataset, path)? == 0 {
        return Ok(Vec::new());
    }
    match c.kind {
        Kind::Whole => Ok(dataset
            .read_raw::<i64>()
            .map_err(damaged)?
            .into_iter()
            .map(Cell::Whole)
            .collect()),
        Kind::Real => Ok(dataset
            .read_raw::<f64>()
            .map_err(damaged)?
            .into_iter()
            .map(Cell::Real)
            .collect()),
        Kind::Text => {
            let texts = dataset.read_raw::<VarLenUnicode>().map_err(damaged)?;
            texts
                .iter()
                .map(|t| h5::from_h5_text(path, &object, t).map(Cell::Text))
                .collect()
        }
    }
}
