//! One frame: header, payload, CRC-32C; then COBS and a zero delimiter.
//!
//! Byte stuffing is COBS (Cheshire & Baker, 1999). The checksum is CRC-32/ISCSI (Castagnoli), little-endian, over
//! header and payload.

use crc::{CRC_32_ISCSI, Crc, Table};

use crate::PROTOCOL_MAJOR;
use crate::stuffing::{StuffingError, stuff, unstuff};

/// Most bytes of payload.
pub const MAX_PAYLOAD: usize = 496;
/// Header before the payload: version, kind, sequence.
pub const HEADER: usize = 4;
/// Checksum after the payload.
pub const CHECKSUM: usize = 4;
/// Most bytes before stuffing.
pub const MAX_RAW: usize = HEADER + MAX_PAYLOAD + CHECKSUM;
/// Most bytes on the wire between two delimiters; a longer run is garbage.
pub const MAX_STUFFED: usize = MAX_RAW + MAX_RAW.div_ceil(254);
/// Most bytes on the wire, the closing delimiter included.
pub const MAX_FRAME: usize = MAX_STUFFED + 1;
/// Separates frames; COBS keeps it out of them.
pub const DELIMITER: u8 = 0;

static CRC32C: Crc<u32, Table<16>> = Crc::<u32, Table<16>>::new(&CRC_32_ISCSI);

/// CRC-32C of `bytes`, as in every frame (check value of `123456789`: 0xE3069283).
#[must_use]
pub fn crc32c(bytes: &[u8]) -> u32 {
    CRC32C.checksum(bytes)
}

/// A frame that passed its checks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Frame<'a> {
    /// Kind of message, see [`crate::message`].
    pub kind: u8,
    /// The sender's counter; rises by one a frame and wraps.
    pub sequence: u16,
    /// The message's fields.
    pub payload: &'a [u8],
}

/// Why bytes are not a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FrameError {
    /// The bytes between two delimiters are not COBS.
    Stuffing,
    /// Too short for a header and a checksum, or longer than [`MAX_RAW`] (then a length that is at most the true one).
    Length(usize),
    /// The checksum is not that of the bytes.
    Checksum {
        /// Computed over what arrived.
        computed: u32,
        /// Carried by the frame.
        carried: u32,
    },
    /// A version that this code does not speak.
    Version(u8),
    /// The payload or the output buffer does not fit.
    NoRoom,
}

impl core::fmt::Display for FrameError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Stuffing => write!(f, "bytes between delimiters are not valid COBS"),
            Self::Length(length) => {
                write!(
                    f,
                    "frame of {length} bytes; {} to {MAX_RAW} are allowed",
                    HEADER + CHECKSUM
                )
            }
            Self::Checksum { computed, carried } => {
                write!(f, "CRC-32C is {computed:08x}, the frame carries {carried:08x}")
            }
            Self::Version(version) => write!(f, "frame version {version}; this side speaks {PROTOCOL_MAJOR}"),
            Self::NoRoom => write!(f, "payload over {MAX_PAYLOAD} bytes or output buffer too short"),
        }
    }
}

impl core::error::Error for FrameError {}

/// Writes one frame with its closing delimiter into `out` and returns its length.
///
/// # Errors
/// [`FrameError::NoRoom`] when the payload is over [`MAX_PAYLOAD`] bytes or `out` is shorter than the frame;
/// [`MAX_FRAME`] bytes are always enough.
pub fn encode_frame(kind: u8, sequence: u16, payload: &[u8], out: &mut [u8]) -> Result<usize, FrameError> {
    if payload.len() > MAX_PAYLOAD {
        return Err(FrameError::NoRoom);
    }
    let mut raw = [0_u8; MAX_RAW];
    let mut writer = crate::bytes::Writer::new(&mut raw);
    writer.u8(PROTOCOL_MAJOR);
    writer.u8(kind);
    writer.u16(sequence);
    writer.put(payload);
    let length = writer.written().ok_or(FrameError::NoRoom)?;
    let checksum = crc32c(raw.get(..length).ok_or(FrameError::NoRoom)?).to_le_bytes();
    let end = length + CHECKSUM;
    raw.get_mut(length..end)
        .ok_or(FrameError::NoRoom)?
        .copy_from_slice(&checksum);
    let body = raw.get(..end).ok_or(FrameError::NoRoom)?;
    let stuffed = stuff(body, out).ok_or(FrameError::NoRoom)?;
    *out.get_mut(stuffed).ok_or(FrameError::NoRoom)? = DELIMITER;
    Ok(stuffed + 1)
}

/// Reads the bytes between two delimiters (`stuffed`, without them) into `raw`, and checks them.
///
/// The checks come in this order: length on the wire, stuffing, length, checksum, version. So a
/// [`FrameError::Version`] means that the bytes arrived whole.
///
/// # Errors
/// Says which check failed. Nothing of a frame that failed may be used.
pub fn decode_frame<'a>(stuffed: &[u8], raw: &'a mut [u8; MAX_RAW]) -> Result<Frame<'a>, FrameError> {
    if stuffed.len() > MAX_STUFFED {
        return Err(FrameError::Length(stuffed.len()));
    }
    let length = unstuff(stuffed, raw).map_err(|error| match error {
        StuffingError::Invalid => FrameError::Stuffing,
        StuffingError::NoRoom => FrameError::Length(MAX_RAW + 1),
    })?;
    if length < HEADER + CHECKSUM {
        return Err(FrameError::Length(length));
    }
    let body: &'a [u8] = raw.get(..length).ok_or(FrameError::Length(length))?;
    let (covered, checksum) = body
        .split_last_chunk::<CHECKSUM>()
        .ok_or(FrameError::Length(length))?;
    let (computed, carried) = (crc32c(covered), u32::from_le_bytes(*checksum));
    if computed != carried {
        return Err(FrameError::Checksum { computed, carried });
    }
    let ([version, kind, low, high], payload) = covered
        .split_first_chunk::<HEADER>()
        .ok_or(FrameError::Length(length))?;
    if *version != PROTOCOL_MAJOR {
        return Err(FrameError::Version(*version));
    }
    Ok(Frame {
        kind: *kind,
        sequence: u16::from_le_bytes([*low, *high]),
        payload,
    })
}
