//! NumPy's `.npz`: a zip archive with one `.npy` array a member.

use std::fs::File;
use std::io::{BufReader, Read};
use std::path::Path;

use zip::ZipArchive;

use super::memory::{Columns, uneven};
use super::numpy_header::{self, Array};
use super::{ColumnInfo, MOST_COLUMN_BYTES};
use crate::exchange::ExchangeError;

type Archive = ZipArchive<BufReader<File>>;

fn damaged(path: &Path, what: impl std::fmt::Display) -> ExchangeError {
    let fix = "save it again with numpy.savez";
    ExchangeError::format(path, format!("cannot be read as npz: {what}"), fix)
}

fn open(path: &Path) -> Result<Archive, ExchangeError> {
    let file = File::open(path).map_err(|e| ExchangeError::io("read", path, e))?;
    ZipArchive::new(BufReader::new(file)).map_err(|e| damaged(path, e))
}

/// Reads exactly so many bytes.
fn exactly(from: &mut impl Read, bytes: usize) -> Result<Vec<u8>, String> {
    let mut out = vec![0; bytes];
    from.read_exact(&mut out).map_err(|e| e.to_string())?;
    Ok(out)
}

/// The one-dimensional arrays of numbers in an archive; others are passed over.
pub(super) fn columns(path: &Path) -> Result<Vec<ColumnInfo>, ExchangeError> {
    let mut archive = open(path)?;
    let mut found = Vec::new();
    let (mut first_reason, count) = (None, archive.len().min(super::MOST_COLUMNS + 1));
    for i in 0..count {
        let mut member = archive.by_index(i).map_err(|e| damaged(path, e))?;
        let name = member.name().map_err(|e| damaged(path, e))?.into_owned();
        let Some(name) = name.strip_suffix(".npy").map(str::to_owned) else {
            continue;
        };
        match numpy_header::read(|n| exactly(&mut member, n)) {
            Ok(array) => found.push(ColumnInfo {
                name,
                whole: array.kind.is_whole(),
                ..ColumnInfo::default()
            }),
            Err(why) => first_reason = first_reason.or(Some(format!("{name:?} {why}"))),
        }
    }
    match (found.is_empty(), first_reason) {
        (true, Some(why)) => Err(damaged(path, why)),
        _ => Ok(found),
    }
}

/// Reads the columns in use.
pub(super) fn read(path: &Path, infos: Vec<ColumnInfo>) -> Result<Columns, ExchangeError> {
    let mut archive = open(path)?;
    let mut columns = Vec::with_capacity(infos.len());
    let mut lengths = Vec::with_capacity(infos.len());
    for info in &infos {
        let mut member = archive
            .by_name(&format!("{}.npy", info.name))
            .map_err(|e| damaged(path, e))?;
        let name = &info.name;
        let array = numpy_header::read(|n| exactly(&mut member, n))
            .map_err(|why| damaged(path, format!("{name:?} {why}")))?;
        let declared = member.size();
        let values =
            values(&mut member, &array, declared).map_err(|why| damaged(path, format!("{name:?} {why}")))?;
        lengths.push((name.clone(), values.len()));
        columns.push(values);
    }
    match uneven(&lengths) {
        Some(what) => Err(ExchangeError::format(path, what, "map columns of one recording")),
        None => Ok(Columns::new(infos, columns)),
    }
}

/// The values behind a header. Memory grows with what is really there, not with what is declared.
fn values(from: &mut impl Read, array: &Array, member_bytes: u64) -> Result<Vec<f64>, String> {
    let width = u64::from(array.kind.bytes());
    let bytes = array.length.checked_mul(width).ok_or("is too large")?;
    if bytes > MOST_COLUMN_BYTES {
        return Err(format!(
            "takes {bytes} bytes, at most {MOST_COLUMN_BYTES} are read"
        ));
    }
    if bytes + array.start as u64 != member_bytes {
        return Err(format!(
            "declares {} values of {width} bytes, its member holds {} bytes",
            array.length,
            member_bytes.saturating_sub(array.start as u64)
        ));
    }
    let mut out = Vec::new();
    let mut left = bytes;
    let mut buffer = vec![0; 8 << 13];
    while left > 0 {
        let part = usize::try_from(left).unwrap_or(usize::MAX).min(buffer.len());
        let buffer = buffer.get_mut(..part).unwrap_or_default();
        from.read_exact(buffer).map_err(|e| e.to_string())?;
        let size = usize::from(array.kind.bytes());
        out.extend(
            buffer
                .chunks_exact(size)
                .map(|b| array.kind.value(b, array.big_endian)),
        );
        left -= part as u64;
    }
    // Reading to the end has the archive compare its checksum.
    let mut rest = [0];
    match from.read(&mut rest) {
        Ok(0) => Ok(out),
        Ok(_) => Err("has more bytes than it declares".into()),
        Err(e) => Err(e.to_string()),
    }
}
