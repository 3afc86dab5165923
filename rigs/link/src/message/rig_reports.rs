//! Keep-alive and what the rig says of itself.

use super::Payload;
use crate::bytes::{Reader, Writer};
use crate::codes::{EventCode, RefusalCode, RigState, StopMode, TripCause};

/// Feeds the watchdog.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KeepAlive {
    /// The bench's clock when this was written, in nanoseconds since any fixed instant. It must rise from one to the
    /// next since the rig was last configured; one that does not is echoed but feeds no watchdog.
    pub host_ns: u64,
}

impl Payload<'_> for KeepAlive {
    fn read(r: &mut Reader<'_>) -> Option<Self> {
        Some(Self { host_ns: r.u64()? })
    }
    fn write(&self, w: &mut Writer<'_>) {
        w.u64(self.host_ns);
    }
}

/// Answers a keep-alive, for clock alignment: offset ((received - host) + (sent - arrival)) / 2.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Echo {
    /// From [`KeepAlive::host_ns`].
    pub host_ns: u64,
    /// Tick at which the keep-alive had arrived.
    pub received_tick: u64,
    /// Tick at which this was written.
    pub sent_tick: u64,
}

impl Payload<'_> for Echo {
    fn read(r: &mut Reader<'_>) -> Option<Self> {
        Some(Self {
            host_ns: r.u64()?,
            received_tick: r.u64()?,
            sent_tick: r.u64()?,
        })
    }
    fn write(&self, w: &mut Writer<'_>) {
        w.u64(self.host_ns);
        w.u64(self.received_tick);
        w.u64(self.sent_tick);
    }
}

/// State and counters. Counters run from boot and wrap.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Status {
    /// Tick when this was written.
    pub tick: u64,
    /// What the rig is doing.
    pub state: RigState,
    /// The latched cause, [`TripCause::None`] outside [`RigState::Tripped`].
    pub trip: TripCause,
    /// Whether samples are being sent.
    pub sampling: bool,
    /// Whether the emergency-stop input is closed; true on a rig without one.
    pub emergency_stop_closed: bool,
    /// Free places in the setpoint queue.
    pub credit: u16,
    /// Trips.
    pub trips: u32,
    /// Times that the queue ran dry before a stream's end.
    pub underruns: u32,
    /// Setpoints discarded because they were late.
    pub late_setpoints: u32,
    /// Setpoints that expired in force.
    pub expired: u32,
    /// Frames that failed their checks.
    pub bad_frames: u32,
    /// Sample batches that could not be sent in time and were lost.
    pub lost_batches: u32,
    /// Rim angle at arming in µrad: the window's reference. 0 before the first arming.
    pub armed_angle_urad: i32,
}

impl Payload<'_> for Status {
    fn read(r: &mut Reader<'_>) -> Option<Self> {
        Some(Self {
            tick: r.u64()?,
            state: RigState::from_code(r.u8()?)?,
            trip: TripCause::from_code(r.u8()?)?,
            sampling: flag(r.u8()?)?,
            emergency_stop_closed: flag(r.u8()?)?,
            credit: r.u16()?,
            trips: r.u32()?,
            underruns: r.u32()?,
            late_setpoints: r.u32()?,
            expired: r.u32()?,
            bad_frames: r.u32()?,
            lost_batches: r.u32()?,
            armed_angle_urad: r.i32()?,
        })
    }
    fn write(&self, w: &mut Writer<'_>) {
        w.u64(self.tick);
        w.u8(self.state.code());
        w.u8(self.trip.code());
        w.u8(u8::from(self.sampling));
        w.u8(u8::from(self.emergency_stop_closed));
        w.u16(self.credit);
        w.u32(self.trips);
        w.u32(self.underruns);
        w.u32(self.late_setpoints);
        w.u32(self.expired);
        w.u32(self.bad_frames);
        w.u32(self.lost_batches);
        w.i32(self.armed_angle_urad);
    }
}

/// 0 or 1; anything else has no meaning.
const fn flag(byte: u8) -> Option<bool> {
    match byte {
        0 => Some(false),
        1 => Some(true),
        _ => None,
    }
}

/// Something happened.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Event {
    /// When.
    pub tick: u64,
    /// Events since boot, this one included: a jump by more than one means that some were lost.
    pub number: u32,
    /// What.
    pub code: EventCode,
    /// What [`EventCode`] says of it.
    pub detail: i32,
}

impl Payload<'_> for Event {
    fn read(r: &mut Reader<'_>) -> Option<Self> {
        Some(Self {
            tick: r.u64()?,
            number: r.u32()?,
            code: EventCode::from_code(r.u8()?)?,
            detail: r.i32()?,
        })
    }
    fn write(&self, w: &mut Writer<'_>) {
        w.u64(self.tick);
        w.u32(self.number);
        w.u8(self.code.code());
        w.i32(self.detail);
    }
}

/// A message was not carried out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Refused {
    /// Kind of the message.
    pub kind: u8,
    /// Sequence of its frame.
    pub sequence: u16,
    /// Why.
    pub code: RefusalCode,
    /// What [`RefusalCode`] says of it, else 0.
    pub detail: i32,
}

impl Payload<'_> for Refused {
    fn read(r: &mut Reader<'_>) -> Option<Self> {
        Some(Self {
            kind: r.u8()?,
            sequence: r.u16()?,
            code: RefusalCode::from_code(r.u8()?)?,
            detail: r.i32()?,
        })
    }
    fn write(&self, w: &mut Writer<'_>) {
        w.u8(self.kind);
        w.u16(self.sequence);
        w.u8(self.code.code());
        w.i32(self.detail);
    }
}

/// A stop was carried out: no setpoint is in force or queued any more.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stopped {
    /// When the stop took effect.
    pub tick: u64,
    /// How the rig really stops.
    pub mode: StopMode,
    /// The state entered.
    pub state: RigState,
}

impl Payload<'_> for Stopped {
    fn read(r: &mut Reader<'_>) -> Option<Self> {
        Some(Self {
            tick: r.u64()?,
            mode: StopMode::from_code(r.u8()?)?,
            state: RigState::from_code(r.u8()?)?,
        })
    }
    fn write(&self, w: &mut Writer<'_>) {
        w.u64(self.tick);
        w.u8(self.mode.code());
        w.u8(self.state.code());
    }
}
