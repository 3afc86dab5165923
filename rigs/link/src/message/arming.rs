//! Permission to make torque, and its end.

use super::Payload;
use crate::bytes::{Reader, Writer};
use crate::codes::{StopMode, StopReason};

/// First step of arming.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ArmRequest {
    /// CRC of the configuration that the bench believes to be applied.
    pub configuration_crc: u32,
}

impl Payload<'_> for ArmRequest {
    fn read(r: &mut Reader<'_>) -> Option<Self> {
        Some(Self {
            configuration_crc: r.u32()?,
        })
    }
    fn write(&self, w: &mut Writer<'_>) {
        w.u32(self.configuration_crc);
    }
}

/// The rig's challenge: good once, for [`ArmChallenge::valid_us`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ArmChallenge {
    /// To be echoed; never the same twice in a row.
    pub challenge: u32,
    /// How long it is good, in ticks.
    pub valid_us: u32,
}

impl Payload<'_> for ArmChallenge {
    fn read(r: &mut Reader<'_>) -> Option<Self> {
        Some(Self {
            challenge: r.u32()?,
            valid_us: r.u32()?,
        })
    }
    fn write(&self, w: &mut Writer<'_>) {
        w.u32(self.challenge);
        w.u32(self.valid_us);
    }
}

/// Second step of arming.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ArmConfirm {
    /// From [`ArmChallenge::challenge`].
    pub challenge: u32,
    /// As in [`ArmRequest`].
    pub configuration_crc: u32,
}

impl Payload<'_> for ArmConfirm {
    fn read(r: &mut Reader<'_>) -> Option<Self> {
        Some(Self {
            challenge: r.u32()?,
            configuration_crc: r.u32()?,
        })
    }
    fn write(&self, w: &mut Writer<'_>) {
        w.u32(self.challenge);
        w.u32(self.configuration_crc);
    }
}

/// Zero torque now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stop {
    /// Coast, or brake and then coast.
    pub mode: StopMode,
    /// For the rig's log.
    pub reason: StopReason,
}

impl Payload<'_> for Stop {
    fn read(r: &mut Reader<'_>) -> Option<Self> {
        Some(Self {
            mode: StopMode::from_code(r.u8()?)?,
            reason: StopReason::from_code(r.u8()?)?,
        })
    }
    fn write(&self, w: &mut Writer<'_>) {
        w.u8(self.mode.code());
        w.u8(self.reason.code());
    }
}

/// Clears a latched trip.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ClearTrip {
    /// [`super::Status::trips`] as last seen: an old copy of this message clears nothing.
    pub trips: u32,
}

impl Payload<'_> for ClearTrip {
    fn read(r: &mut Reader<'_>) -> Option<Self> {
        Some(Self { trips: r.u32()? })
    }
    fn write(&self, w: &mut Writer<'_>) {
        w.u32(self.trips);
    }
}
