//! Hands what a run gives out to the threads that write and show it. From the first sample to the last nothing in here
//! waits, takes a lock or asks for memory: it runs on the thread that drives the motor.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use bench_core::channels::SampleRow;
use bench_core::plan::Plan;
use bench_core::run::{End, Outcome, Progress, RunEvent};
use bench_core::time::HostNs;

use super::display::Shown;
use super::header::on_contact;
use super::notes::{Note, What};
use super::room::{Room, Spacing, block_rows};
use crate::drive::schedule::back_to_ordinary;
use crate::drive::{Lateness, Sink};
use crate::recording::{
    Block, Completion, Header, HostRow, RecorderThread, RecordingError, RecordingWriter, RoundTrip, Safe,
    Seal, WhenFull,
};

/// Measured over commanded torque of the approach.
pub type ApproachGain = f64;

/// A sink that records.
pub struct RunRecorder {
    path: PathBuf,
    header: Header,
    plan: Arc<Plan>,
    real_time: bool,
    thread: Option<RecorderThread<Note>>,
    safe: Option<Arc<Safe>>,
    /// Rows of a full block.
    block_rows: usize,
    /// First tick of the recording.
    first_tick: Option<u64>,
    block: Block,
    period: u64,
    arrivals: Spacing,
    round_trips: Spacing,
    last_host: HostNs,
    approach: Option<ApproachGain>,
    /// Capacity of the queue, once it was full and one more came.
    stalled: Option<usize>,
    lateness: Lateness,
    shown: Option<Shown>,
}

impl RunRecorder {
    /// Records into `path` once the rig is known; `real_time` says that the disk must never be waited for.
    #[must_use]
    pub fn new(path: &Path, header: Header, plan: Plan, real_time: bool) -> Self {
        Self {
            path: path.to_owned(),
            period: u64::from(header.sample_period_ticks),
            block_rows: block_rows(&header),
            header,
            plan: Arc::new(plan),
            real_time,
            thread: None,
            safe: None,
            first_tick: None,
            block: Block::default(),
            arrivals: Spacing::arrivals(),
            round_trips: Spacing::round_trips(0),
            last_host: HostNs(0),
            approach: None,
            stalled: None,
            lateness: Lateness::default(),
            shown: None,
        }
    }

    /// How late the loop woke, so far.
    #[must_use]
    pub const fn lateness(&self) -> Lateness {
        self.lateness
    }

    /// How far the run is goes there.
    pub(super) fn show_on(&mut self, shown: Shown) {
        self.shown = Some(shown);
    }

    /// Nothing is shown from here on; whoever shows it may end.
    pub(super) fn hide(&mut self) {
        self.shown = None;
    }

    /// Measured over commanded torque of the approach, once it passed.
    #[must_use]
    pub const fn approach(&self) -> Option<ApproachGain> {
        self.approach
    }

    /// How far the recording can be relied on; `None` before it is begun.
    #[must_use]
    pub const fn safe(&self) -> Option<&Arc<Safe>> {
        self.safe.as_ref()
    }

    /// Seals the recording; `None` when none was begun.
    pub fn finish(mut self, outcome: &Outcome) -> Option<Result<Seal, RecordingError>> {
        let flushed = self.flush_block();
        let thread = self.thread.take()?;
        let cause = outcome.end.to_string();
        let completion = match outcome.end {
            End::Completed => Completion::Complete,
            End::Tripped(_) => Completion::Tripped { cause },
            End::Stopped(_) => Completion::Stopped { cause },
            End::Failed(_) => Completion::Failed { cause },
        };
        let sealed = thread.finish(completion);
        Some(flushed.and(sealed))
    }

    /// The error in words, after noting that the queue was full if that is what it says.
    fn tell(&mut self, error: &RecordingError) -> String {
        if let RecordingError::QueueFull { capacity, .. } = error {
            self.stalled = Some(*capacity);
        }
        error.to_string()
    }

    fn open(&mut self) -> Result<(), RecordingError> {
        let writer = RecordingWriter::create(&self.path, &self.header)?;
        self.safe = Some(writer.safe());
        let room = Room::of(&self.header, self.arrivals, self.round_trips);
        let when_full = if self.real_time {
            WhenFull::Fail
        } else {
            WhenFull::Wait
        };
        let spares = (0..room.spare_blocks)
            .map(|_| empty_block(self.header.channels.len(), self.block_rows))
            .collect();
        self.block = empty_block(self.header.channels.len(), self.block_rows);
        self.thread = Some(RecorderThread::start_with(
            writer,
            room.messages_per_s,
            when_full,
            back_to_ordinary,
            spares,
        )?);
        Ok(())
    }

