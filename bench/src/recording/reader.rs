//! Reading a recording: sealed, still growing, or left behind by a program that died.

use std::ops::Range;
use std::path::{Path, PathBuf};

use hdf5_metno::{Dataset, File, OpenMode};
use ndarray::Array1;

use super::columns::{ExtraRow, FileRow};
use super::error::RecordingError;
use super::h5::{self, Explain};
use super::header::{ChannelInfo, CountWidth, Header};
use super::journal::{self, Lines, Stored};
use super::layout::{SCHEMA, SCHEMA_MAJOR, State};
use super::notes::Notes;
use super::rows::{Completion, EventRow, HostRow, RoundTrip, Seal, SegmentRow};
use super::table::{self, Table};
use super::{attributes, check, progress, recovery, trailer};

/// An open recording. Samples, arrivals and round trips are read on demand, everything else when opening: the memory it
/// takes does not grow with the length of the run, but for its segments and events.
pub struct Recording {
    path: PathBuf,
    header: Header,
    state: State,
    rows: usize,
    time: Dataset,
    channels: Vec<Dataset>,
    segments: Vec<SegmentRow>,
    events: Vec<EventRow>,
    notes: Notes,
    completion: Option<Completion>,
    seal: Option<Seal>,
}

/// Rows looked at on either side of where a tick is expected.
const NEAR: usize = 8;

impl Recording {
    /// Opens the recording at `path` for reading.
    ///
    /// A file whose writer is still running or died is opened with the rows and lines that its writer last declared
    /// safe; it has neither completion nor seal.
    ///
    /// # Errors
    /// [`RecordingError::Io`] if there is no such file, [`RecordingError::NotARecording`],
    /// [`RecordingError::NewerSchema`], [`RecordingError::Damaged`].
    pub fn open(path: &Path) -> Result<Self, RecordingError> {
        Self::open_with(path, read_live)
    }

    /// As [`Recording::open`], without reading the whole file to compare its bytes with what was sealed: for a part of a
    /// long recording. A file that a fault of the disk has changed can then give wrong values, or crash HDF5.
    ///
    /// # Errors
    /// As [`Recording::open`].
    pub fn open_part(path: &Path) -> Result<Self, RecordingError> {
        Self::read(path, open_unchecked(path)?, read_live)
    }

    /// As [`Recording::open`], with another way of judging how much of a live file to take.
    pub(super) fn open_with(path: &Path, live: ReadLive) -> Result<Self, RecordingError> {
        Self::read(path, open_file(path)?, live)
    }

    fn read(path: &Path, file: File, live: ReadLive) -> Result<Self, RecordingError> {
        check_schema(&file, path)?;
        let mut header = attributes::read(&file, path)?;
        header.files = table::read::<FileRow>(&file, path)?
            .into_iter()
            .map(|FileRow(n, t)| (n, t))
            .collect();
        header.extra = table::read::<ExtraRow>(&file, path)?
            .into_iter()
            .map(|ExtraRow(n, v)| (n, v))
            .collect();
        let time = file
            .dataset("time")
            .map_err(|e| RecordingError::damaged(path, "/time", format!("is missing: {e}")))?;
        let channels = read_channels(&file, path)?;
        header.channels = channels.iter().map(|(info, _)| info.clone()).collect();
        check::header(&header).map_err(|what| RecordingError::damaged(path, "/", what))?;
        let channels: Vec<Dataset> = channels.into_iter().map(|(_, dataset)| dataset).collect();
        let lengths = lengths(&time, &channels, path)?;
        let state = match h5::get_text(&file, path, "state")?.as_str() {
            "live" => State::Live,
            "sealed" => State::Sealed,
            other => {
                return Err(RecordingError::damaged(
                    path,
                    "/@state",
                    format!("{other:?}, `live` or `sealed` is due"),
                ));
            }
        };
        let contents = match state {
            State::Live => open_live(&file, path, live(&file, path, &lengths)?)?,
            State::Sealed => open_sealed(&file, path, &lengths)?,
        };
        Ok(Self {
            path: path.to_owned(),
            header,
            state,
            rows: contents.rows,
            time,
            channels,
            segments: contents.segments,
            events: contents.events,
            notes: contents.notes,
            completion: contents.completion,
            seal: contents.seal,
        })
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Who, when, with what.
    pub fn header(&self) -> &Header {
        &self.header
    }

    /// Number of samples.
    pub fn rows(&self) -> usize {
        self.rows
    }

    /// Repeats of segments, in the order in which they were played.
    pub fn segments(&self) -> &[SegmentRow] {
        &self.segments
    }

    /// What happened.
    pub fn events(&self) -> &[EventRow] {
        &self.events
    }

    /// Arrivals of batches at the host, read as they are asked for, a piece at a time. An error is the last item.
    pub fn host(&self) -> impl ExactSizeIterator<Item = Result<HostRow, RecordingError>> + '_ {
        self.notes.host(&self.path)
    }

