//! Writing a recording while the run lasts.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use hdf5_metno::{Dataset, File};
use ndarray::arr1;

use super::columns::{TableRow, tick_to_file};
use super::error::RecordingError;
use super::force::Force;
use super::h5::{self, Explain};
use super::header::Header;
use super::layout::{self, Layout, State};
use super::pace::Pace;
use super::rows::{Block, Completion, EventRow, HostRow, RoundTrip, Seal, SegmentRow};
use super::safe::Safe;
use super::sealing::{self, Aside, LiveFigures, QueueFigures};
use super::{check, journal, progress, space};

/// Bytes that stay free on the disk beside what sealing needs.
pub const RESERVE_BYTES: u64 = 16 << 20;

/// Writes one recording, from [`RecordingWriter::create`] to [`RecordingWriter::finish`].
///
/// Samples are gathered to chunks of at most 0.15 s; a full chunk is written and flushed at once, and so is what has
/// waited that long by the ticks of the samples or the host times of the rows beside them. The file is in HDF5's
/// one-writer-many-readers mode all the time. After each flush the number of rows that can be relied on is written and
/// flushed too: a block that reached the disk in part is never read. Once a second another thread forces the file to the
/// disk. The first error of writing ends the recording.
pub struct RecordingWriter {
    path: PathBuf,
    header: Header,
    file: File,
    layout: Layout,
    progress: Dataset,
    journal: Dataset,
    pub(super) reserve_bytes: u64,
    /// Rows not yet in the file.
    ticks: Vec<i64>,
    columns: Vec<Vec<i32>>,
    /// Journal lines not yet in the file.
    lines: Vec<u8>,
    written_rows: usize,
    written_journal: usize,
    safe: Arc<Safe>,
    last_tick: Option<u64>,
    pace: Pace,
    /// Host time of the oldest journal line not yet in the file, ns.
    oldest_line_ns: Option<i64>,
    /// Most ticks of samples that one flush wrote.
    flush_ticks: u64,
    /// Whether the disk is asked to keep what is flushed.
    forcing: bool,
    /// Started with the first flush, so that it runs in the scheduling class of whoever writes.
    force: Option<Force>,
    forced_tick: u64,
    queue: Option<QueueFigures>,
    ended: Option<String>,
}

impl RecordingWriter {
    /// Makes a new recording at `path`, keeping [`RESERVE_BYTES`] free.
    ///
    /// # Errors
    /// [`RecordingError::Exists`] if there is a file of this name, [`RecordingError::Invalid`] if the header does not
    /// do, [`RecordingError::DiskFull`], [`RecordingError::Hdf5`].
    pub fn create(path: &Path, header: &Header) -> Result<Self, RecordingError> {
        Self::create_with_reserve(path, header, RESERVE_BYTES)
    }

    /// As [`RecordingWriter::create`], keeping `reserve_bytes` free.
    ///
    /// # Errors
    /// As [`RecordingWriter::create`].
    pub fn create_with_reserve(
        path: &Path,
        header: &Header,
        reserve_bytes: u64,
    ) -> Result<Self, RecordingError> {
        check::header(header).map_err(|what| RecordingError::invalid(path, what))?;
        if path.exists() {
            return Err(RecordingError::Exists {
                path: path.to_owned(),
            });
        }
        let free_bytes = space::free_bytes(path)?;
        if free_bytes < reserve_bytes {
            let path = path.to_owned();
            return Err(RecordingError::DiskFull {
                path,
                free_bytes,
                needed_bytes: reserve_bytes,
                rows: 0,
            });
        }
        // Under a name of its own until it can be read: whatever happens, a file called `path` can be opened.
        let aside = Aside::new(path, ".creating");
        let file = h5::access().create(&aside.0).doing(path, "create the file")?;
        let layout = layout::create(&file, path, header, State::Live)?;
        let (progress, journal) = progress::create(&file, path)?;
        file.flush().doing(path, "flush the new file")?;
        file.start_swmr()
            .doing(path, "start the one-writer-many-readers mode")?;
        aside.publish_new(path)?;
        Ok(Self {
            path: path.to_owned(),
            header: header.clone(),
            file,
            layout,
            progress,
            journal,
            reserve_bytes,
            ticks: Vec::new(),
            columns: vec![Vec::new(); header.channels.len()],
            lines: Vec::new(),
            written_rows: 0,
            written_journal: 0,
            safe: Arc::default(),
            last_tick: None,
            pace: Pace::of(header),
            oldest_line_ns: None,
            flush_ticks: 0,
            forcing: true,
            force: None,
            forced_tick: 0,
            queue: None,
            ended: None,
        })
    }

