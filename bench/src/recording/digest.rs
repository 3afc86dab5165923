//! Digests of the objects of a file, over names, types and values, not over the file's bytes.
//!
//! The canonical form is given in `SCHEMA.md` ("The seal"), so that any HDF5 reader can compute it.

use std::path::Path;

use hdf5_metno::types::{FloatSize, IntSize, TypeDescriptor, VarLenUnicode};
use hdf5_metno::{Container, Dataset, File, Group, H5Type, Location};
use sha2::{Digest, Sha256};

use super::columns::{DigestRow, TableRow};
use super::error::RecordingError;
use super::h5::{self, Explain};

/// Version of the canonical form.
pub(super) const METHOD: &str = "sha256-objects-1";

/// Attributes of the root group that speak of the seal itself.
const SEAL_ATTRIBUTES: [&str; 2] = ["seal", "seal_method"];
/// Attributes by which HDF5 keeps dimension scales: references to addresses, different in each file.
const SCALE_ATTRIBUTES: [&str; 5] = [
    "CLASS",
    "NAME",
    "REFERENCE_LIST",
    "DIMENSION_LIST",
    "DIMENSION_LABELS",
];
/// Rows read at a time; a multiple of the sealed file's chunk.
const STEP: usize = 65_536;
/// How deep groups may lie; ours lie one deep.
const DEEPEST: usize = 8;

/// The digest of every object but the seal, ordered by path (bytewise).
///
/// # Errors
/// [`RecordingError::Damaged`] for an object that cannot be read or is of a type without canonical form.
pub(super) fn objects(file: &File, path: &Path) -> Result<Vec<DigestRow>, RecordingError> {
    let mut rows = Vec::new();
    walk(file, "/", path, DEEPEST, &mut rows)?;
    rows.sort_by(|a, b| a.object.cmp(&b.object));
    Ok(rows)
}

/// The seal: SHA-256 over one line an object, `<digest> <path>`, in order.
pub(super) fn of_list(rows: &[DigestRow]) -> String {
    let mut hash = Sha256::new();
    for row in rows {
        hash.update(format!("{} {}\n", row.sha256, row.object));
    }
    hexadecimal(&hash.finalize())
}

/// Two lower-case digits a byte.
pub(crate) fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn walk(
    group: &Group,
    name: &str,
    path: &Path,
    deep: usize,
    rows: &mut Vec<DigestRow>,
) -> Result<(), RecordingError> {
    if deep == 0 {
        return Err(RecordingError::damaged(
            path,
            name,
            format!("groups lie more than {DEEPEST} deep"),
        ));
    }
    let mut hash = Sha256::new();
    hash.update(format!("group {name}\n"));
    attributes(&mut hash, group, name, path)?;
    rows.push(DigestRow {
        object: name.to_owned(),
        sha256: hexadecimal(&hash.finalize()),
    });
    let base = name.trim_end_matches('/');
    for dataset in group
        .datasets()
        .doing(path, format!("list the datasets of {name}"))?
    {
        let object = format!("{base}/{}", last_part(&dataset.name()));
        let mut hash = Sha256::new();
        hash.update(format!("dataset {object}\n"));
        attributes(&mut hash, &dataset, &object, path)?;
        data(&mut hash, &dataset, &object, path)?;
        rows.push(DigestRow {
            object,
            sha256: hexadecimal(&hash.finalize()),
        });
    }
    for inner in group.groups().doing(path, format!("list the groups of {name}"))? {
        let object = format!("{base}/{}", last_part(&inner.name()));
        if object != format!("/{}", DigestRow::GROUP) {
            walk(&inner, &object, path, deep - 1, rows)?;
        }
    }
    Ok(())
}

fn last_part(name: &str) -> &str {
    name.rsplit('/').next().unwrap_or(name)
}

fn attributes(hash: &mut Sha256, at: &Location, object: &str, path: &Path) -> Result<(), RecordingError> {
    let mut names = at
        .attr_names()
        .doing(path, format!("list the attributes of {object}"))?;
    names.sort();
    for name in names {
        let bookkeeping = SCALE_ATTRIBUTES.contains(&name.as_str());
        if bookkeeping || (object == "/" && SEAL_ATTRIBUTES.contains(&name.as_str())) {
            continue;
        }
        let what = format!("{object}@{name}");
        let attribute = at.attr(&name).doing(path, format!("open {what}"))?;
        let kind = kind(&attribute, &what, path)?;
        hash.update(format!(
            "attribute {name} {} {}\n",
            kind.word(),
            shape(&attribute, path)?
        ));
        let bytes = kind.read_all(&attribute, &what, path)?;
        hash.update(bytes);
    }
    Ok(())
}

fn data(hash: &mut Sha256, dataset: &Dataset, object: &str, path: &Path) -> Result<(), RecordingError> {
    let kind = kind(dataset, object, path)?;
    hash.update(format!("data {} {}\n", kind.word(), shape(dataset, path)?));
    if dataset.ndim() != 1 {
        hash.update(kind.read_all(dataset, object, path)?);
        return Ok(());
    }
    let rows = h5::length(dataset, path)?;
    for start in (0..rows).step_by(STEP) {
        hash.update(kind.read_part(dataset, start..(start + STEP).min(rows), object, path)?);
    }
    Ok(())
}

