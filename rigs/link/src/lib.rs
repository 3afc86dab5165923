//! The rig link: frames and messages between a bench and a rig controller, over any byte stream.
//!
//! `PROTOCOL.md` beside this crate is the specification; this crate is one reading of it. It holds no state machine,
//! no clock and no I/O, and needs neither `std` nor an allocator, so the same code serves a bench, a simulated rig
//! and a microcontroller.
//!
//! - [`frame`] wraps a payload: version, kind, sequence, CRC-32C and a zero delimiter; [`stuffing`] keeps other zeros out.
//! - [`splitter`] finds frames in a stream and finds its way back after any garbage.
//! - [`message`] gives payloads their meaning.
//!
//! Nothing in this crate panics, whatever the bytes; every length is checked before it is used.
#![no_std]

pub mod bytes;
pub mod codes;
pub mod frame;
pub mod message;
pub mod splitter;
pub mod stuffing;

pub use codes::{
    ChannelKind, EventCode, RefusalCode, RigState, StopMode, StopReason, TripCause, Unit, Width,
    WindowReference,
};
pub use frame::{Frame, FrameError, MAX_FRAME, MAX_PAYLOAD, decode_frame, encode_frame};
pub use message::{HostMessage, MessageError, RigMessage, encode_host, encode_rig};
pub use splitter::Splitter;

/// Major version: a peer with another one must not be armed.
pub const PROTOCOL_MAJOR: u8 = 1;
/// Minor version: additions that an older peer may ignore.
pub const PROTOCOL_MINOR: u8 = 0;
/// One rig tick in seconds: the rig's clock counts microseconds since it booted, 64 bits wide.
pub const TICK_S: f64 = 1e-6;
/// Ticks a second.
pub const TICKS_PER_S: u64 = 1_000_000;
/// Raw setpoint that stands for the rig's full-scale torque.
pub const FULL_SCALE_COUNTS: i16 = 32_767;
/// Most setpoints in one message.
pub const MAX_SETPOINTS: usize = 64;
/// Most channels a rig may have.
pub const MAX_CHANNELS: usize = 16;
/// A challenge must be echoed within this time of having been given.
pub const CHALLENGE_VALID_US: u32 = 2_000_000;
/// An armed rig that holds zero torque with nothing queued disarms itself after this time.
pub const ARM_IDLE_US: u64 = 10_000_000;
/// Setpoints further ahead of the rig's clock than this are refused: a wrong tick must not lie in wait.
pub const HORIZON_US: u64 = 10_000_000;
