//! What is to be written, in order, and the one request that waits for its answer.

use alloc::vec::Vec;

use rig_link::message::{HostMessage, Stop};
use rig_link::{MAX_FRAME, StopMode, StopReason, encode_host};

use crate::time::HostNs;

/// Most bytes that may wait to be taken; a drive that does not take them has failed.
const CAPACITY: usize = 16 * 1024;
/// Time after which a request is sent again.
const RETRY_US: u64 = 100_000;
/// Times that a request is sent at most.
const TRIES: u32 = 5;

/// A request that waits for its answer.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pending {
    /// For messages.
    pub(super) asked: &'static str,
    /// The message itself.
    message: HostMessage,
    /// Sequence of the newest try.
    pub(super) sequence: u16,
    due: HostNs,
    since: HostNs,
    tries: u32,
}

/// What became of a request.
pub(super) enum Retry {
    /// Nothing is due.
    Waiting,
    /// All tries are used up.
    GivenUp {
        /// What was asked for.
        asked: &'static str,
        /// How long, in milliseconds.
        waited_ms: u64,
    },
}

/// Bytes to write.
#[derive(Debug)]
pub(super) struct Sender {
    sequence: u16,
    bytes: Vec<u8>,
    urgent: bool,
    pub(super) pending: Option<Pending>,
    pub(super) overflowed: bool,
}

impl Default for Sender {
    /// With room for all that may wait, so that a run need not allocate while it goes on.
    fn default() -> Self {
        Self {
            sequence: 0,
            bytes: Vec::with_capacity(CAPACITY),
            urgent: false,
            pending: None,
            overflowed: false,
        }
    }
}

impl Sender {
    /// Queues one message; returns its sequence.
    pub(super) fn send(&mut self, message: &HostMessage) -> u16 {
        let sequence = self.sequence;
        let mut frame = [0; MAX_FRAME];
        match encode_host(message, sequence, &mut frame) {
            Ok(length) if self.bytes.len() + length <= CAPACITY => {
                self.sequence = self.sequence.wrapping_add(1);
                self.bytes
                    .extend_from_slice(frame.get(..length).unwrap_or_default());
            }
            _ => self.overflowed = true,
        }
        sequence
    }

    /// Queues a request and waits for its answer.
    pub(super) fn ask(&mut self, asked: &'static str, message: HostMessage, now: HostNs) {
        let sequence = self.send(&message);
        self.pending = Some(Pending {
            asked,
            message,
            sequence,
            due: now.plus_us(RETRY_US),
            since: now,
            tries: 1,
        });
    }

    /// As [`Sender::ask`], for what must not be sent again by itself.
    pub(super) fn ask_once(&mut self, asked: &'static str, message: HostMessage, now: HostNs) {
        self.ask(asked, message, now);
        if let Some(pending) = &mut self.pending {
            pending.tries = TRIES;
        }
    }

    /// Ends whatever frame the rig may have received in part.
    pub(super) fn close_candidate(&mut self) {
        self.bytes.push(rig_link::frame::DELIMITER);
    }

    /// The awaited answer came.
    pub(super) fn answered(&mut self) {
        self.pending = None;
    }

    /// When the pending request is to be sent again.
    pub(super) fn due(&self) -> HostNs {
        self.pending.map_or(HostNs::NEVER, |pending| pending.due)
    }

    /// Sends the pending request again when it is due.
    pub(super) fn retry(&mut self, now: HostNs) -> Retry {
        let Some(pending) = self.pending.filter(|pending| pending.due <= now) else {
            return Retry::Waiting;
        };
        if pending.tries >= TRIES {
            self.pending = None;
            return Retry::GivenUp {
                asked: pending.asked,
                waited_ms: now.us_since(pending.since) / 1_000,
            };
        }
        let sequence = self.send(&pending.message);
        self.pending = Some(Pending {
            sequence,
            due: now.plus_us(RETRY_US),
            tries: pending.tries + 1,
            ..pending
        });
        Retry::Waiting
    }

    /// Throws away what is queued and queues a stop instead: three copies, each behind a delimiter of its own, so that
    /// neither a frame cut off in the middle nor one damaged copy keeps it from the rig.
    pub(super) fn stop_now(&mut self, mode: StopMode, reason: StopReason) {
        self.bytes.clear();
        self.pending = None;
        self.urgent = true;
        for _ in 0..3 {
            self.close_candidate();
            self.send(&HostMessage::Stop(Stop { mode, reason }));
        }
    }

    /// Moves what is queued to the end of `out`; `None` when there is nothing. `Some(true)`: whatever the port still
    /// holds unsent is to be thrown away first.
    pub(super) fn take(&mut self, out: &mut Vec<u8>) -> Option<bool> {
        if self.bytes.is_empty() {
            return None;
        }
        out.extend_from_slice(&self.bytes);
        self.bytes.clear();
        Some(core::mem::take(&mut self.urgent))
    }
}
