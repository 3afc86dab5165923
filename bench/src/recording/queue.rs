//! A thread that writes, so that whoever drives the motor never waits for the disk.

use std::path::PathBuf;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, SyncSender, TrySendError, sync_channel};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;

use super::error::RecordingError;
use super::rows::{Block, Completion, EventRow, HostRow, RoundTrip, Seal, SegmentRow};
use super::sealing::QueueFigures;
use super::writer::RecordingWriter;

/// Seconds of messages the queue holds.
const QUEUE_S: f64 = 10.0;
/// Messages the queue holds at least and at most.
const CAPACITY: std::ops::RangeInclusive<usize> = 64..=1_000_000;

/// What a full queue does to the caller.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhenFull {
    /// [`RecordingError::QueueFull`]: for a run in real time, which must stop rather than wait.
    Fail,
    /// Waits for the disk: for a virtual rig, whose time stands still meanwhile.
    Wait,
}

enum Message {
    Block(Block),
    Segment(Box<SegmentRow>),
    Event(EventRow),
    Host(HostRow),
    RoundTrip(RoundTrip),
    Flush,
    Finish(Completion),
}

/// What both sides see.
struct Shared {
    depth: AtomicUsize,
    high_water: AtomicUsize,
    failure: Mutex<Option<RecordingError>>,
}

/// A [`RecordingWriter`] behind a bounded queue and a thread of its own.
///
/// Nothing is dropped: a message that finds no room is an error to the caller, and an error of the writer is the
/// answer to the next call. Dropping the value without [`RecorderThread::finish`] writes what is queued, flushes, and
/// leaves a live file that can be recovered.
pub struct RecorderThread {
    path: PathBuf,
    capacity: usize,
    when_full: WhenFull,
    shared: Arc<Shared>,
    sender: Option<SyncSender<Message>>,
    thread: Option<JoinHandle<Option<Result<Seal, RecordingError>>>>,
}

impl RecorderThread {
    /// Starts the thread with room for 10 s of messages, of which `messages_per_s` come each second (each block,
    /// each host row and each round trip is one). `begin` is the first thing that the thread does: a thread starts in
    /// the scheduling class of the one that starts it, and the disk must not share the driving thread's.
    ///
    /// # Errors
    /// [`RecordingError::Invalid`] if `messages_per_s` is not a number above 0 or 10 s of it are over a million
    /// messages; [`RecordingError::Io`] if no thread can be started.
    pub fn start(
        writer: RecordingWriter,
        messages_per_s: f64,
        when_full: WhenFull,
        begin: fn(),
    ) -> Result<Self, RecordingError> {
        let path = writer.path().to_owned();
        let wanted = (messages_per_s * QUEUE_S).ceil();
        if !(wanted > 0.0 && wanted <= *CAPACITY.end() as f64) {
            let what = format!(
                "{messages_per_s} messages per second: the queue holds {QUEUE_S} s of them and must hold 1 to {}",
                CAPACITY.end()
            );
            return Err(RecordingError::invalid(&path, what));
        }
        // In range by the check above.
        let capacity = (wanted as usize).max(*CAPACITY.start());
        Self::with_capacity(writer, capacity, when_full, begin)
    }

    fn with_capacity(
        writer: RecordingWriter,
        capacity: usize,
        when_full: WhenFull,
        begin: fn(),
    ) -> Result<Self, RecordingError> {
        let path = writer.path().to_owned();
        let (sender, receiver) = sync_channel(capacity);
        let shared = Arc::new(Shared {
            depth: AtomicUsize::new(0),
            high_water: AtomicUsize::new(0),
            failure: Mutex::new(None),
        });
        let seen = Arc::clone(&shared);
        let thread = std::thread::Builder::new()
            .name("recorder".to_owned())
            .spawn(move || {
                begin();
                run(writer, &receiver, &seen, capacity)
            })
            .map_err(|e| RecordingError::io(&path, "start the recorder thread", &e))?;
        Ok(Self {
            path,
            capacity,
            when_full,
            shared,
            sender: Some(sender),
            thread: Some(thread),
        })
    }

    /// Queues a block of samples.
    ///
    /// # Errors
    /// [`RecordingError::QueueFull`] (with [`WhenFull::Fail`]), or the error that ended the recording.
    pub fn block(&self, block: Block) -> Result<(), RecordingError> {
        self.send(Message::Block(block))
    }

    /// Queues a repeat of a segment.
    ///
    /// # Errors
    /// As [`RecorderThread::block`].
    pub fn segment(&self, row: SegmentRow) -> Result<(), RecordingError> {
        self.send(Message::Segment(Box::new(row)))
    }

    /// Queues an event.
    ///
    /// # Errors
    /// As [`RecorderThread::block`].
    pub fn event(&self, row: EventRow) -> Result<(), RecordingError> {
        self.send(Message::Event(row))
    }

