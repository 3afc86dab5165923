//! Room on the disk.

use std::path::Path;

use super::error::RecordingError;
use crate::platform;

/// Bytes free for this user on the file system of `path` (or of its directory, if the file is not there yet).
///
/// # Errors
/// [`RecordingError::Io`] if the file system does not say.
pub(super) fn free_bytes(path: &Path) -> Result<u64, RecordingError> {
    let place = if path.exists() { path } else { directory(path) };
    platform::free_bytes(place).map_err(|e| RecordingError::io(path, "ask for free space", &e))
}

/// The directory a file is in.
pub(super) fn directory(path: &Path) -> &Path {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent,
        _ => Path::new("."),
    }
}