    /// The file.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The header the recording was made with.
    pub fn header(&self) -> &Header {
        &self.header
    }

    /// Rows that are safely in the file.
    pub fn safe_rows(&self) -> u64 {
        self.safe.rows()
    }

    /// How far what is safe reaches, to be looked at from elsewhere while this writer is at work.
    pub fn safe(&self) -> Arc<Safe> {
        Arc::clone(&self.safe)
    }

    /// Takes a block of samples; writes and flushes when a chunk is full or 0.15 s of samples wait.
    ///
    /// # Errors
    /// [`RecordingError::Invalid`] if the block does not fit the header or does not follow the last one (nothing of
    /// it is taken), otherwise as [`RecordingWriter::flush`].
    pub fn append(&mut self, block: &Block) -> Result<(), RecordingError> {
        self.still_open()?;
        let Some(last) = self
            .fits(block)
            .map_err(|what| RecordingError::invalid(&self.path, what))?
        else {
            return Ok(());
        };
        let step = u64::from(self.header.sample_period_ticks);
        let ticks = (block.first_tick..=last).step_by(usize::try_from(step).unwrap_or(usize::MAX));
        self.ticks
            .extend(ticks.filter_map(|tick| i64::try_from(tick).ok()));
        for (kept, counts) in self.columns.iter_mut().zip(&block.columns) {
            kept.extend_from_slice(counts);
        }
        self.last_tick = Some(last);
        let due = self
            .pace
            .due(self.written_rows, self.ticks.len(), self.waiting_ticks());
        if due > 0 { self.commit(due) } else { Ok(()) }
    }

    /// Ticks from the first row that is not yet in the file to the end of the last.
    fn waiting_ticks(&self) -> u64 {
        let first = self.ticks.first().and_then(|tick| u64::try_from(*tick).ok());
        let end = self
            .last_tick
            .map(|tick| tick.saturating_add(self.header.sample_period_ticks.into()));
        first.zip(end).map_or(0, |(first, end)| end.saturating_sub(first))
    }

    /// Notes a repeat of a segment; written at the next flush.
    ///
    /// # Errors
    /// [`RecordingError::Invalid`] for a tick or a text that HDF5 cannot hold, [`RecordingError::Ended`].
    pub fn segment(&mut self, row: &SegmentRow) -> Result<(), RecordingError> {
        self.note(row)
    }

    /// Notes an event; written at the next flush, or now if lines have waited for 0.15 s of host time.
    ///
    /// # Errors
    /// As [`RecordingWriter::segment`] and [`RecordingWriter::flush`].
    pub fn event(&mut self, row: &EventRow) -> Result<(), RecordingError> {
        self.note(row)?;
        self.line_taken(row.host_ns)
    }

    /// Notes the arrival of a batch; written as an event is.
    ///
    /// # Errors
    /// As [`RecordingWriter::event`].
    pub fn host(&mut self, row: &HostRow) -> Result<(), RecordingError> {
        self.note(row)?;
        self.line_taken(row.host_ns)
    }

    /// Notes a round trip over the link; written as an event is.
    ///
    /// # Errors
    /// As [`RecordingWriter::event`].
    pub fn round_trip(&mut self, row: &RoundTrip) -> Result<(), RecordingError> {
        self.note(row)?;
        self.line_taken(row.host_receive_ns)
    }