    /// Queues the arrival of a batch.
    ///
    /// # Errors
    /// As [`RecorderThread::block`].
    pub fn host(&self, row: HostRow) -> Result<(), RecordingError> {
        self.send(Message::Host(row))
    }

    /// Queues a round trip over the link.
    ///
    /// # Errors
    /// As [`RecorderThread::block`].
    pub fn round_trip(&self, row: RoundTrip) -> Result<(), RecordingError> {
        self.send(Message::RoundTrip(row))
    }

    /// Queues a flush, so that what came before is soon safe (after a trip, say).
    ///
    /// # Errors
    /// As [`RecorderThread::block`].
    pub fn flush(&self) -> Result<(), RecordingError> {
        self.send(Message::Flush)
    }

    /// Most messages that ever waited.
    pub fn high_water(&self) -> usize {
        self.shared.high_water.load(Ordering::Relaxed)
    }

    /// Messages the queue holds.
    pub fn capacity(&self) -> usize {
        self.capacity
    }

    /// The error that ended the recording, if one did.
    pub fn failure(&self) -> Option<RecordingError> {
        self.shared
            .failure
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    /// Waits until all is written, then seals.
    ///
    /// # Errors
    /// The error that ended the recording, or one of [`RecordingWriter::finish`].
    pub fn finish(mut self, completion: Completion) -> Result<Seal, RecordingError> {
        if let Some(sender) = self.sender.take() {
            // Waiting is right here: the run is over. If the thread is gone, its failure is told below.
            self.shared.depth.fetch_add(1, Ordering::Relaxed);
            let _ = sender.send(Message::Finish(completion));
        }
        let outcome = self.thread.take().and_then(|thread| thread.join().ok()).flatten();
        outcome.unwrap_or_else(|| Err(self.gone()))
    }

    fn send(&self, message: Message) -> Result<(), RecordingError> {
        let Some(sender) = &self.sender else {
            return Err(self.gone());
        };
        // Counted before it is sent: the thread may take it before this call goes on.
        let depth = self.shared.depth.fetch_add(1, Ordering::Relaxed) + 1;
        let sent = match self.when_full {
            WhenFull::Wait => sender.send(message).map_err(|_| self.gone()),
            WhenFull::Fail => sender.try_send(message).map_err(|e| match e {
                TrySendError::Full(_) => RecordingError::QueueFull {
                    path: self.path.clone(),
                    capacity: self.capacity,
                },
                TrySendError::Disconnected(_) => self.gone(),
            }),
        };
        match sent {
            Ok(()) => {
                self.shared
                    .high_water
                    .fetch_max(depth.min(self.capacity), Ordering::Relaxed);
                Ok(())
            }
            Err(error) => {
                self.shared.depth.fetch_sub(1, Ordering::Relaxed);
                if matches!(error, RecordingError::QueueFull { .. }) {
                    self.shared.high_water.fetch_max(self.capacity, Ordering::Relaxed);
                }
                Err(error)
            }
        }
    }

    /// Why the thread takes no more.
    fn gone(&self) -> RecordingError {
        self.failure().unwrap_or_else(|| RecordingError::Ended {
            path: self.path.clone(),
            first: "the recorder thread ended unexpectedly".to_owned(),
        })
    }
}

impl Drop for RecorderThread {
    fn drop(&mut self) {
        self.sender = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// The thread: writes until told to finish, until nobody can send any more, or until an error.
fn run(
    mut writer: RecordingWriter,
    receiver: &Receiver<Message>,
    shared: &Shared,
    capacity: usize,
) -> Option<Result<Seal, RecordingError>> {
    while let Ok(message) = receiver.recv() {
        shared.depth.fetch_sub(1, Ordering::Relaxed);
        let done = match message {
            Message::Block(block) => writer.append(&block),
            Message::Segment(row) => writer.segment(&row),
            Message::Event(row) => writer.event(&row),
            Message::Host(row) => writer.host(&row),
            Message::RoundTrip(row) => writer.round_trip(&row),
            Message::Flush => writer.flush(),
            Message::Finish(completion) => {
                let high_water = shared.high_water.load(Ordering::Relaxed) as u64;
                writer.set_queue(QueueFigures {
                    capacity: capacity as u64,
                    high_water,
                });
                return Some(writer.finish(&completion));
            }
        };
        if let Err(error) = done {
            // What was taken before a message that does not fit is good: keep it.
            let _ = writer.flush();
            *shared.failure.lock().unwrap_or_else(PoisonError::into_inner) = Some(error.clone());
            return Some(Err(error));
        }
    }
    if let Err(error) = writer.flush() {
        *shared.failure.lock().unwrap_or_else(PoisonError::into_inner) = Some(error.clone());
        return Some(Err(error));
    }
    None
}
