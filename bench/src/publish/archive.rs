//! Members in a ZIP archive whose bytes depend on theirs alone.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufReader, BufWriter, Read, Write};
use std::path::Path;

use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipArchive, ZipWriter};

use super::error::PublishError;

/// Most bytes of all members together; an hour at 20 kHz takes less.
const MOST_BYTES: u64 = 8 << 30;
/// Members from this size on need the archive's long form.
const LONG: usize = 1 << 31;

/// Members by name, in the order of their names.
pub(crate) type Members = BTreeMap<String, Vec<u8>>;

/// Writes the archive, replacing what was there. Every time stamp is 1980-01-01, the earliest that the format knows.
pub(crate) fn write(path: &Path, members: &Members) -> Result<(), PublishError> {
    let zip = |error: zip::result::ZipError| PublishError::Archive {
        path: path.to_owned(),
        doing: "written",
        what: error.to_string(),
        advice: "choose another place",
    };
    let io = |source| PublishError::Io {
        path: path.to_owned(),
        doing: "written",
        source,
    };
    let mut archive = ZipWriter::new(BufWriter::new(File::create(path).map_err(io)?));
    for (name, bytes) in members {
        let options = SimpleFileOptions::default()
            .compression_method(CompressionMethod::Deflated)
            .compression_level(Some(6))
            .last_modified_time(DateTime::default())
            .unix_permissions(0o644)
            .large_file(bytes.len() >= LONG);
        archive.start_file(name.as_str(), options).map_err(zip)?;
        archive.write_all(bytes).map_err(io)?;
    }
    archive.finish().map_err(zip)?.flush().map_err(io)
}

/// Reads all members, and the names that stand more than once or point out of the archive.
pub(crate) fn read(path: &Path) -> Result<(Members, Vec<String>), PublishError> {
    let damaged = |what: String| PublishError::Archive {
        path: path.to_owned(),
        doing: "read",
        what,
        advice: "fetch it again",
    };
    let file = File::open(path).map_err(|source| PublishError::Io {
        path: path.to_owned(),
        doing: "read",
        source,
    })?;
    let mut archive = ZipArchive::new(BufReader::new(file)).map_err(|e| damaged(e.to_string()))?;
    let mut members = Members::new();
    let mut odd = Vec::new();
    let mut left = MOST_BYTES;
    for index in 0..archive.len() {
        let member = archive.by_index(index).map_err(|e| damaged(e.to_string()))?;
        let name = member.name().map_err(|e| damaged(e.to_string()))?.into_owned();
        if member.is_dir() {
            continue;
        }
        if member.enclosed_name().is_none() || members.contains_key(&name) {
            odd.push(name);
            continue;
        }
        let mut bytes = Vec::new();
        member
            .take(left + 1)
            .read_to_end(&mut bytes)
            .map_err(|e| damaged(format!("{name}: {e}")))?;
        left = left
            .checked_sub(bytes.len() as u64)
            .ok_or_else(|| PublishError::TooLarge {
                path: path.to_owned(),
                member: name.clone(),
                limit: MOST_BYTES,
            })?;
        members.insert(name, bytes);
    }
    Ok((members, odd))
}
