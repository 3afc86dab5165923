//! Writes what a run hands out.

use std::path::{Path, PathBuf};

use bench_core::channels::SampleRow;
use bench_core::excitation::ExcitationKind;
use bench_core::plan::{Plan, SETPOINT_STRIDE_US, Window};
use bench_core::run::{End, Outcome, Progress, RunEvent};
use bench_core::time::HostNs;

use super::header::on_contact;
use crate::drive::Sink;
use crate::drive::schedule::back_to_ordinary;
use crate::recording::{
    Block, Completion, EventRow, Header, HostRow, RecorderThread, RecordingError, RecordingWriter, RoundTrip,
    Seal, SegmentRow, Source, WhenFull,
};

/// Rows in a block: 62.5 ms at 4,000 samples/s.
const BLOCK_ROWS: usize = 250;
/// Arrivals are kept once in so many batches: enough for the host's jitter, little beside the samples.
const ARRIVAL_EVERY: u32 = 4;

/// Measured over commanded torque of the approach.
pub type ApproachGain = f64;

/// A sink that records.
pub struct RunRecorder<'a> {
    path: PathBuf,
    header: Header,
    plan: Plan,
    real_time: bool,
    thread: Option<RecorderThread>,
    block: Block,
    period: u64,
    arrivals: u32,
    last_host: HostNs,
    approach: Option<ApproachGain>,
    on_progress: &'a mut dyn FnMut(Progress),
}

impl<'a> RunRecorder<'a> {
    /// Records into `path` once the rig is known; `real_time` says that the disk must never be waited for.
    pub fn new(
        path: &Path,
        header: Header,
        plan: Plan,
        real_time: bool,
        on_progress: &'a mut dyn FnMut(Progress),
    ) -> Self {
        Self {
            path: path.to_owned(),
            period: u64::from(header.sample_period_ticks),
            header,
            plan,
            real_time,
            thread: None,
            block: Block::default(),
            arrivals: 0,
            last_host: HostNs(0),
            approach: None,
            on_progress,
        }
    }