    /// Writes everything taken so far and flushes it.
    ///
    /// # Errors
    /// [`RecordingError::DiskFull`] if less would be free than sealing and the reserve need,
    /// [`RecordingError::FlushFailed`] if writing fails. Both end the recording: what was safe stays safe, later
    /// calls give [`RecordingError::Ended`].
    pub fn flush(&mut self) -> Result<(), RecordingError> {
        self.still_open()?;
        self.commit(self.ticks.len())
    }

    /// Flushes, closes and seals. The sealed file takes the place of the live one in a single step: whatever happens,
    /// there is always one whole file under this name.
    ///
    /// # Errors
    /// As [`RecordingWriter::flush`], and those of reading and writing the sealed file; the live file then stays as it
    /// is and can be recovered.
    pub fn finish(mut self, completion: &Completion) -> Result<Seal, RecordingError> {
        self.flush()?;
        let Self {
            path,
            file,
            layout,
            progress,
            journal,
            queue,
            header,
            safe,
            flush_ticks,
            force,
            ..
        } = self;
        drop((layout, progress, journal, force));
        file.close().doing(&path, "close the live file")?;
        let figures = LiveFigures {
            queue,
            flush_span_max_s: flush_ticks as f64 * header.tick_s,
            unflushed_max_s: safe.behind_ticks().map(|ticks| ticks as f64 * header.tick_s),
        };
        sealing::seal(&path, &path, completion, Some(figures))
    }

    /// Whether the file is forced to the disk once a second of samples; it is unless told otherwise. Without it a power cut
    /// may cost the whole recording: for what can be made again, and to measure what forcing costs.
    pub fn set_forcing(&mut self, on: bool) {
        self.forcing = on;
    }

    /// Figures of the queue in front of this writer, kept in the sealed file.
    pub(super) fn set_queue(&mut self, figures: QueueFigures) {
        self.queue = Some(figures);
    }

    fn still_open(&self) -> Result<(), RecordingError> {
        match &self.ended {
            Some(first) => Err(RecordingError::Ended {
                path: self.path.clone(),
                first: first.clone(),
            }),
            None => Ok(()),
        }
    }

    /// The last tick of a block that fits, `None` for one without rows, or what does not fit.
    fn fits(&self, block: &Block) -> Result<Option<u64>, String> {
        let channels = &self.header.channels;
        if block.columns.len() != channels.len() {
            return Err(format!(
                "a block has {} columns, the header {} channels; hand over one column a channel",
                block.columns.len(),
                channels.len()
            ));
        }
        for (channel, counts) in channels.iter().zip(&block.columns) {
            if counts.len() != block.rows {
                return Err(format!(
                    "{}: {} counts in a block of {} rows; columns must be of one length",
                    channel.name,
                    counts.len(),
                    block.rows
                ));
            }
            let (low, high) = channel.width.range();
            if let Some(count) = counts.iter().find(|c| **c < low || **c > high) {
                return Err(format!(
                    "{}: count {count} is outside {low} to {high}; declare the channel wider",
                    channel.name
                ));
            }
        }
        let Some(steps) = (block.rows as u64).checked_sub(1) else {
            return Ok(None);
        };
        let last = steps
            .checked_mul(u64::from(self.header.sample_period_ticks))
            .and_then(|span| block.first_tick.checked_add(span))
            .ok_or_else(|| {
                format!(
                    "a block of {} rows from tick {} runs past 64 bits",
                    block.rows, block.first_tick
                )
            })?;
        tick_to_file("last tick of a block", last)?;
        match self.last_tick {
            Some(before) if block.first_tick <= before => Err(format!(
                "a block starts at tick {}, the last row is of tick {before}; blocks must follow each other",
                block.first_tick
            )),
            _ => Ok(Some(last)),
        }
    }

    fn note<T: TableRow>(&mut self, row: &T) -> Result<(), RecordingError> {
        self.still_open()?;
        let before = self.lines.len();
        journal::encode(row, &mut self.lines).map_err(|what| {
            self.lines.truncate(before);
            RecordingError::invalid(&self.path, format!("/{}: {what}", T::GROUP))
        })
    }

