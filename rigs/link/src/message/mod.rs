//! Messages: what the payload of each kind of frame means.
//!
//! Kinds 0x01–0x3F go from the bench to the rig, 0x81–0xBF from the rig to the bench. Fields are little-endian, in
//! the order in which the structs list them, without padding. A payload with bytes left over is malformed.

mod arming;
mod configuration;
mod identity;
mod rig_reports;
mod samples;
mod setpoints;

pub use crate::codes::WindowReference;
pub use arming::{ArmChallenge, ArmConfirm, ArmRequest, ClearTrip, Stop};
pub use configuration::{Configuration, Configured};
pub use identity::{Capabilities, Channel, DescribeChannel, Hello, Identity, Name};
pub use rig_reports::{Echo, Event, KeepAlive, Refused, Status, Stopped};
pub use samples::{RowError, Samples, SamplesBuilder};
pub use setpoints::{Setpoints, SetpointsError};

use crate::bytes::{Reader, Writer};
use crate::frame::{Frame, FrameError, MAX_PAYLOAD, encode_frame};

/// Kind of [`HostMessage::Stop`]. A rig controller carries out a frame of this kind even when its payload cannot be
/// parsed.
pub const STOP_KIND: u8 = 0x0A;

/// Why a payload is not a message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MessageError {
    /// No message of this direction has the kind.
    UnknownKind(u8),
    /// Too short, too long, or a field with a value that has no meaning.
    Malformed {
        /// The kind of the frame.
        kind: u8,
        /// Bytes of payload.
        length: usize,
    },
}

impl core::fmt::Display for MessageError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::UnknownKind(kind) => write!(f, "no message has the kind {kind:#04x}"),
            Self::Malformed { kind, length } => {
                write!(
                    f,
                    "payload of {length} bytes is not a message of kind {kind:#04x}"
                )
            }
        }
    }
}

impl core::error::Error for MessageError {}

