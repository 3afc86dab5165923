//! Finds frames in a byte stream.
//!
//! Bytes gather until a delimiter; what stands between two delimiters is one candidate. A run longer than any frame
//! is dropped up to the next delimiter, so the splitter holds at most one frame and always finds its way back.

use crate::frame::{DELIMITER, Frame, FrameError, MAX_RAW, MAX_STUFFED, decode_frame};

/// Accumulates bytes and hands out frames.
#[derive(Debug, Clone)]
pub struct Splitter {
    pending: [u8; MAX_STUFFED],
    length: usize,
    overlong: bool,
    raw: [u8; MAX_RAW],
    bad: u32,
}

impl Default for Splitter {
    fn default() -> Self {
        Self::new()
    }
}

impl Splitter {
    /// An empty splitter.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            pending: [0; MAX_STUFFED],
            length: 0,
            overlong: false,
            raw: [0; MAX_RAW],
            bad: 0,
        }
    }

    /// Candidates that failed a check since the start (saturating).
    #[must_use]
    pub const fn bad_frames(&self) -> u32 {
        self.bad
    }

    /// Takes one byte; returns a frame, or why the candidate that this byte closed is none.
    pub fn push(&mut self, byte: u8) -> Option<Result<Frame<'_>, FrameError>> {
        if byte != DELIMITER {
            match self.pending.get_mut(self.length) {
                Some(place) if !self.overlong => {
                    *place = byte;
                    self.length += 1;
                }
                _ => self.overlong = true,
            }
            return None;
        }
        let (length, overlong) = (self.length, self.overlong);
        self.length = 0;
        self.overlong = false;
        if length == 0 && !overlong {
            return None; // two delimiters in a row: an idle line, or a sender that flushed
        }
        if overlong {
            self.bad = self.bad.saturating_add(1);
            return Some(Err(FrameError::Length(MAX_STUFFED + 1)));
        }
        let candidate = self.pending.get(..length).unwrap_or_default();
        let result = decode_frame(candidate, &mut self.raw);
        if result.is_err() {
            self.bad = self.bad.saturating_add(1);
        }
        Some(result)
    }

    /// Takes many bytes and calls `on_frame` with each result, in order.
    pub fn feed(&mut self, bytes: &[u8], mut on_frame: impl FnMut(Result<Frame<'_>, FrameError>)) {
        for &byte in bytes {
            if let Some(result) = self.push(byte) {
                on_frame(result);
            }
        }
    }

    /// Forgets a partial frame, as after a port was opened again.
    pub fn reset(&mut self) {
        self.length = 0;
        self.overlong = false;
    }
}
