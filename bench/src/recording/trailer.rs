//! A check of the file's bytes, made before the HDF5 library sees them.
//!
//! HDF5 keeps strings and the lists of dimension scales in heaps without a checksum, and the library (1.10.8 was
//! tried) can crash on a heap with a wrong byte. So a sealed file ends with 48 bytes of ours, after the end of what
//! HDF5 owns: eight of signature, the length before them, and the SHA-256 of all before them. HDF5 ignores what
//! follows its end, and cuts it off when it opens the file for writing; a file without these bytes was written by
//! another program since (or never sealed), and its contents are judged by the seal alone.

use std::fs::{File, OpenOptions};
use std::io::{Error, Read, Seek, SeekFrom, Write};
use std::path::Path;

use sha2::{Digest, Sha256};

use super::error::RecordingError;

/// First bytes of the trailer.
const SIGNATURE: [u8; 8] = *b"\x89TRSUM1\n";
/// Length of the trailer: signature, length, digest.
const TRAILER: u64 = 8 + 8 + 32;
/// Bytes read at a time.
const STEP: usize = 1 << 20;

/// Appends the trailer to a file that is closed and has none.
///
/// # Errors
/// [`RecordingError::Io`].
pub(super) fn append(path: &Path) -> Result<(), RecordingError> {
    let write = || -> Result<(), Error> {
        let mut file = OpenOptions::new().read(true).write(true).open(path)?;
        let length = file.metadata()?.len();
        let digest = digest(&mut file, length)?;
        file.seek(SeekFrom::Start(length))?;
        file.write_all(&SIGNATURE)?;
        file.write_all(&length.to_le_bytes())?;
        file.write_all(&digest)
    };
    write().map_err(|e| RecordingError::io(path, "append the check of the file's bytes", &e))
}

/// Compares the file's bytes with its trailer, if it has one.
///
/// # Errors
/// [`RecordingError::Damaged`] if they differ, [`RecordingError::Io`] if the file cannot be read.
pub(super) fn check(path: &Path) -> Result<(), RecordingError> {
    let same = || -> Result<bool, Error> {
        let mut file = File::open(path)?;
        let Some(length) = file.metadata()?.len().checked_sub(TRAILER) else {
            return Ok(true);
        };
        file.seek(SeekFrom::Start(length))?;
        let mut trailer = [0_u8; TRAILER as usize];
        file.read_exact(&mut trailer)?;
        let told = trailer
            .strip_prefix(&SIGNATURE)
            .and_then(|rest| rest.strip_prefix(&length.to_le_bytes()));
        let Some(expected) = told else {
            return Ok(true);
        };
        Ok(digest(&mut file, length)? == expected)
    };
    match same().map_err(|e| RecordingError::io(path, "read the file", &e))? {
        true => Ok(()),
        false => Err(RecordingError::damaged(
            path,
            "the file's bytes",
            "are not those that were sealed, though no HDF5 program wrote to it: a fault of disk or copy. \
             Restore the file from a copy",
        )),
    }
}

/// SHA-256 of the first `length` bytes.
fn digest(file: &mut File, length: u64) -> Result<[u8; 32], Error> {
    file.seek(SeekFrom::Start(0))?;
    let mut bytes = file.take(length);
    let mut hash = Sha256::new();
    let mut buffer = vec![0_u8; STEP];
    loop {
        match bytes.read(&mut buffer)? {
            0 => return Ok(hash.finalize().into()),
            n => hash.update(buffer.get(..n).unwrap_or_default()),
        }
    }
}
