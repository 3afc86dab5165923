//! Sealing what a program that died, a full disk or a power cut left behind.

use std::fs::{File, OpenOptions};
use std::io::Read;
use std::ops::Range;
use std::path::Path;

use super::error::RecordingError;
use super::h5;
use super::journal::{self, Lines, Stored};
use super::progress;
use super::reader::{Recording, journal_of};
use super::rows::{Completion, Seal};
use super::sealing::{self, Aside};

/// Where a live file's texts are, with room for long procedures.
const SEARCHED_BYTES: u64 = 4 << 20;
/// Rows tried at a time when looking for what can be read, and how near the end of it is found.
const TRIED: [usize; 2] = [65_536, 64];

/// What recovery saved and what it could not.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Recovered {
    /// Seal of the new file.
    pub seal: Seal,
    /// Samples in it.
    pub rows: u64,
    /// Tick of the last of them.
    pub last_tick: Option<u64>,
    /// Rows of events, segments, arrivals and round trips in it.
    pub notes: u64,
    /// Samples that the writer had called safe and that cannot be read. The program's death does not do that: a power
    /// cut or a fault of the disk can.
    pub unreadable_rows: u64,
    /// Bytes of notes that the writer had called safe and that cannot be read.
    pub unreadable_note_bytes: u64,
    /// Samples of which a part is in the file behind what the writer called safe; not taken over.
    pub unfinished_rows: u64,
}

impl std::fmt::Display for Recovered {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "saved {} samples", self.rows)?;
        if let Some(tick) = self.last_tick {
            write!(f, " up to rig tick {tick}")?;
        }
        write!(
            f,
            " and {} rows of notes; lost is what was taken after the last flush (at most 0.25 s in real time",
            self.notes
        )?;
        match self.unfinished_rows {
            0 => write!(f, ")")?,
            rows => write!(f, "; of {rows} samples a part was written)")?,
        }
        if self.unreadable_rows > 0 || self.unreadable_note_bytes > 0 {
            write!(
                f,
                ", and of what had been flushed {} samples and {} bytes of notes, which cannot be read",
                self.unreadable_rows, self.unreadable_note_bytes
            )?;
        }
        Ok(())
    }
}

/// Seals what is safe in the live file `damaged` into a new file `to`; `damaged` is left as it is.
///
/// The run counts as failed: nothing is known of what came after the last flush.
///
/// # Errors
/// [`RecordingError::Exists`] if there is a file `to`, [`RecordingError::Sealed`] if there is nothing to recover,
/// otherwise as opening and writing.
pub fn recover(damaged: &Path, to: &Path) -> Result<Recovered, RecordingError> {
    if to.exists() {
        return Err(RecordingError::Exists { path: to.to_owned() });
    }
    match shortfall(damaged)? {
        Some(cut) if is_live(damaged)? => {
            // What is missing was never called safe, so zeros do in its place. They go into a copy.
            let copy = Aside::new(to, ".lengthened");
            std::fs::copy(damaged, &copy.0).map_err(|e| RecordingError::io(damaged, "copy", &e))?;
            OpenOptions::new()
                .write(true)
                .open(&copy.0)
                .and_then(|file| file.set_len(cut.due))
                .map_err(|e| RecordingError::io(&copy.0, "lengthen the copy", &e))?;
            save(&copy.0, to)
        }
        _ => save(damaged, to),
    }
}

fn save(damaged: &Path, to: &Path) -> Result<Recovered, RecordingError> {
    let recording = Recording::open_with(damaged, read_good)?;
    if !recording.is_live() {
        return Err(RecordingError::Sealed {
            path: damaged.to_owned(),
        });
    }
    let told = Told::by(damaged)?;
    let rows = readable_rows(&recording);
    let last_tick = match rows.checked_sub(1) {
        Some(last) => recording.ticks(last..rows)?.first().copied(),
        None => None,
    };
    let unreadable_rows = told.rows.saturating_sub(rows) as u64;
    let unreadable_note_bytes = told.note_bytes.saturating_sub(told.good_note_bytes) as u64;
    let mut cause =
        "the program ended before it closed the recording; recovered up to its last flush".to_owned();
    if unreadable_rows > 0 || unreadable_note_bytes > 0 {
        cause += &format!(
            ", of which {unreadable_rows} samples and {unreadable_note_bytes} bytes of notes could not be read"
        );
    }
    let notes = recording.notes() as u64;
    let seal = sealing::seal_rows(recording, rows, to, &Completion::Failed { cause }, None)?;
    Ok(Recovered {
        seal,
        rows: rows as u64,
        last_tick,
        notes,
        unreadable_rows,
        unreadable_note_bytes,
        unfinished_rows: told.longest.saturating_sub(told.rows) as u64,
    })
}

/// What a live file says of itself, beside what is there.
struct Told {
    rows: usize,
    note_bytes: usize,
    good_note_bytes: usize,
    /// Rows of the longest sample dataset.
    longest: usize,
}

impl Told {
    fn by(path: &Path) -> Result<Self, RecordingError> {
        let file = super::reader::open_file(path)?;
        let (rows, note_bytes) = progress::read(&file, path)?;
        let mut longest = 0;
        for dataset in file
            .datasets()
            .map_err(|e| RecordingError::hdf5(path, "list the datasets", &e))?
        {
            longest = longest.max(h5::length(&dataset, path)?);
        }
        let good_note_bytes = good_note_bytes(&file, path, note_bytes)?;
        Ok(Self {
            rows,
            note_bytes,
            good_note_bytes,
            longest,
        })
    }
}

/// As the reader takes a live file, but no further than there is something to be read.
fn read_good(
    file: &hdf5_metno::File,
    path: &Path,
    lengths: &Range<usize>,
) -> Result<(usize, usize), RecordingError> {
    let (rows, note_bytes) = progress::read(file, path)?;
    Ok((rows.min(lengths.start), good_note_bytes(file, path, note_bytes)?))
}

fn good_note_bytes(file: &hdf5_metno::File, path: &Path, note_bytes: usize) -> Result<usize, RecordingError> {
    let dataset = &journal_of(file, path)?;
    let there = h5::length(dataset, path)?.min(note_bytes);
    Ok(journal::good_bytes(Lines::new(Stored { path, dataset }, there)))
}

/// How many rows from the start can be read in every channel. Chunks carry the checksum of their compression.
fn readable_rows(recording: &Recording) -> usize {
    let readable = |rows: Range<usize>| {
        let channels = &recording.header().channels;
        let rising = recording
            .ticks(rows.clone())
            .is_ok_and(|ticks| ticks.iter().zip(ticks.iter().skip(1)).all(|(a, b)| a < b));
        rising
            && channels
                .iter()
                .all(|c| recording.raw(&c.name, rows.clone()).is_ok())
    };
    let mut good = 0;
    for step in TRIED {
        while good < recording.rows() {
            let end = (good + step).min(recording.rows());
            if !readable(good..end) {
                break;
            }
            good = end;
        }
    }
    good
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
