//! The part that only a live file has: how much of it can be relied on, and the journal.

use std::path::Path;

use hdf5_metno::{Dataset, File, dataset::AllocTime};
use ndarray::arr1;

use super::error::RecordingError;
use super::h5::{self, Explain};

/// The group's `long_name`, by which recovery knows a live file.
pub(super) const LONG_NAME: &str = "how much of a live file can be relied on, and its journal";

/// Bytes of one step of the journal.
const JOURNAL_CHUNK: usize = 1 << 15;

/// Creates `/progress/valid` and `/progress/journal`, in this order.
pub(super) fn create(file: &File, path: &Path) -> Result<(Dataset, Dataset), RecordingError> {
    let group = file
        .create_group("progress")
        .doing(path, "create group /progress")?;
    h5::put_text(&group, path, "long_name", LONG_NAME)?;
    // One piece in a fixed place: overwritten as a whole, it never moves and needs no room later.
    let progress = group
        .new_dataset_builder()
        .no_chunk()
        .alloc_time(Some(AllocTime::Early))
        .empty::<u64>()
        .shape((2,))
        .create("valid")
        .doing(path, "create /progress/valid")?;
    h5::put_text(
        &progress,
        path,
        "long_name",
        "rows, then journal bytes, that are safely written",
    )?;
    progress
        .write(&arr1(&[0_u64, 0]))
        .doing(path, "write /progress/valid")?;
    // Without a filter, so that a chunk written again stays where it is.
    let journal = group
        .new_dataset_builder()
        .chunk((JOURNAL_CHUNK,))
        .empty::<u8>()
        .shape((0..,))
        .create("journal")
        .doing(path, "create /progress/journal")?;
    h5::put_text(
        &journal,
        path,
        "long_name",
        "rows of segments, events and host as lines of JSON",
    )?;
    Ok((progress, journal))
}

/// What `/progress/valid` says: rows, then bytes of the journal, that are safely written.
pub(super) fn read(file: &File, path: &Path) -> Result<(usize, usize), RecordingError> {
    let valid: Vec<u64> = file
        .dataset("progress/valid")
        .and_then(|dataset| dataset.read_raw())
        .map_err(|e| RecordingError::damaged(path, "/progress/valid", e.to_string()))?;
    match valid.as_slice() {
        [rows, bytes] => Ok((
            usize::try_from(*rows).unwrap_or(usize::MAX),
            usize::try_from(*bytes).unwrap_or(usize::MAX),
        )),
        other => {
            let detail = format!("{} values, 2 are due", other.len());
            Err(RecordingError::damaged(path, "/progress/valid", detail))
        }
    }
}