    /// Measured over commanded torque of the approach, once it passed.
    #[must_use]
    pub const fn approach(&self) -> Option<ApproachGain> {
        self.approach
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

    fn open(&mut self) -> Result<(), RecordingError> {
        let writer = RecordingWriter::create(&self.path, &self.header)?;
        // Blocks, arrivals and round trips a second.
        let rate = self.header.sample_rate_hz();
        let messages_per_s = rate / BLOCK_ROWS as f64 + rate / f64::from(ARRIVAL_EVERY) + 400.0;
        let when_full = if self.real_time {
            WhenFull::Fail
        } else {
            WhenFull::Wait
        };
        self.thread = Some(RecorderThread::start(
            writer,
            messages_per_s,
            when_full,
            back_to_ordinary,
        )?);
        self.block = self.empty_block();
        Ok(())
    }

    fn empty_block(&self) -> Block {
        let columns = self
            .header
            .channels
            .iter()
            .map(|_| Vec::with_capacity(BLOCK_ROWS))
            .collect();
        Block {
            first_tick: 0,
            rows: 0,
            columns,
        }
    }

    fn flush_block(&mut self) -> Result<(), RecordingError> {
        if self.block.rows == 0 {
            return Ok(());
        }
        let empty = self.empty_block();
        let full = std::mem::replace(&mut self.block, empty);
        match &self.thread {
            Some(thread) => thread.block(full),
            None => Ok(()),
        }
    }

    fn note(&self, tick: u64, source: Source, code: &str, text: String) -> Result<(), RecordingError> {
        let host_ns = i64::try_from(self.last_host.0).unwrap_or(i64::MAX);
        match &self.thread {
            Some(thread) => thread.event(EventRow {
                tick,
                host_ns,
                source,
                code: code.to_owned(),
                text,
            }),
            None => Ok(()),
        }
    }

    fn segments(&self, zero: u64) -> Result<(), RecordingError> {
        let Some(thread) = &self.thread else { return Ok(()) };
        self.plan
            .windows()
            .iter()
            .try_for_each(|window| thread.segment(segment_row(window, zero)))
    }

    fn take(&mut self, event: &RunEvent) -> Result<(), RecordingError> {
        match event {
            RunEvent::Connected {
                identity,
                channels,
                configuration,
            } => {
                on_contact(&mut self.header, identity, channels, configuration);
                self.open()
            }
            RunEvent::PlanStarted { tick } => {
                self.note(
                    *tick,
                    Source::Bench,
                    "plan-zero",
                    "the plan begins at this tick".to_owned(),
                )?;
                self.segments(*tick)
            }
            RunEvent::Rig(event) => {
                let text = format!(
                    "rig event {}: {:?}, detail {}",
                    event.number, event.code, event.detail
                );
                self.note(
                    event.tick,
                    Source::Rig,
                    &kebab(&format!("{:?}", event.code)),
                    text,
                )
            }
            RunEvent::RoundTrip {
                sent_ns,
                received_ns,
                rig_received_tick,
                ..
            } => match &self.thread {
                Some(thread) => thread.round_trip(RoundTrip {
                    host_send_ns: i64::try_from(*sent_ns).unwrap_or(i64::MAX),
                    host_receive_ns: i64::try_from(*received_ns).unwrap_or(i64::MAX),
                    rig_tick: *rig_received_tick,
                }),
                None => Ok(()),
            },
            RunEvent::Arrival { tick, host_ns } => {
                self.arrivals = self.arrivals.wrapping_add(1);
                match &self.thread {
                    Some(thread) if self.arrivals.is_multiple_of(ARRIVAL_EVERY) => thread.host(HostRow {
                        first_tick: *tick,
                        host_ns: i64::try_from(*host_ns).unwrap_or(i64::MAX),
                    }),
                    _ => Ok(()),
                }
            }
            RunEvent::ApproachPassed { gain, tick } => {
                self.approach = Some(*gain);
                let text = format!("first small torque: {gain:.3} of the command, right sign");
                self.note(*tick, Source::Bench, "approach-passed", text)
            }
            RunEvent::Tripped(trip) => {
                self.note(
                    trip.tick,
                    Source::Bench,
                    &format!("trip-{}", trip.condition.name()),
                    trip.to_string(),
                )?;
                self.flush_block()?;
                self.thread.as_ref().map_or(Ok(()), RecorderThread::flush)
            }
            RunEvent::Phase { name, tick } => self.note(*tick, Source::Bench, "phase", (*name).to_owned()),
            RunEvent::Status(_) => Ok(()),
        }
    }
}

impl Sink for RunRecorder<'_> {
    fn row(&mut self, row: &SampleRow) -> Result<(), String> {
        if self.thread.is_none() {
            return Ok(());
        }
        let expected = self
            .block
            .first_tick
            .saturating_add(self.block.rows as u64 * self.period);
        if self.block.rows >= BLOCK_ROWS || (self.block.rows > 0 && row.tick != expected) {
            self.flush_block().map_err(|error| error.to_string())?;
        }
        if self.block.rows == 0 {
            self.block.first_tick = row.tick;
        }
        for (column, &count) in self.block.columns.iter_mut().zip(&row.counts) {
            column.push(count);
        }
        self.block.rows += 1;
        Ok(())
    }

    fn event(&mut self, now: HostNs, event: &RunEvent) -> Result<(), String> {
        self.last_host = now;
        self.take(event).map_err(|error| error.to_string())
    }

    fn check(&mut self) -> Result<(), String> {
        match self.thread.as_ref().and_then(RecorderThread::failure) {
            Some(error) => Err(error.to_string()),
            None => Ok(()),
        }
    }

    fn progress(&mut self, progress: Progress) {
        (self.on_progress)(progress);
    }
}

fn segment_row(window: &Window, zero: u64) -> SegmentRow {
    let sweep = window.sweep;
    SegmentRow {
        name: window.name.clone(),
        excitation: window.kind.word().to_owned(),
        role: "excitation".to_owned(),
        segment: u32::try_from(window.segment).unwrap_or(u32::MAX),
        repeat: u32::try_from(window.repeat).unwrap_or(u32::MAX),
        start_tick: zero + window.start_us,
        end_tick: zero + window.end_us,
        from_nm: window.from_nm,
        to_nm: window.to_nm,
        amplitude_nm: if window.kind == ExcitationKind::Hold {
            f64::NAN
        } else {
            window.amplitude_nm
        },
        preload_nm: window.preload_nm,
        f_start_hz: sweep.map_or(f64::NAN, |sweep| sweep.from_hz),
        f_end_hz: sweep.map_or(f64::NAN, |sweep| sweep.to_hz),
        duration_s: (window.end_us - window.start_us) as f64 * 1e-6,
        hold_us: SETPOINT_STRIDE_US,
    }
}

/// `SetpointLimited` → `setpoint-limited`.
fn kebab(name: &str) -> String {
    let mut out = String::with_capacity(name.len() + 4);
    for letter in name.chars() {
        if letter.is_ascii_uppercase() && !out.is_empty() {
            out.push('-');
        }
        out.push(letter.to_ascii_lowercase());
    }
    out
}