    /// A line of `host_ns` was taken: it or an older one may have waited long enough.
    fn line_taken(&mut self, host_ns: i64) -> Result<(), RecordingError> {
        let oldest_ns = *self.oldest_line_ns.get_or_insert(host_ns);
        if self.pace.lines_due(oldest_ns, host_ns) {
            self.flush()?;
        }
        Ok(())
    }

    /// Writes the first `rows` gathered rows and all journal lines, then says that they are safe.
    fn commit(&mut self, rows: usize) -> Result<(), RecordingError> {
        if rows == 0 && self.lines.is_empty() {
            return Ok(());
        }
        let outcome = self.enough_room(rows).and_then(|()| {
            self.write(rows).map_err(|error| RecordingError::FlushFailed {
                path: self.path.clone(),
                free_bytes: space::free_bytes(&self.path).unwrap_or(0),
                detail: error.without_path(),
                rows: self.safe_rows(),
            })
        });
        if let Err(error) = &outcome {
            self.ended = Some(error.to_string());
        }
        outcome
    }

    /// Sealing writes the file once more, so as much room as it takes must be left at any time.
    fn enough_room(&self, rows: usize) -> Result<(), RecordingError> {
        let free_bytes = space::free_bytes(&self.path)?;
        let now = std::fs::metadata(&self.path)
            .map_err(|e| RecordingError::io(&self.path, "read the size of the file", &e))?
            .len();
        let row_bytes: u64 = 8 + self.header.channels.iter().map(|c| c.width.bytes()).sum::<u64>();
        let coming = row_bytes * rows as u64 + self.lines.len() as u64;
        let needed_bytes = self.reserve_bytes.saturating_add(now).saturating_add(2 * coming);
        if free_bytes < needed_bytes {
            return Err(RecordingError::DiskFull {
                path: self.path.clone(),
                free_bytes,
                needed_bytes,
                rows: self.safe_rows(),
            });
        }
        Ok(())
    }

    fn write(&mut self, rows: usize) -> Result<(), RecordingError> {
        let span_ticks = self.waiting_ticks();
        let ticks: Vec<i64> = self.ticks.drain(..rows).collect();
        let columns: Vec<Vec<i32>> = self
            .columns
            .iter_mut()
            .map(|c| c.drain(..rows).collect())
            .collect();
        let lines = std::mem::take(&mut self.lines);
        let views: Vec<&[i32]> = columns.iter().map(Vec::as_slice).collect();
        if rows > 0 {
            self.layout.write(&self.path, self.written_rows, &ticks, &views)?;
        }
        if !lines.is_empty() {
            layout::extend(&self.journal, &self.path, self.written_journal, &lines)?;
        }
        // The whole file, not a dataset: only that also writes the file's end, without which a later opening for
        // writing would cut it off.
        self.file.flush().doing(&self.path, "flush")?;
        self.written_rows += rows;
        self.written_journal += lines.len();
        self.progress
            .write(&arr1(&[self.written_rows as u64, self.written_journal as u64]))
            .and_then(|()| self.file.flush())
            .doing(&self.path, "write and flush /progress/valid")?;
        let end_tick = ticks.last().and_then(|tick| u64::try_from(*tick).ok());
        let end_tick = end_tick.map_or(self.safe.end_tick(), |tick| {
            tick.saturating_add(self.header.sample_period_ticks.into())
        });
        self.safe.reaches(self.written_rows as u64, end_tick);
        self.oldest_line_ns = None;
        self.flush_ticks = self.flush_ticks.max(span_ticks);
        self.force_now_and_then()
    }

    /// Asks for the file to be forced to the disk, if a second of samples came since the last time.
    fn force_now_and_then(&mut self) -> Result<(), RecordingError> {
        if !self.forcing {
            return Ok(());
        }
        let force = match self.force.take() {
            Some(force) => force,
            None => Force::start(&self.path)?,
        };
        let tick = self.last_tick.unwrap_or(0);
        let asked = if self.pace.force_due(self.forced_tick, tick) {
            self.forced_tick = tick;
            force.ask()
        } else {
            Ok(())
        };
        self.force = Some(force);
        asked
    }
}