/// One message's fields to and from bytes.
pub(crate) trait Payload<'a>: Sized {
    /// Reads the fields; `None` when they are too short or have no meaning.
    fn read(reader: &mut Reader<'a>) -> Option<Self>;
    /// Writes the fields.
    fn write(&self, writer: &mut Writer<'_>);
}

/// A message without fields.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Empty;

impl Payload<'_> for Empty {
    fn read(_: &mut Reader<'_>) -> Option<Self> {
        Some(Self)
    }
    fn write(&self, _: &mut Writer<'_>) {}
}

macro_rules! messages {
    ($(#[$meta:meta])* $name:ident [$($life:lifetime)?] [$frame:lifetime] { $($(#[$vmeta:meta])* $variant:ident($payload:ty) = $kind:literal,)* }) => {
        $(#[$meta])*
        #[derive(Debug, Clone, Copy, PartialEq)]
        pub enum $name$(<$life>)? { $($(#[$vmeta])* $variant($payload),)* }

        impl$(<$life>)? $name$(<$life>)? {
            /// The kinds of this direction.
            pub const KINDS: &'static [u8] = &[$($kind,)*];

            /// The kind byte of the message.
            #[must_use]
            pub const fn kind(&self) -> u8 {
                match self { $(Self::$variant(_) => $kind,)* }
            }

            /// Reads a frame's payload.
            ///
            /// # Errors
            /// [`MessageError`] when the kind is unknown or the payload is not one of that kind.
            pub fn parse(frame: Frame<$frame>) -> Result<Self, MessageError> {
                let malformed = MessageError::Malformed { kind: frame.kind, length: frame.payload.len() };
                let mut reader = Reader::new(frame.payload);
                let message = match frame.kind {
                    $($kind => Self::$variant(<$payload as Payload<$frame>>::read(&mut reader).ok_or(malformed)?),)*
                    other => return Err(MessageError::UnknownKind(other)),
                };
                if reader.remaining() == 0 { Ok(message) } else { Err(malformed) }
            }

            /// Writes the payload.
            fn write(&self, writer: &mut Writer<'_>) {
                match self { $(Self::$variant(message) => Payload::write(message, writer),)* }
            }
        }
    };
}

messages! {
    /// From the bench to the rig.
    HostMessage [] ['_] {
        /// Asks who is there; allowed in every state, changes nothing.
        Hello(Hello) = 0x01,
        /// Asks for one channel's description.
        DescribeChannel(DescribeChannel) = 0x02,
        /// Sets limits and rates; only while no torque is permitted.
        Configure(Configuration) = 0x03,
        /// Starts sending samples.
        StartSampling(Empty) = 0x04,
        /// Stops sending samples; refused while armed.
        StopSampling(Empty) = 0x05,
        /// First step of arming: asks for a challenge.
        ArmRequest(ArmRequest) = 0x06,
        /// Second step of arming: echoes the challenge.
        ArmConfirm(ArmConfirm) = 0x07,
        /// Feeds the watchdog and asks for an echo.
        KeepAlive(KeepAlive) = 0x08,
        /// Queues setpoints.
        Setpoints(Setpoints) = 0x09,
        /// Zero torque, whatever the state and whatever is queued.
        Stop(Stop) = 0x0A,
        /// Clears a latched trip.
        ClearTrip(ClearTrip) = 0x0B,
        /// Asks for a status.
        StatusRequest(Empty) = 0x0C,
    }
}

messages! {
    /// From the rig to the bench.
    RigMessage ['a] ['a] {
        /// Answers [`HostMessage::Hello`].
        Identity(Identity) = 0x81,
        /// Answers [`HostMessage::DescribeChannel`].
        Channel(Channel) = 0x82,
        /// Answers [`HostMessage::Configure`] with what was really applied.
        Configured(Configured) = 0x83,
        /// Answers [`HostMessage::ArmRequest`].
        ArmChallenge(ArmChallenge) = 0x84,
        /// State and counters: answers several messages, and comes by itself every 50 ms while sampling.
        Status(Status) = 0x85,
        /// A batch of samples.
        Samples(Samples<'a>) = 0x86,
        /// Answers [`HostMessage::KeepAlive`].
        Echo(Echo) = 0x87,
        /// Something happened.
        Event(Event) = 0x88,
        /// A message was not carried out.
        Refused(Refused) = 0x89,
        /// Answers [`HostMessage::Stop`].
        Stopped(Stopped) = 0x8A,
    }
}

/// Writes a bench message as a whole frame into `out`; returns its length.
///
/// # Errors
/// [`FrameError::NoRoom`] when `out` is too short ([`crate::MAX_FRAME`] bytes are always enough).
pub fn encode_host(message: &HostMessage, sequence: u16, out: &mut [u8]) -> Result<usize, FrameError> {
    let mut payload = [0_u8; MAX_PAYLOAD];
    let mut writer = Writer::new(&mut payload);
    message.write(&mut writer);
    finish(message.kind(), sequence, writer.written(), &payload, out)
}

/// Writes a rig message as a whole frame into `out`; returns its length.
///
/// # Errors
/// [`FrameError::NoRoom`] when `out` is too short ([`crate::MAX_FRAME`] bytes are always enough).
pub fn encode_rig(message: &RigMessage<'_>, sequence: u16, out: &mut [u8]) -> Result<usize, FrameError> {
    let mut payload = [0_u8; MAX_PAYLOAD];
    let mut writer = Writer::new(&mut payload);
    message.write(&mut writer);
    finish(message.kind(), sequence, writer.written(), &payload, out)
}

fn finish(
    kind: u8,
    sequence: u16,
    written: Option<usize>,
    payload: &[u8],
    out: &mut [u8],
) -> Result<usize, FrameError> {
    let body = written
        .and_then(|length| payload.get(..length))
        .ok_or(FrameError::NoRoom)?;
    encode_frame(kind, sequence, body, out)
}
