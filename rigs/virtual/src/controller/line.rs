//! The controller's end of the serial line: frames in, frames out.

use rig_link::frame::{FrameError, MAX_FRAME};
use rig_link::message::STOP_KIND;
use rig_link::{RigMessage, Splitter, encode_rig};

/// Bytes waiting to be taken beyond which a batch of samples is lost rather than queued.
const SAMPLES_UP_TO: usize = 32 * 1024;
/// Bytes waiting beyond which an event is lost.
const EVENTS_UP_TO: usize = 48 * 1024;
/// Bytes waiting beyond which nothing but a stop is carried out, so that every answer finds room.
const ANSWERS_UP_TO: usize = 60 * 1024;
/// Most bytes that may wait: room for the answers to stops.
const ANYTHING_UP_TO: usize = 64 * 1024;

/// A good frame, taken off the line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Arrived {
    pub(super) kind: u8,
    pub(super) sequence: u16,
    pub(super) payload: Vec<u8>,
}

/// What a delimiter closed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Candidate {
    Frame(Arrived),
    Bad(FrameError),
}

/// Both directions of the line.
#[derive(Debug, Clone)]
pub(super) struct Line {
    splitter: Splitter,
    out: Vec<u8>,
    sequence: u16,
}

impl Line {
    pub(super) fn new() -> Self {
        Self {
            splitter: Splitter::new(),
            out: Vec::new(),
            sequence: 0,
        }
    }

    /// Splits `bytes`; stops come first, for they overtake what arrived with them and is not carried out yet.
    pub(super) fn split(&mut self, bytes: &[u8]) -> Vec<Candidate> {
        let mut stops = Vec::new();
        let mut rest = Vec::new();
        self.splitter.feed(bytes, |result| match result {
            Ok(frame) => {
                let arrived = Arrived {
                    kind: frame.kind,
                    sequence: frame.sequence,
                    payload: frame.payload.to_vec(),
                };
                if frame.kind == STOP_KIND {
                    &mut stops
                } else {
                    &mut rest
                }
                .push(Candidate::Frame(arrived));
            }
            Err(error) => rest.push(Candidate::Bad(error)),
        });
        stops.append(&mut rest);
        stops
    }

    /// Writes a message; `false` when there is no room for it.
    pub(super) fn write(&mut self, message: &RigMessage<'_>) -> bool {
        let limit = match message {
            RigMessage::Samples(_) => SAMPLES_UP_TO,
            RigMessage::Event(_) => EVENTS_UP_TO,
            _ => ANYTHING_UP_TO,
        };
        let mut frame = [0_u8; MAX_FRAME];
        let Ok(length) = encode_rig(message, self.sequence, &mut frame) else {
            return false;
        };
        // The counter rises for a lost frame too: the gap tells the bench.
        self.sequence = self.sequence.wrapping_add(1);
        if self.out.len() + length > limit {
            return false;
        }
        self.out.extend(frame.iter().take(length));
        true
    }

    /// Whether there is room for the answer to one more message.
    pub(super) fn has_room(&self) -> bool {
        self.out.len() < ANSWERS_UP_TO
    }

    /// Moves what waits to the end of `out`.
    pub(super) fn take(&mut self, out: &mut Vec<u8>) {
        out.append(&mut self.out);
    }

    /// Puts what the predecessor had written before a reboot first: it is on the wire already.
    pub(super) fn follow(&mut self, mut predecessor: Self) {
        predecessor.out.append(&mut self.out);
        self.out = predecessor.out;
    }
}
