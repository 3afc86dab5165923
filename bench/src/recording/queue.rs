//! A thread that writes, so that whoever drives the motor never waits for the disk, for a lock or for memory.
//!
//! What is handed over goes through a ring of fixed size whose producer never waits (`rtrb`); the thread looks into it
//! by itself every few milliseconds, as waking it would be a call into the system. Emptied blocks come back through a
//! second ring, to be filled again.

use std::path::PathBuf;
use std::sync::{Arc, OnceLock};
use std::thread::JoinHandle;
use std::time::Duration;

use rtrb::{Consumer, Producer, PushError, RingBuffer};

use super::error::RecordingError;
use super::rows::{Block, Completion, EventRow, HostRow, RoundTrip, Seal, SegmentRow};
use super::sealing::QueueFigures;
use super::writer::RecordingWriter;
use crate::drive::clock::rest;

/// Seconds of messages the queue holds at least.
const QUEUE_S: f64 = 10.0;
/// Messages the queue holds at least and at most.
const CAPACITY: std::ops::RangeInclusive<usize> = 64..=1_000_000;
/// Time between two looks of the thread into an empty queue.
const IDLE: Duration = Duration::from_millis(5);
/// Time between two tries of a caller that may wait.
const FULL: Duration = Duration::from_micros(500);

/// What a full queue does to the caller.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhenFull {
    /// [`RecordingError::QueueFull`]: for a run in real time, which must stop rather than wait.
    Fail,
    /// Waits for the disk: for a virtual rig, whose time stands still meanwhile.
    Wait,
}

/// Rows whose wording is left to the recorder's thread: the caller hands over plain numbers.
pub trait Entry: Send + 'static {
    /// Writes them.
    ///
    /// # Errors
    /// Those of the writer.
    fn write(self, writer: &mut RecordingWriter) -> Result<(), RecordingError>;
}

impl Entry for EventRow {
    fn write(self, writer: &mut RecordingWriter) -> Result<(), RecordingError> {
        writer.event(&self)
    }
}

enum Message<E> {
    Block(Block),
    Segment(Box<SegmentRow>),
    Entry(E),
    Host(HostRow),
    RoundTrip(RoundTrip),
    Flush,
    Finish(Completion, QueueFigures),
}

/// A [`RecordingWriter`] behind a bounded queue and a thread of its own.
///
/// Nothing is dropped: a message that finds no room is an error to the caller, and an error of the writer is the
/// answer to the next call. Dropping the value without [`RecorderThread::finish`] writes what is queued, flushes, and
/// leaves a live file that can be recovered. With [`WhenFull::Fail`] no call but `finish` waits, allocates or takes a
/// lock, as long as no error is to be told.
pub struct RecorderThread<E = EventRow> {
    path: PathBuf,
    capacity: usize,
    when_full: WhenFull,
    high_water: usize,
    /// Why the thread ended early.
    failure: Arc<OnceLock<RecordingError>>,
    queue: Option<Producer<Message<E>>>,
    emptied: Consumer<Block>,
    thread: Option<JoinHandle<Option<Result<Seal, RecordingError>>>>,
}

impl RecorderThread<EventRow> {
    /// [`RecorderThread::start_with`] for events in words and blocks that are not filled again.
    ///
    /// # Errors
    /// As there.
    pub fn start(
        writer: RecordingWriter,
        messages_per_s: f64,
        when_full: WhenFull,
        begin: fn(),
    ) -> Result<Self, RecordingError> {
        Self::start_with(writer, messages_per_s, when_full, begin, Vec::new())
    }

    /// Queues an event.
    ///
    /// # Errors
    /// As [`RecorderThread::block`].
    pub fn event(&mut self, row: EventRow) -> Result<(), RecordingError> {
        self.entry(row)
    }
}

impl<E: Entry> RecorderThread<E> {
    /// Starts the thread with room for 10 s of messages, of which at most `messages_per_s` come each second (each block,
    /// each host row and each round trip is one). `begin` is the first thing that the thread does: a thread starts in
    /// the scheduling class of the one that starts it, and the disk must not share the driving thread's.
    /// [`RecorderThread::emptied`] hands out the `spare` blocks, and after them those that were written.
    ///
    /// # Errors
    /// [`RecordingError::Invalid`] if `messages_per_s` is not a number above 0 or 10 s of it are over a million
    /// messages; [`RecordingError::Io`] if no thread can be started.
    pub fn start_with(
        writer: RecordingWriter,
        messages_per_s: f64,
        when_full: WhenFull,
        begin: fn(),
        spare: Vec<Block>,
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
        let (queue, messages) = RingBuffer::new(capacity);
        let (mut back, emptied) = RingBuffer::new(spare.len());
        for block in spare {
            let _ = back.push(block); // there is a place for each
        }
        let failure = Arc::new(OnceLock::new());
        let recorder = Recorder {
            writer,
            messages,
            back,
        };
        let told = Arc::clone(&failure);
        let thread = std::thread::Builder::new()
            .name("recorder".to_owned())
            .spawn(move || {
                begin();
                recorder.run(&told)
            })
            .map_err(|e| RecordingError::io(&path, "start the recorder thread", &e))?;
        Ok(Self {
            path,
            capacity,
            when_full,
            high_water: 0,
            failure,
            queue: Some(queue),
            emptied,
            thread: Some(thread),
        })
    }

    /// Queues a block of samples.
    ///
    /// # Errors
    /// [`RecordingError::QueueFull`] (with [`WhenFull::Fail`]), or the error that ended the recording.
    pub fn block(&mut self, block: Block) -> Result<(), RecordingError> {
        self.send(Message::Block(block))
    }