    /// Round trips over the link, read as [`Recording::host`] is.
    pub fn round_trips(&self) -> impl ExactSizeIterator<Item = Result<RoundTrip, RecordingError>> + '_ {
        self.notes.round_trips(&self.path)
    }

    /// Rows of all tables.
    pub(super) fn notes(&self) -> usize {
        self.segments.len() + self.events.len() + self.host().len() + self.round_trips().len()
    }

    /// How the run ended; `None` if it has not, or if its program died.
    pub fn completion(&self) -> Option<&Completion> {
        self.completion.as_ref()
    }

    /// The seal; `None` for a file that was never sealed. Whether the contents still agree is what
    /// [`verify`](super::verify) tells.
    pub fn seal(&self) -> Option<&Seal> {
        self.seal.as_ref()
    }

    /// Whether the file is live: still being written, or left behind by a program that died.
    pub fn is_live(&self) -> bool {
        self.state == State::Live
    }

    /// What is known of a channel.
    ///
    /// # Errors
    /// [`RecordingError::NoChannel`].
    pub fn channel(&self, name: &str) -> Result<&ChannelInfo, RecordingError> {
        self.find(name).map(|(info, _)| info)
    }

    /// Rig ticks of the rows in `range`, rising; a step of more than `sample_period_ticks` is a gap.
    ///
    /// # Errors
    /// [`RecordingError::OutOfRange`], [`RecordingError::Damaged`].
    pub fn ticks(&self, range: Range<usize>) -> Result<Array1<u64>, RecordingError> {
        self.within(&range)?;
        let ticks = self
            .time
            .read_slice_1d::<i64, _>(range)
            .map_err(|e| RecordingError::damaged(&self.path, "/time", e.to_string()))?;
        let ticks: Result<Vec<u64>, _> = ticks.into_iter().map(u64::try_from).collect();
        ticks
            .map(Array1::from_vec)
            .map_err(|_| RecordingError::damaged(&self.path, "/time", "a tick is below 0"))
    }

    /// Raw counts of `channel` in `range`.
    ///
    /// # Errors
    /// [`RecordingError::NoChannel`], [`RecordingError::OutOfRange`], [`RecordingError::Damaged`].
    pub fn raw(&self, channel: &str, range: Range<usize>) -> Result<Array1<i32>, RecordingError> {
        let (_, dataset) = self.find(channel)?;
        self.within(&range)?;
        dataset
            .read_slice_1d::<i32, _>(range)
            .map_err(|e| RecordingError::damaged(&self.path, format!("/{channel}"), e.to_string()))
    }

    /// Values of `channel` in `range` in its units: `scale · count + offset`. The group delay is not taken out.
    ///
    /// # Errors
    /// As [`Recording::raw`].
    pub fn values(&self, channel: &str, range: Range<usize>) -> Result<Array1<f64>, RecordingError> {
        let (info, _) = self.find(channel)?;
        Ok(self
            .raw(channel, range)?
            .mapv(|count| info.scale * f64::from(count) + info.offset))
    }

    /// The rows whose ticks are in `start_tick..end_tick`.
    ///
    /// # Errors
    /// [`RecordingError::Damaged`].
    pub fn rows_between(&self, start_tick: u64, end_tick: u64) -> Result<Range<usize>, RecordingError> {
        let start = self.first_row_from(start_tick)?;
        Ok(start..self.first_row_from(end_tick)?.max(start))
    }

    /// First row with a tick of `tick` or later: ticks rise. Looked for where it is if no sample was lost, then by halving.
    fn first_row_from(&self, tick: u64) -> Result<usize, RecordingError> {
        let (mut low, mut high) = (0, self.rows);
        if let Some(first) = self.ticks(0..high.min(1))?.first() {
            let period = u64::from(self.header.sample_period_ticks).max(1);
            let guess = usize::try_from(tick.saturating_sub(*first) / period).unwrap_or(high);
            let near = guess.min(high).saturating_sub(NEAR)..guess.saturating_add(NEAR).min(high);
            let ticks = self.ticks(near.clone())?;
            let before = ticks.iter().take_while(|t| **t < tick).count();
            if before > 0 {
                low = near.start + before;
            }
            if before < ticks.len() {
                high = near.start + before;
            }
        }
        while low < high {
            let middle = low + (high - low) / 2;
            let found = self.ticks(middle..middle + 1)?;
            if found.first().is_some_and(|t| *t < tick) {
                low = middle + 1;
            } else {
                high = middle;
            }
        }
        Ok(low)
    }

    fn find(&self, name: &str) -> Result<(&ChannelInfo, &Dataset), RecordingError> {
        let found = self
            .header
            .channels
            .iter()
            .zip(&self.channels)
            .find(|(info, _)| info.name == name);
        found.ok_or_else(|| {
            let names: Vec<&str> = self.header.channels.iter().map(|c| c.name.as_str()).collect();
            RecordingError::NoChannel {
                path: self.path.clone(),
                name: name.to_owned(),
                available: names.join(", "),
            }
        })
    }

    fn within(&self, range: &Range<usize>) -> Result<(), RecordingError> {
        if range.start <= range.end && range.end <= self.rows {
            return Ok(());
        }
        Err(RecordingError::OutOfRange {
            path: self.path.clone(),
            start: range.start,
            end: range.end,
            rows: self.rows,
        })
    }
}

