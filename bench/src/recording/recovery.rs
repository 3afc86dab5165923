//! Sealing what a program that died, or a full disk, left behind.

use std::fs::{File, OpenOptions};
use std::io::Read;
use std::path::Path;

use super::error::RecordingError;
use super::progress;
use super::rows::{Completion, Seal};
use super::sealing::{self, Aside};

/// Where a live file's texts are, with room for long procedures.
const SEARCHED_BYTES: u64 = 4 << 20;

/// Seals what is safe in the live file `damaged` into a new file `to`; `damaged` is left as it is.
///
/// The run counts as failed: nothing is known of what came after the last flush.
///
/// # Errors
/// [`RecordingError::Exists`] if there is a file `to`, [`RecordingError::Sealed`] if there is nothing to recover,
/// otherwise as opening and writing.
pub fn recover(damaged: &Path, to: &Path) -> Result<Seal, RecordingError> {
    if to.exists() {
        return Err(RecordingError::Exists { path: to.to_owned() });
    }
    let cause = "the program ended before it closed the recording; recovered up to its last flush".to_owned();
    let completion = Completion::Failed { cause };
    match shortfall(damaged)? {
        None => sealing::seal(damaged, to, &completion, None),
        Some(cut) if is_live(damaged)? => {
            // What is missing was never called safe, so zeros do in its place. They go into a copy.
            let copy = Aside::new(to, ".lengthened");
            std::fs::copy(damaged, &copy.0).map_err(|e| RecordingError::io(damaged, "copy", &e))?;
            OpenOptions::new()
                .write(true)
                .open(&copy.0)
                .and_then(|file| file.set_len(cut.due))
                .map_err(|e| RecordingError::io(&copy.0, "lengthen the copy", &e))?;
            sealing::seal(&copy.0, to, &completion, None)
        }
        Some(_) => sealing::seal(damaged, to, &completion, None),
    }
}

/// Whether the file holds the sentence that only live files hold, looked for in its first bytes without HDF5.
///
/// A sealed file that was cut off must not be filled with zeros: they could fall into a heap of texts, in which HDF5
/// searches without end. A live file's texts were all flushed before its first sample.
fn is_live(path: &Path) -> Result<bool, RecordingError> {
    let mut start = Vec::new();
    File::open(path)
        .and_then(|file| file.take(SEARCHED_BYTES).read_to_end(&mut start))
        .map_err(|e| RecordingError::io(path, "read the file", &e))?;
    let sentence = progress::LONG_NAME.as_bytes();
    Ok(start.windows(sentence.len()).any(|window| window == sentence))
}

/// A file that ends before its own notes say.
pub(super) struct Shortfall {
    /// Bytes there are.
    pub(super) there: u64,
    /// Bytes there should be.
    pub(super) due: u64,
}

/// Whether the file is shorter than its superblock says, as after a flush that failed half way.
///
/// The superblock of versions 2 and 3 (HDF5 file format specification, II.A) keeps the end of the file in bytes 28 to
/// 35. HDF5 opens no file that is shorter.
pub(super) fn shortfall(path: &Path) -> Result<Option<Shortfall>, RecordingError> {
    let read = || -> std::io::Result<(Vec<u8>, u64)> {
        let file = File::open(path)?;
        let there = file.metadata()?.len();
        let mut start = Vec::new();
        file.take(36).read_to_end(&mut start)?;
        Ok((start, there))
    };
    let (start, there) = read().map_err(|e| RecordingError::io(path, "open", &e))?;
    let version = start.get(8).copied();
    let due = start
        .get(28..36)
        .and_then(|bytes| bytes.try_into().ok())
        .map(u64::from_le_bytes);
    // Eight times as much is not a flush that failed but a wrong number.
    let short = |due: u64| due > there && due <= there.saturating_mul(8);
    Ok(match (version, due) {
        (Some(2 | 3), Some(due)) if short(due) => Some(Shortfall { there, due }),
        _ => None,
    })
}