/// `scalar`, or the axes' lengths joined by `x`.
fn shape(container: &Container, path: &Path) -> Result<String, RecordingError> {
    let axes = container
        .get_shape()
        .doing(path, format!("read the shape of {}", container.name()))?;
    let words: Vec<String> = axes.iter().map(usize::to_string).collect();
    Ok(if words.is_empty() {
        "scalar".to_owned()
    } else {
        words.join("x")
    })
}

/// The types that have a canonical form.
#[derive(Clone, Copy)]
enum Kind {
    Signed(IntSize),
    Unsigned(IntSize),
    Float(FloatSize),
    Text,
}

fn kind(container: &Container, object: &str, path: &Path) -> Result<Kind, RecordingError> {
    let described = container.dtype().and_then(|t| t.to_descriptor());
    match described.doing(path, format!("read the type of {object}"))? {
        TypeDescriptor::Integer(size) => Ok(Kind::Signed(size)),
        TypeDescriptor::Unsigned(size) => Ok(Kind::Unsigned(size)),
        TypeDescriptor::Float(size) => Ok(Kind::Float(size)),
        TypeDescriptor::VarLenUnicode => Ok(Kind::Text),
        other => Err(RecordingError::damaged(
            path,
            object,
            format!("is of type {other}, which the seal does not cover"),
        )),
    }
}

/// Reads values and lays them out as the canonical form has them.
macro_rules! canonical {
    ($read:expr, $number:ty) => {
        $read.map(|values: Vec<$number>| values.iter().flat_map(|v| v.to_le_bytes()).collect::<Vec<u8>>())
    };
}

impl Kind {
    fn word(self) -> &'static str {
        match self {
            Self::Signed(IntSize::U1) => "i8",
            Self::Signed(IntSize::U2) => "i16",
            Self::Signed(IntSize::U4) => "i32",
            Self::Signed(IntSize::U8) => "i64",
            Self::Unsigned(IntSize::U1) => "u8",
            Self::Unsigned(IntSize::U2) => "u16",
            Self::Unsigned(IntSize::U4) => "u32",
            Self::Unsigned(IntSize::U8) => "u64",
            Self::Float(FloatSize::U4) => "f32",
            Self::Float(FloatSize::U8) => "f64",
            Self::Text => "text",
        }
    }

    fn read_all(self, from: &Container, object: &str, path: &Path) -> Result<Vec<u8>, RecordingError> {
        self.read(&Whole(from), object, path)
    }

    fn read_part(
        self,
        from: &Container,
        rows: std::ops::Range<usize>,
        object: &str,
        path: &Path,
    ) -> Result<Vec<u8>, RecordingError> {
        self.read(&Part(from, rows), object, path)
    }

    fn read(self, from: &impl Values, object: &str, path: &Path) -> Result<Vec<u8>, RecordingError> {
        let bytes = match self {
            Self::Signed(IntSize::U1) => canonical!(from.values(), i8),
            Self::Signed(IntSize::U2) => canonical!(from.values(), i16),
            Self::Signed(IntSize::U4) => canonical!(from.values(), i32),
            Self::Signed(IntSize::U8) => canonical!(from.values(), i64),
            Self::Unsigned(IntSize::U1) => canonical!(from.values(), u8),
            Self::Unsigned(IntSize::U2) => canonical!(from.values(), u16),
            Self::Unsigned(IntSize::U4) => canonical!(from.values(), u32),
            Self::Unsigned(IntSize::U8) => canonical!(from.values(), u64),
            Self::Float(FloatSize::U4) => canonical!(from.values(), f32),
            Self::Float(FloatSize::U8) => canonical!(from.values(), f64),
            Self::Text => return texts(from, object, path),
        };
        bytes.map_err(|e| RecordingError::damaged(path, object, e.to_string()))
    }
}

/// Each text as its length in bytes (u64), then its UTF-8.
fn texts(from: &impl Values, object: &str, path: &Path) -> Result<Vec<u8>, RecordingError> {
    let values: Vec<VarLenUnicode> = from
        .values()
        .map_err(|e| RecordingError::damaged(path, object, e.to_string()))?;
    let mut bytes = Vec::new();
    for value in &values {
        let text = value.as_bytes();
        bytes.extend_from_slice(&(text.len() as u64).to_le_bytes());
        bytes.extend_from_slice(text);
    }
    Ok(bytes)
}

/// Where values are read from.
trait Values {
    fn values<T: H5Type>(&self) -> hdf5_metno::Result<Vec<T>>;
}

struct Whole<'a>(&'a Container);
struct Part<'a>(&'a Container, std::ops::Range<usize>);

impl Values for Whole<'_> {
    fn values<T: H5Type>(&self) -> hdf5_metno::Result<Vec<T>> {
        if self.0.size() == 0 {
            Ok(Vec::new())
        } else {
            self.0.read_raw()
        }
    }
}

impl Values for Part<'_> {
    fn values<T: H5Type>(&self) -> hdf5_metno::Result<Vec<T>> {
        self.0
            .read_slice_1d::<T, _>(self.1.clone())
            .map(|array| array.into_raw_vec_and_offset().0)
    }
}