/// Opens as a closed file whose bytes are those that were sealed, or as one whose writer is running or died.
pub(super) fn open_file(path: &Path) -> Result<File, RecordingError> {
    looks_whole(path)?;
    trailer::check(path)?;
    open_hdf5(path)
}

fn open_unchecked(path: &Path) -> Result<File, RecordingError> {
    looks_whole(path)?;
    open_hdf5(path)
}

fn open_hdf5(path: &Path) -> Result<File, RecordingError> {
    h5::access()
        .open(path)
        .or_else(|_| h5::access().open_as(path, OpenMode::ReadSWMR))
        .doing(path, "open the file")
}

/// Whether it starts as an HDF5 file does and is as long as its start says.
fn looks_whole(path: &Path) -> Result<(), RecordingError> {
    let mut start = [0_u8; 8];
    std::fs::File::open(path)
        .and_then(|mut f| std::io::Read::read(&mut f, &mut start))
        .map_err(|e| RecordingError::io(path, "open", &e))?;
    if start != *b"\x89HDF\r\n\x1a\n" {
        return Err(RecordingError::NotARecording {
            path: path.to_owned(),
            detail: "it does not start as an HDF5 file does".to_owned(),
        });
    }
    if let Some(cut) = recovery::shortfall(path)? {
        let detail = format!(
            "ends after {} of {} bytes; if its run was cut short, `truerim recover` saves what was safe, \
             otherwise restore it from a copy",
            cut.there, cut.due
        );
        return Err(RecordingError::damaged(path, "the file", detail));
    }
    Ok(())
}

pub(super) fn check_schema(file: &File, path: &Path) -> Result<(), RecordingError> {
    let not_ours = |detail: String| RecordingError::NotARecording {
        path: path.to_owned(),
        detail,
    };
    let schema = h5::get_text(file, path, "schema").map_err(|e| not_ours(e.to_string()))?;
    if schema != SCHEMA {
        return Err(not_ours(format!("its schema is {schema:?}, {SCHEMA:?} is due")));
    }
    let version = h5::get_text(file, path, "schema_version").map_err(|e| not_ours(e.to_string()))?;
    let major = version.split('.').next().and_then(|m| m.parse::<u32>().ok());
    match major {
        Some(major) if major > SCHEMA_MAJOR => Err(RecordingError::NewerSchema {
            path: path.to_owned(),
            found: version,
            supported: SCHEMA_MAJOR,
        }),
        Some(SCHEMA_MAJOR) => Ok(()),
        _ => Err(not_ours(format!(
            "its schema_version is {version:?}, {SCHEMA_MAJOR}.0 or later is due"
        ))),
    }
}

