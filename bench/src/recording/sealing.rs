//! From a live file to a sealed one, and the check of a seal.
//!
//! HDF5 forbids new attributes and growing strings while a file is in the one-writer-many-readers mode, and a file
//! that dies while it is open for ordinary writing can be lost. So sealing never touches the live file: it writes a
//! second one beside it, reads that back, seals it, forces it to the disk, and renames it over the live one, which the
//! file system does in a single step. Recovery after a crash is the same way with another target.

use std::path::{Path, PathBuf};

use hdf5_metno::{File, Group};

use super::columns::DigestRow;
use super::error::RecordingError;
use super::h5::{self, Explain};
use super::layout::{self, State};
use super::reader::{self, Recording};
use super::rows::{Completion, HostRow, RoundTrip, Seal};
use super::{digest, space, table, trailer};
use crate::platform::{rename_new, sync_directory};

/// Rows copied at a time; a multiple of the sealed file's chunk.
const STEP: usize = 65_536;
/// Bytes wanted beyond the size of the live file.
const MARGIN_BYTES: u64 = 1 << 20;

/// How full the queue in front of the writer became.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct QueueFigures {
    pub(super) capacity: u64,
    pub(super) high_water: u64,
}

/// What the writer knows of its own work.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LiveFigures {
    /// If there was a queue.
    pub(super) queue: Option<QueueFigures>,
    /// Most samples that one flush wrote, s.
    pub(super) flush_span_max_s: f64,
    /// Greatest distance between what was taken and what was safe, s, if somebody kept it.
    pub(super) unflushed_max_s: Option<f64>,
}

/// Writes the sealed form of the live file `from` to `to`, which may be the same.
///
/// # Errors
/// Those of reading and writing; `from` is then unchanged and no `to` appears.
pub(super) fn seal(
    from: &Path,
    to: &Path,
    completion: &Completion,
    figures: Option<LiveFigures>,
) -> Result<Seal, RecordingError> {
    let recording = Recording::open(from)?;
    let rows = recording.rows();
    seal_rows(recording, rows, to, completion, figures)
}

/// As [`seal`], of the first `rows` rows of a recording that is open.
pub(super) fn seal_rows(
    recording: Recording,
    rows: usize,
    to: &Path,
    completion: &Completion,
    figures: Option<LiveFigures>,
) -> Result<Seal, RecordingError> {
    let from = recording.path();
    if !recording.is_live() {
        return Err(RecordingError::Sealed {
            path: from.to_owned(),
        });
    }
    let size = std::fs::metadata(from)
        .map_err(|e| RecordingError::io(from, "read the size of the file", &e))?
        .len();
    let free_bytes = space::free_bytes(to)?;
    let needed_bytes = size.saturating_add(MARGIN_BYTES);
    if free_bytes < needed_bytes {
        return Err(RecordingError::DiskFull {
            path: from.to_owned(),
            free_bytes,
            needed_bytes,
            rows: rows as u64,
        });
    }
    let aside = Aside::new(to, ".sealing");
    rewrite(&recording, rows, &aside.0, completion, figures)?;
    drop(recording);
    let seal = put_seal(&aside.0)?;
    trailer::append(&aside.0)?;
    aside.publish(to)?;
    Ok(seal)
}

/// A file under construction beside the one it is for; removed unless it is published.
pub(super) struct Aside(pub(super) PathBuf);

impl Aside {
    pub(super) fn new(to: &Path, ending: &str) -> Self {
        let mut name = to.as_os_str().to_owned();
        name.push(ending);
        Self(PathBuf::from(name))
    }

    /// Puts a new file in place, never over another.
    pub(super) fn publish_new(self, to: &Path) -> Result<(), RecordingError> {
        rename_new(&self.0, to).map_err(|e| match e.kind() {
            std::io::ErrorKind::AlreadyExists => RecordingError::Exists { path: to.to_owned() },
            _ => RecordingError::io(to, "put the new file in place", &e),
        })
    }

    fn publish(self, to: &Path) -> Result<(), RecordingError> {
        std::fs::File::open(&self.0)
            .and_then(|file| file.sync_all())
            .map_err(|e| RecordingError::io(&self.0, "force the file to the disk", &e))?;
        std::fs::rename(&self.0, to)
            .map_err(|e| RecordingError::io(to, "put the sealed file in place", &e))?;
        // The name is safe only when the directory is.
        sync_directory(space::directory(to))
            .map_err(|e| RecordingError::io(to, "force the directory to the disk", &e))
    }
}

impl Drop for Aside {
    fn drop(&mut self) {
        // After publishing there is nothing of this name; a failure to remove costs room, not data.
        let _ = std::fs::remove_file(&self.0);
    }
}

