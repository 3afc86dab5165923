//! The far side of one trial: a thread that sends quiet frames a millisecond apart, then a loud one, and notes when it
//! has the answer.

use std::os::fd::OwnedFd;
use std::sync::mpsc::{Receiver, Sender};
use std::time::Duration;

use bench_core::time::HostNs;
use rig_link::{HostMessage, Splitter};
use truerim::drive::clock::{HostClock, remaining};

use super::pty;

/// Time between frames, µs: a batch of four samples at 4,000 samples/s.
pub const FRAME_US: u64 = 1_000;
/// Longest wait for an answer, µs.
const PATIENCE_US: u64 = 1_000_000;
/// Silence after which nothing of a trial is on the line any more.
const SILENCE: Duration = Duration::from_millis(2);
/// Bytes read at a time.
const CHUNK: usize = 4_096;

/// What counts as the answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Answer {
    /// A whole stop frame that passes its checks.
    Stop,
    /// So many bytes, whatever they are.
    Bytes(usize),
}

/// One trial.
#[derive(Debug, Clone)]
pub struct Play {
    /// Frames to send, [`FRAME_US`] apart; the last one is the loud one.
    pub frames: Vec<Vec<u8>>,
    /// What is waited for.
    pub answer: Answer,
}

/// What the device saw of a trial.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Seen {
    /// The answer came.
    Answered {
        /// Just before the loud frame was written.
        writing: HostNs,
        /// Just after: its bytes can be read on the other side.
        written: HostNs,
        /// When the answer had been read and checked.
        answered: HostNs,
    },
    /// The answer came before the loud frame: it answers something else.
    TooEarly,
    /// No answer.
    Nothing,
    /// The line refused the device's frames, or failed.
    LineFailed,
}

/// Plays what `plays` gives until it hangs up; says what it saw into `seen`.
pub fn run(end: &OwnedFd, clock: HostClock, plays: &Receiver<Play>, seen: &Sender<Seen>) {
    let mut device = Device {
        end,
        clock,
        chunk: vec![0; CHUNK],
        splitter: Splitter::new(),
        bytes: 0,
    };
    while let Ok(play) = plays.recv() {
        let what = device.play(&play).unwrap_or(Seen::LineFailed);
        let settled = device.settle();
        let what = if settled.is_ok() { what } else { Seen::LineFailed };
        if seen.send(what).is_err() {
            return;
        }
    }
}

struct Device<'a> {
    end: &'a OwnedFd,
    clock: HostClock,
    chunk: Vec<u8>,
    splitter: Splitter,
    bytes: usize,
}

impl Device<'_> {
    fn play(&mut self, play: &Play) -> Result<Seen, rustix::io::Errno> {
        self.splitter.reset();
        self.bytes = 0;
        let begun = self.clock.now();
        let (mut writing, mut written) = (begun, begun);
        for (frame, index) in play.frames.iter().zip(1_u64..) {
            // As a rig does: by its own clock, whatever the other side does; late frames follow at once.
            if self
                .listen(begun.plus_us(index * FRAME_US), play.answer)?
                .is_some()
            {
                return Ok(Seen::TooEarly);
            }
            writing = self.clock.now();
            pty::write(self.end, frame)?;
            written = self.clock.now();
        }
        Ok(match self.listen(written.plus_us(PATIENCE_US), play.answer)? {
            Some(answered) => Seen::Answered {
                writing,
                written,
                answered,
            },
            None => Seen::Nothing,
        })
    }

    /// Reads until `until`, or until the answer is there, and then tells when.
    fn listen(&mut self, until: HostNs, answer: Answer) -> Result<Option<HostNs>, rustix::io::Errno> {
        loop {
            let now = self.clock.now();
            if now >= until {
                return Ok(None);
            }
            if pty::wait(self.end, remaining(now, until))? && self.take(answer)? {
                return Ok(Some(self.clock.now()));
            }
        }
    }

    /// Reads what is there; whether the answer is complete.
    fn take(&mut self, answer: Answer) -> Result<bool, rustix::io::Errno> {
        let bytes = pty::read(self.end, &mut self.chunk)?;
        self.bytes += bytes.len();
        let mut stopped = false;
        self.splitter.feed(bytes, |frame| {
            stopped |= matches!(frame.map(HostMessage::parse), Ok(Ok(HostMessage::Stop(_))));
        });
        Ok(match answer {
            Answer::Stop => stopped,
            Answer::Bytes(wanted) => self.bytes >= wanted,
        })
    }

    /// Reads until nothing more comes.
    fn settle(&mut self) -> Result<(), rustix::io::Errno> {
        let until = self.clock.now().plus_us(PATIENCE_US);
        while self.clock.now() < until && pty::wait(self.end, SILENCE)? {
            pty::read(self.end, &mut self.chunk)?;
        }
        Ok(())
    }
}
