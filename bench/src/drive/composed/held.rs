//! Frames that wait for their turn, and those that have it.

use bench_core::time::HostNs;
use rig_link::frame::encode_frame;
use rig_link::message::Channel;
use rig_link::{MAX_FRAME, RigMessage, encode_rig};

use super::rows::Rows;

/// Kind of a batch of samples.
const SAMPLES: u8 = 0x86;
/// What no receiver takes for a frame: a body of one byte is shorter than a header.
const BAD: [u8; 3] = [2, 1, 0];

/// One frame of the rig, or what was one before the line damaged it.
pub(super) struct Held {
    /// When it arrived.
    pub(super) since: HostNs,
    kind: Option<u8>,
    /// Frames missing before it.
    gap: u16,
    payload: Vec<u8>,
    /// An answer that a part gives.
    channel: Option<Channel>,
}

impl Held {
    pub(super) fn frame(kind: u8, gap: u16, payload: &[u8], since: HostNs) -> Self {
        Self {
            since,
            kind: Some(kind),
            gap,
            payload: payload.to_vec(),
            channel: None,
        }
    }

    pub(super) const fn bad() -> Self {
        Self {
            since: HostNs(0),
            kind: None,
            gap: 0,
            payload: Vec::new(),
            channel: None,
        }
    }

    pub(super) const fn channel(channel: &Channel, since: HostNs) -> Self {
        Self {
            since,
            kind: None,
            gap: 0,
            payload: Vec::new(),
            channel: Some(*channel),
        }
    }

    pub(super) const fn is_samples(&self) -> bool {
        matches!(self.kind, Some(SAMPLES))
    }

    /// The message in it.
    pub(super) fn message(&self) -> Option<RigMessage<'_>> {
        let frame = rig_link::frame::Frame {
            kind: self.kind?,
            sequence: 0,
            payload: &self.payload,
        };
        RigMessage::parse(frame).ok()
    }

    pub(super) const fn gap(&self) -> u16 {
        self.gap
    }
}

/// What goes on to the run, numbered anew: parts add frames, and a gap must stay a gap.
#[derive(Default)]
pub(super) struct Outbound {
    bytes: Vec<u8>,
    sequence: u16,
}

impl Outbound {
    /// A frame as it came, behind `gap` missing ones.
    pub(super) fn put(&mut self, held: &Held, gap: u16) {
        let Some(kind) = held.kind else {
            self.bytes.extend_from_slice(&BAD);
            return;
        };
        let mut frame = [0; MAX_FRAME];
        let sequence = self.next(gap);
        // What was a frame once fits a frame again.
        let length = encode_frame(kind, sequence, &held.payload, &mut frame).unwrap_or(0);
        self.bytes
            .extend_from_slice(frame.get(..length).unwrap_or_default());
    }

    /// A frame, with what the parts change of it.
    pub(super) fn put_edited(&mut self, held: &Held, rows: &Rows) {
        if let Some(channel) = held.channel {
            self.message(&RigMessage::Channel(channel), 0);
            return;
        }
        match held.message().and_then(|message| rows.edited(&message)) {
            Some(edited) => self.message(&edited, held.gap),
            None => self.put(held, held.gap),
        }
    }

    pub(super) fn message(&mut self, message: &RigMessage<'_>, gap: u16) {
        let mut frame = [0; MAX_FRAME];
        let sequence = self.next(gap);
        let length = encode_rig(message, sequence, &mut frame).unwrap_or(0);
        self.bytes
            .extend_from_slice(frame.get(..length).unwrap_or_default());
    }

    const fn next(&mut self, gap: u16) -> u16 {
        self.sequence = self.sequence.wrapping_add(1).wrapping_add(gap);
        self.sequence
    }

    /// Moves what there is to the end of `inbox`; whether there was anything.
    pub(super) fn take(&mut self, inbox: &mut Vec<u8>) -> bool {
        let any = !self.bytes.is_empty();
        inbox.append(&mut self.bytes);
        any
    }
}