/// The root datasets that carry a `channel` attribute, in that order. Others are additions this version ignores.
fn read_channels(file: &File, path: &Path) -> Result<Vec<(ChannelInfo, Dataset)>, RecordingError> {
    let mut found = Vec::new();
    for dataset in file.datasets().doing(path, "list the datasets")? {
        if dataset.attr("channel").is_err() {
            continue;
        }
        let name = dataset.name().trim_start_matches('/').to_owned();
        let position: u32 = h5::get(&dataset, path, "channel")?;
        let size = dataset
            .dtype()
            .doing(path, format!("read the type of /{name}"))?
            .size();
        let info = ChannelInfo {
            long_name: h5::get_text(&dataset, path, "long_name")?,
            units: h5::get_text(&dataset, path, "units")?,
            width: if size == 2 {
                CountWidth::I16
            } else {
                CountWidth::I32
            },
            scale: h5::get(&dataset, path, "scale_factor")?,
            offset: h5::get(&dataset, path, "add_offset")?,
            group_delay_s: h5::get(&dataset, path, "group_delay_s")?,
            raw_min: h5::get(&dataset, path, "valid_min")?,
            raw_max: h5::get(&dataset, path, "valid_max")?,
            name,
        };
        found.push((position, info, dataset));
    }
    found.sort_by_key(|(position, _, _)| *position);
    Ok(found
        .into_iter()
        .map(|(_, info, dataset)| (info, dataset))
        .collect())
}

/// Shortest and longest of the sample datasets.
fn lengths(time: &Dataset, channels: &[Dataset], path: &Path) -> Result<Range<usize>, RecordingError> {
    let first = h5::length(time, path)?;
    let mut range = first..first;
    for dataset in channels {
        let n = h5::length(dataset, path)?;
        range = range.start.min(n)..range.end.max(n);
    }
    Ok(range)
}

/// How much of a live file is taken: rows and bytes of the journal, from the file and the lengths of its sample datasets.
pub(super) type ReadLive = fn(&File, &Path, &Range<usize>) -> Result<(usize, usize), RecordingError>;

/// Rows and journal of a live file, no further than its writer declared safe.
fn read_live(file: &File, path: &Path, lengths: &Range<usize>) -> Result<(usize, usize), RecordingError> {
    let (rows, bytes) = progress::read(file, path)?;
    if rows > lengths.start {
        let detail = format!("says {rows} rows are safe, a dataset has only {}", lengths.start);
        return Err(RecordingError::damaged(path, "/progress/valid", detail));
    }
    let journal = journal_of(file, path)?;
    let there = h5::length(&journal, path)?;
    if bytes > there {
        let detail = format!("says {bytes} journal bytes are safe, there are only {there}");
        return Err(RecordingError::damaged(path, "/progress/valid", detail));
    }
    Ok((rows, bytes))
}

/// The journal of a live file.
pub(super) fn journal_of(file: &File, path: &Path) -> Result<Dataset, RecordingError> {
    file.dataset("progress/journal")
        .map_err(|e| RecordingError::damaged(path, "/progress/journal", e.to_string()))
}

/// What differs between a live file and a sealed one.
struct Contents {
    rows: usize,
    segments: Vec<SegmentRow>,
    events: Vec<EventRow>,
    notes: Notes,
    completion: Option<Completion>,
    seal: Option<Seal>,
}

fn open_live(file: &File, path: &Path, (rows, bytes): (usize, usize)) -> Result<Contents, RecordingError> {
    let dataset = journal_of(file, path)?;
    let stored = Stored {
        path,
        dataset: &dataset,
    };
    let journal = journal::decode(path, Lines::new(stored, bytes))?;
    Ok(Contents {
        rows,
        segments: journal.segments,
        events: journal.events,
        notes: Notes::Journal {
            dataset,
            bytes,
            host: journal.host,
            round_trips: journal.round_trips,
        },
        completion: None,
        seal: None,
    })
}

fn open_sealed(file: &File, path: &Path, lengths: &Range<usize>) -> Result<Contents, RecordingError> {
    if lengths.start != lengths.end {
        let detail = format!(
            "the sample datasets have {} to {} rows, one length is due",
            lengths.start, lengths.end
        );
        return Err(RecordingError::damaged(path, "/", detail));
    }
    let word = h5::get_text(file, path, "completion")?;
    let cause = h5::get_text(file, path, "completion_cause")?;
    let completion = Completion::from_parts(&word, &cause)
        .ok_or_else(|| RecordingError::damaged(path, "/@completion", format!("{word:?} is not known")))?;
    let seal = if file.attr("seal").is_ok() {
        Some(Seal {
            sha256: h5::get_text(file, path, "seal")?,
            method: h5::get_text(file, path, "seal_method")?,
        })
    } else {
        None
    };
    Ok(Contents {
        rows: lengths.start,
        segments: table::read(file, path)?,
        events: table::read(file, path)?,
        notes: Notes::Tables {
            host: Table::open(file, path)?,
            round_trips: Table::open(file, path)?,
        },
        completion: Some(completion),
        seal,
    })
}
