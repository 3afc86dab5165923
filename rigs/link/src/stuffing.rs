//! Byte stuffing: COBS (Cheshire & Baker, 1999), strict about what it takes back.

use crate::frame::DELIMITER;

/// Why bytes cannot be unstuffed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StuffingError {
    /// Empty, a zero among the bytes, or a group cut short.
    Invalid,
    /// The unstuffed bytes do not fit into the output.
    NoRoom,
}

/// Stuffs `body` into `out`, without a delimiter; returns the length, or `None` when `out` is too short.
///
/// A body of n bytes takes at most n + max(1, ceil(n / 254)) bytes and holds no zero.
#[must_use]
pub fn stuff(body: &[u8], out: &mut [u8]) -> Option<usize> {
    let length = cobs::try_encode(body, out).ok()?;
    // The encoder notices a short output only when it writes a byte that is not zero.
    (length <= out.len()).then_some(length)
}

/// Takes the stuffing out of `stuffed` (the bytes between two delimiters, without them); returns the body's length.
///
/// # Errors
/// [`StuffingError`]; `out` may have been written to.
pub fn unstuff(stuffed: &[u8], out: &mut [u8]) -> Result<usize, StuffingError> {
    // The decoder would skip zeros in front and take one at the end for a delimiter.
    if stuffed.contains(&DELIMITER) {
        return Err(StuffingError::Invalid);
    }
    // A last group cut short is found before the length is looked at, in the order that the protocol states; the
    // decoder would say that there is no room.
    let mut at = 0;
    while let Some(&code) = stuffed.get(at) {
        at += usize::from(code);
    }
    if at != stuffed.len() {
        return Err(StuffingError::Invalid);
    }
    let report = cobs::decode(stuffed, out).map_err(|error| match error {
        cobs::DecodeError::TargetBufTooSmall => StuffingError::NoRoom,
        cobs::DecodeError::EmptyFrame | cobs::DecodeError::InvalidFrame { .. } => StuffingError::Invalid,
    })?;
    Ok(report.frame_size())
}