fn rewrite(
    from: &Recording,
    rows: usize,
    to: &Path,
    completion: &Completion,
    figures: Option<LiveFigures>,
) -> Result<(), RecordingError> {
    let file = h5::access().create(to).doing(to, "create the sealed file")?;
    let layout = layout::create(&file, to, from.header(), State::Sealed)?;
    for start in (0..rows).step_by(STEP) {
        let range = start..(start + STEP).min(rows);
        let mut ticks = Vec::with_capacity(range.len());
        for tick in from.ticks(range.clone())? {
            ticks.push(
                i64::try_from(tick)
                    .map_err(|_| RecordingError::damaged(to, "/time", "a tick is too large"))?,
            );
        }
        let mut columns = Vec::with_capacity(from.header().channels.len());
        for channel in &from.header().channels {
            columns.push(from.raw(&channel.name, range.clone())?.to_vec());
        }
        let views: Vec<&[i32]> = columns.iter().map(Vec::as_slice).collect();
        layout.write(to, start, &ticks, &views)?;
    }
    table::write(&file, to, from.segments())?;
    table::write(&file, to, from.events())?;
    table::write_each::<HostRow, _>(&file, to, from.host().len(), from.host())?;
    table::write_each::<RoundTrip, _>(&file, to, from.round_trips().len(), from.round_trips())?;
    let (word, cause) = completion.parts();
    h5::put_text(&file, to, "completion", word)?;
    h5::put_text(&file, to, "completion_cause", cause)?;
    if let Some(figures) = figures {
        put_figures(&file, to, &figures)?;
    }
    drop(layout);
    close(file, to)
}

fn put_figures(file: &File, to: &Path, figures: &LiveFigures) -> Result<(), RecordingError> {
    // Without a queue there is no run behind it, and the same contents are to give the same seal.
    if let Some(queue) = figures.queue {
        h5::put(file, to, "queue_capacity", &queue.capacity)?;
        h5::put(file, to, "queue_high_water", &queue.high_water)?;
        h5::put(file, to, "flush_span_max_s", &figures.flush_span_max_s)?;
    }
    match figures.unflushed_max_s {
        Some(s) => h5::put(file, to, "unflushed_max_s", &s),
        None => Ok(()),
    }
}

/// A flush reports what a close would swallow.
fn close(file: File, path: &Path) -> Result<(), RecordingError> {
    file.flush().doing(path, "flush the sealed file")?;
    file.close().doing(path, "close the sealed file")
}

/// Reads the whole file back and writes its digests into it.
fn put_seal(path: &Path) -> Result<Seal, RecordingError> {
    let file = h5::access()
        .open(path)
        .doing(path, "open the new file to read it back")?;
    let rows = digest::objects(&file, path)?;
    file.close().doing(path, "close the new file")?;
    let seal = Seal {
        sha256: digest::of_list(&rows),
        method: digest::METHOD.to_owned(),
    };
    let file = h5::access()
        .open_rw(path)
        .doing(path, "open the new file to seal it")?;
    table::write::<DigestRow>(&file, path, &rows)?;
    h5::put_text(&file, path, "seal", &seal.sha256)?;
    h5::put_text(&file, path, "seal_method", &seal.method)?;
    close(file, path)?;
    Ok(seal)
}

/// One thing in which a file is not as it was sealed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Difference {
    /// The object's path, `/torque`.
    pub object: String,
    /// What is different, in words.
    pub what: String,
}

/// What checking a seal found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Verification {
    /// The seal in the file.
    pub seal: Seal,
    /// All that differs; empty if the file is as it was sealed.
    pub differences: Vec<Difference>,
}

impl Verification {
    /// Whether the file is as it was sealed.
    pub fn is_intact(&self) -> bool {
        self.differences.is_empty()
    }
}

/// Computes the seal of the file at `path` anew and says what differs.
///
/// A seal without a secret shows damage and honest mistakes; whoever edits a file can also seal it anew. Keep the seal
/// elsewhere (the QA record does) to show that too.
///
/// # Errors
/// [`RecordingError::Unsealed`] for a live file, [`RecordingError::Damaged`] for an object that cannot be read at all
/// or a seal made in a way this version does not know, otherwise as opening.
pub fn verify(path: &Path) -> Result<Verification, RecordingError> {
    let file = reader::open_file(path)?;
    reader::check_schema(&file, path)?;
    if file.attr("seal").is_err() {
        return Err(RecordingError::Unsealed {
            path: path.to_owned(),
        });
    }
    let seal = Seal {
        sha256: h5::get_text(&file, path, "seal")?,
        method: h5::get_text(&file, path, "seal_method")?,
    };
    if seal.method != digest::METHOD {
        let detail = format!("is {:?}, this version knows {:?}", seal.method, digest::METHOD);
        return Err(RecordingError::damaged(path, "/@seal_method", detail));
    }
    let root: &Group = &file;
    let sealed = table::read::<DigestRow>(root, path)?;
    let found = digest::objects(&file, path)?;
    let mut differences = compare(&sealed, &found);
    if digest::of_list(&sealed) != seal.sha256 {
        let what = "the list of digests is not the one that was sealed".to_owned();
        differences.push(Difference {
            object: "/seal".to_owned(),
            what,
        });
    }
    Ok(Verification { seal, differences })
}

fn compare(sealed: &[DigestRow], found: &[DigestRow]) -> Vec<Difference> {
    let mut differences = Vec::new();
    for was in sealed {
        match found.iter().find(|is| is.object == was.object) {
            None => differences.push(Difference {
                object: was.object.clone(),
                what: "was removed".to_owned(),
            }),
            Some(is) if is.sha256 != was.sha256 => differences.push(Difference {
                object: was.object.clone(),
                what: "its values or attributes were changed".to_owned(),
            }),
            Some(_) => {}
        }
    }
    for is in found
        .iter()
        .filter(|is| !sealed.iter().any(|was| was.object == is.object))
    {
        differences.push(Difference {
            object: is.object.clone(),
            what: "was added".to_owned(),
        });
    }
    differences
}
