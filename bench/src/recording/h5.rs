//! Small steps of reading and writing HDF5 objects, with errors that name file and object.

use std::path::Path;

use hdf5_metno::{Container, Dataset, File, FileBuilder, H5Type, Location, types::VarLenUnicode};

use super::error::RecordingError;
use super::scales;

/// Adds file and action to a library's error.
pub(super) trait Explain<T> {
    /// `action` completes "HDF5 could not …".
    fn doing(self, path: &Path, action: impl Into<String>) -> Result<T, RecordingError>;
}

impl<T> Explain<T> for hdf5_metno::Result<T> {
    fn doing(self, path: &Path, action: impl Into<String>) -> Result<T, RecordingError> {
        self.map_err(|e| RecordingError::hdf5(path, action, &e))
    }
}

impl<T> Explain<T> for Result<T, String> {
    fn doing(self, path: &Path, action: impl Into<String>) -> Result<T, RecordingError> {
        self.map_err(|detail| RecordingError::Hdf5 {
            path: path.to_owned(),
            action: action.into(),
            detail,
        })
    }
}

/// How every file of ours is opened.
///
/// Formats of HDF5 1.10, which the one-writer-many-readers mode needs and common readers know. Without the operating
/// system's locks: a program started while a file is open inherits its lock and keeps it, so that the file could not
/// be opened again until that program ends. What the locks would guard is guarded by the mark that HDF5 keeps in a
/// file that is open for writing, by never creating over an existing file, and by renaming.
pub(super) fn access() -> FileBuilder {
    let mut builder = File::with_options();
    builder.with_fapl(|access| access.libver_v110().file_locking(false));
    builder
}

/// A string as HDF5 holds it. HDF5 strings end at the first NUL, so one inside would lose the rest: refused.
pub(super) fn to_h5_text(path: &Path, what: &str, text: &str) -> Result<VarLenUnicode, RecordingError> {
    text.parse().map_err(|_| {
        RecordingError::invalid(
            path,
            format!("{what}: {text:?} holds a NUL character, which HDF5 cannot keep; remove it"),
        )
    })
}

/// A string read from HDF5, checked to be UTF-8 (a foreign program may have written anything).
pub(super) fn from_h5_text(
    path: &Path,
    object: &str,
    text: &VarLenUnicode,
) -> Result<String, RecordingError> {
    std::str::from_utf8(text.as_bytes())
        .map(str::to_owned)
        .map_err(|e| RecordingError::damaged(path, object, format!("text is not UTF-8: {e}")))
}

/// Writes a new scalar text attribute.
pub(super) fn put_text(at: &Location, path: &Path, name: &str, text: &str) -> Result<(), RecordingError> {
    let value = to_h5_text(path, name, text)?;
    put(at, path, name, &value)
}

/// Writes a new scalar attribute.
pub(super) fn put<T: H5Type>(
    at: &Location,
    path: &Path,
    name: &str,
    value: &T,
) -> Result<(), RecordingError> {
    at.new_attr::<T>()
        .create(name)
        .and_then(|attribute| attribute.write_scalar(value))
        .doing(path, format!("write attribute {name} of {}", at.name()))
}

/// Reads a scalar attribute.
pub(super) fn get<T: H5Type>(at: &Location, path: &Path, name: &str) -> Result<T, RecordingError> {
    at.attr(name)
        .and_then(|attribute| attribute.read_scalar())
        .map_err(|e| {
            RecordingError::damaged(
                path,
                at.name(),
                format!("attribute {name} is missing or of another type: {e}"),
            )
        })
}

/// Reads a scalar text attribute.
pub(super) fn get_text(at: &Location, path: &Path, name: &str) -> Result<String, RecordingError> {
    let value: VarLenUnicode = get(at, path, name)?;
    from_h5_text(path, &format!("{}@{name}", at.name()), &value)
}

/// Makes `dataset` a dimension scale called `name`.
pub(super) fn make_scale(dataset: &Dataset, path: &Path, name: &str) -> Result<(), RecordingError> {
    scales::make_scale(dataset, name).doing(path, format!("make {} a dimension scale", dataset.name()))
}

/// Attaches `scale` to the only axis of `dataset`.
pub(super) fn attach_scale(dataset: &Dataset, path: &Path, scale: &Dataset) -> Result<(), RecordingError> {
    scales::attach_scale(dataset, scale).doing(
        path,
        format!("attach scale {} to {}", scale.name(), dataset.name()),
    )
}

/// Length of a one-dimensional dataset.
pub(super) fn length(dataset: &Container, path: &Path) -> Result<usize, RecordingError> {
    let shape = dataset
        .get_shape()
        .doing(path, format!("read the shape of {}", dataset.name()))?;
    match shape.as_slice() {
        [n] => Ok(*n),
        other => Err(RecordingError::damaged(
            path,
            dataset.name(),
            format!("has shape {other:?}, one axis is due"),
        )),
    }
}