    /// Sends the block off; the next one is one that was written already, or a spare one.
    fn flush_block(&mut self) -> Result<(), RecordingError> {
        let Some(thread) = &mut self.thread else {
            return Ok(());
        };
        if self.block.rows == 0 {
            return Ok(());
        }
        let next = match thread.emptied() {
            Some(block) => block,
            // As many blocks are under way as the queue may hold.
            None if self.real_time => {
                return Err(RecordingError::QueueFull {
                    path: self.path.clone(),
                    capacity: thread.capacity(),
                });
            }
            None => empty_block(self.block.columns.len(), self.block_rows),
        };
        thread.block(std::mem::replace(&mut self.block, next))
    }

    fn note(&mut self, tick: u64, what: What) -> Result<(), RecordingError> {
        let host_ns = i64::try_from(self.last_host.0).unwrap_or(i64::MAX);
        match &mut self.thread {
            Some(thread) => thread.entry(Note { tick, host_ns, what }),
            None => Ok(()),
        }
    }

    fn take(&mut self, event: &RunEvent) -> Result<(), RecordingError> {
        match event {
            RunEvent::Connected {
                identity,
                channels,
                configuration,
            } => {
                on_contact(&mut self.header, identity, channels, configuration);
                self.round_trips = Spacing::round_trips(configuration.watchdog_us);
                self.open()
            }
            RunEvent::PlanStarted { tick } => {
                let plan = Arc::clone(&self.plan);
                self.note(*tick, What::PlanStarted(plan))
            }
            RunEvent::Rig(event) => self.note(event.tick, What::Rig(*event)),
            RunEvent::RoundTrip {
                sent_ns,
                received_ns,
                rig_received_tick,
                ..
            } => match &mut self.thread {
                Some(thread) if self.round_trips.takes(*received_ns) => thread.round_trip(RoundTrip {
                    host_send_ns: i64::try_from(*sent_ns).unwrap_or(i64::MAX),
                    host_receive_ns: i64::try_from(*received_ns).unwrap_or(i64::MAX),
                    rig_tick: *rig_received_tick,
                }),
                _ => Ok(()),
            },
            RunEvent::Arrival { tick, host_ns } => match &mut self.thread {
                Some(thread) if self.arrivals.takes(*host_ns) => thread.host(HostRow {
                    first_tick: *tick,
                    host_ns: i64::try_from(*host_ns).unwrap_or(i64::MAX),
                }),
                _ => Ok(()),
            },
            RunEvent::ApproachPassed { gain, tick } => {
                self.approach = Some(*gain);
                self.note(*tick, What::ApproachPassed(*gain))
            }
            RunEvent::Tripped(trip) => {
                self.note(trip.tick, What::Tripped(*trip))?;
                self.flush_block()?;
                self.thread.as_mut().map_or(Ok(()), RecorderThread::flush)
            }
            RunEvent::Phase { name, tick } => self.note(*tick, What::Phase(name)),
            RunEvent::Status(_) => Ok(()),
        }
    }
}

impl Sink for RunRecorder {
    fn row(&mut self, row: &SampleRow) -> Result<(), String> {
        if self.thread.is_none() {
            return Ok(());
        }
        let expected = self
            .block
            .first_tick
            .saturating_add(self.block.rows as u64 * self.period);
        if self.block.rows >= self.block_rows || (self.block.rows > 0 && row.tick != expected) {
            self.flush_block().map_err(|error| self.tell(&error))?;
        }
        if self.block.rows == 0 {
            self.block.first_tick = row.tick;
        }
        for (column, &count) in self.block.columns.iter_mut().zip(&row.counts) {
            column.push(count);
        }
        self.block.rows += 1;
        if let (true, Some(safe)) = (self.real_time, &self.safe) {
            safe.taken(row.tick, *self.first_tick.get_or_insert(row.tick));
        }
        Ok(())
    }

    fn event(&mut self, now: HostNs, event: &RunEvent) -> Result<(), String> {
        self.last_host = now;
        self.take(event).map_err(|error| self.tell(&error))
    }

    fn stalled(&self) -> Option<(usize, usize)> {
        self.stalled.map(|capacity| (capacity, capacity))
    }

    fn check(&mut self) -> Result<(), String> {
        match self.thread.as_ref().and_then(RecorderThread::failure) {
            Some(error) => Err(error.to_string()),
            None => Ok(()),
        }
    }

    fn progress(&mut self, progress: Progress) {
        if let Some(shown) = &mut self.shown {
            shown.tell(progress);
        }
    }

    fn woke(&mut self, late_us: u64) {
        self.lateness.add(late_us);
    }
}

/// A block without rows, with room for a whole one.
fn empty_block(channels: usize, rows: usize) -> Block {
    Block {
        first_tick: 0,
        rows: 0,
        columns: (0..channels).map(|_| Vec::with_capacity(rows)).collect(),
    }
}