    /// Queues a repeat of a segment.
    ///
    /// # Errors
    /// As [`RecorderThread::block`].
    pub fn segment(&mut self, row: SegmentRow) -> Result<(), RecordingError> {
        self.send(Message::Segment(Box::new(row)))
    }

    /// Queues rows that the thread is to word.
    ///
    /// # Errors
    /// As [`RecorderThread::block`].
    pub fn entry(&mut self, entry: E) -> Result<(), RecordingError> {
        self.send(Message::Entry(entry))
    }

    /// Queues the arrival of a batch.
    ///
    /// # Errors
    /// As [`RecorderThread::block`].
    pub fn host(&mut self, row: HostRow) -> Result<(), RecordingError> {
        self.send(Message::Host(row))
    }

    /// Queues a round trip over the link.
    ///
    /// # Errors
    /// As [`RecorderThread::block`].
    pub fn round_trip(&mut self, row: RoundTrip) -> Result<(), RecordingError> {
        self.send(Message::RoundTrip(row))
    }

    /// Queues a flush, so that what came before is soon safe (after a trip, say).
    ///
    /// # Errors
    /// As [`RecorderThread::block`].
    pub fn flush(&mut self) -> Result<(), RecordingError> {
        self.send(Message::Flush)
    }

    /// A block without rows, whose columns have kept their room; `None` when all are under way.
    pub fn emptied(&mut self) -> Option<Block> {
        self.emptied.pop().ok()
    }

    /// Most messages that ever waited.
    pub const fn high_water(&self) -> usize {
        self.high_water
    }

    /// Messages the queue holds.
    pub const fn capacity(&self) -> usize {
        self.capacity
    }

    /// The error that ended the recording, if one did.
    pub fn failure(&self) -> Option<RecordingError> {
        self.failure.get().cloned()
    }

    /// Waits until all is written, then seals.
    ///
    /// # Errors
    /// The error that ended the recording, or one of [`RecordingWriter::finish`].
    pub fn finish(mut self, completion: Completion) -> Result<Seal, RecordingError> {
        self.when_full = WhenFull::Wait; // waiting is right here: the run is over
        let figures = QueueFigures {
            capacity: self.capacity as u64,
            high_water: self.high_water.max(1) as u64, // this message waits too
        };
        // If the thread is gone, its failure is told below.
        let _ = self.send(Message::Finish(completion, figures));
        self.join().unwrap_or_else(|| Err(self.gone()))
    }

    fn send(&mut self, message: Message<E>) -> Result<(), RecordingError> {
        let Some(queue) = &mut self.queue else {
            return Err(self.gone());
        };
        let mut message = message;
        loop {
            if queue.is_abandoned() {
                return Err(self.gone());
            }
            match queue.push(message) {
                Ok(()) => {
                    let waiting = self.capacity.saturating_sub(queue.slots());
                    self.high_water = self.high_water.max(waiting);
                    return Ok(());
                }
                Err(PushError::Full(back)) => {
                    self.high_water = self.capacity;
                    if self.when_full == WhenFull::Fail {
                        return Err(RecordingError::QueueFull {
                            path: self.path.clone(),
                            capacity: self.capacity,
                        });
                    }
                    message = back;
                    rest(FULL);
                }
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

impl<E> RecorderThread<E> {
    /// Closes the queue and waits for the thread to write what is in it.
    fn join(&mut self) -> Option<Result<Seal, RecordingError>> {
        self.queue = None;
        let thread = self.thread.take()?;
        thread.thread().unpark();
        thread.join().ok().flatten()
    }
}

impl<E> Drop for RecorderThread<E> {
    fn drop(&mut self) {
        let _ = self.join();
    }
}

/// The thread's side.
struct Recorder<E> {
    writer: RecordingWriter,
    messages: Consumer<Message<E>>,
    back: Producer<Block>,
}

impl<E: Entry> Recorder<E> {
    /// Writes until told to finish, until nobody can send any more, or until an error, which is told to `failure`
    /// before the queue closes.
    fn run(mut self, failure: &OnceLock<RecordingError>) -> Option<Result<Seal, RecordingError>> {
        loop {
            // Asked before looking for a message: what was sent before the queue closed is still found.
            let last = self.messages.is_abandoned();
            let done = match self.messages.pop() {
                Ok(Message::Finish(completion, figures)) => {
                    self.writer.set_queue(figures);
                    return Some(self.writer.finish(&completion));
                }
                Ok(message) => self.take(message),
                Err(_) if last => {
                    let error = self.writer.flush().err()?;
                    let _ = failure.set(error.clone());
                    return Some(Err(error));
                }
                Err(_) => {
                    rest(IDLE);
                    Ok(())
                }
            };
            if let Err(error) = done {
                // What was taken before a message that does not fit is good: keep it.
                let _ = self.writer.flush();
                let _ = failure.set(error.clone());
                return Some(Err(error));
            }
        }
    }

    fn take(&mut self, message: Message<E>) -> Result<(), RecordingError> {
        match message {
            Message::Block(mut block) => {
                self.writer.append(&block)?;
                block.rows = 0;
                block.columns.iter_mut().for_each(Vec::clear);
                let _ = self.back.push(block); // a block too many ends here
                Ok(())
            }
            Message::Segment(row) => self.writer.segment(&row),
            Message::Entry(entry) => entry.write(&mut self.writer),
            Message::Host(row) => self.writer.host(&row),
            Message::RoundTrip(row) => self.writer.round_trip(&row),
            Message::Flush | Message::Finish(..) => self.writer.flush(),
        }
    }
}
