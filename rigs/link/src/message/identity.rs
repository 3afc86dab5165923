//! Who the rig is and what it measures.

use super::Payload;
use crate::bytes::{Reader, Writer};
use crate::codes::{ChannelKind, Unit, Width};

/// Text of at most `N` bytes of UTF-8, filled up with zero bytes on the wire.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct Name<const N: usize>([u8; N]);

impl<const N: usize> Name<N> {
    /// Cuts `text` to what fits, at a character's end, and before a zero byte.
    #[must_use]
    pub fn new(text: &str) -> Self {
        let mut bytes = [0; N];
        let mut end = text
            .bytes()
            .position(|byte| byte == 0)
            .unwrap_or(text.len())
            .min(N);
        while !text.is_char_boundary(end) {
            end -= 1;
        }
        for (place, byte) in bytes.iter_mut().zip(text.as_bytes().iter().take(end)) {
            *place = *byte;
        }
        Self(bytes)
    }

    /// The text before the first zero byte.
    #[must_use]
    pub fn as_str(&self) -> &str {
        let end = self.0.iter().position(|&byte| byte == 0).unwrap_or(N);
        core::str::from_utf8(self.0.get(..end).unwrap_or_default()).unwrap_or("")
    }

    /// Accepts UTF-8 followed by nothing but zero bytes.
    fn read(reader: &mut Reader<'_>) -> Option<Self> {
        let bytes: [u8; N] = reader.array()?;
        let end = bytes.iter().position(|&byte| byte == 0).unwrap_or(N);
        let (text, padding) = bytes.split_at_checked(end)?;
        (core::str::from_utf8(text).is_ok() && padding.iter().all(|&byte| byte == 0)).then_some(Self(bytes))
    }

    fn write(&self, writer: &mut Writer<'_>) {
        writer.put(&self.0);
    }
}

impl<const N: usize> core::fmt::Debug for Name<N> {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "{:?}", self.as_str())
    }
}

/// Asks who is there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Hello {
    /// The bench's [`crate::PROTOCOL_MAJOR`].
    pub major: u8,
    /// The bench's [`crate::PROTOCOL_MINOR`].
    pub minor: u8,
    /// Comes back in [`Identity::nonce`], so that an old answer is not taken for a new one.
    pub nonce: u32,
}

impl Payload<'_> for Hello {
    fn read(r: &mut Reader<'_>) -> Option<Self> {
        Some(Self {
            major: r.u8()?,
            minor: r.u8()?,
            nonce: r.u32()?,
        })
    }
    fn write(&self, w: &mut Writer<'_>) {
        w.u8(self.major);
        w.u8(self.minor);
        w.u32(self.nonce);
    }
}

/// What the hardware can do, one bit each; unknown bits are ignored.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Capabilities(pub u16);

impl Capabilities {
    /// Bit 0: can brake the motor before letting it coast.
    pub const BRAKE: u16 = 1;
    /// Bit 1: has an emergency-stop input.
    pub const EMERGENCY_STOP_INPUT: u16 = 1 << 1;
    /// Bit 2: the far side of the link is simulated.
    pub const SIMULATED: u16 = 1 << 2;

    /// Whether all of `bits` are set.
    #[must_use]
    pub const fn has(self, bits: u16) -> bool {
        self.0 & bits == bits
    }
}

/// Who the rig is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Identity {
    /// The rig's major version.
    pub major: u8,
    /// The rig's minor version.
    pub minor: u8,
    /// From [`Hello::nonce`].
    pub nonce: u32,
    /// Drawn anew at each boot: a change means that the rig rebooted and holds no configuration.
    pub boot_id: u32,
    /// The rig's tick when this was written.
    pub tick: u64,
    /// What the hardware can do.
    pub capabilities: Capabilities,
    /// Number of channels, 1 to [`crate::MAX_CHANNELS`].
    pub channels: u8,
    /// Setpoints that the queue holds when empty.
    pub queue_capacity: u16,
    /// Shortest sample period that the rig can deliver, in ticks.
    pub min_sample_period_us: u32,
    /// Torque in N·m that [`crate::FULL_SCALE_COUNTS`] stands for; finite and above zero.
    pub full_scale_nm: f64,
    /// Rig controller's model.
    pub model: Name<24>,
    /// Rig controller's serial number.
    pub serial: Name<16>,
    /// Rig controller's firmware version.
    pub firmware: Name<16>,
}

impl Payload<'_> for Identity {
    fn read(r: &mut Reader<'_>) -> Option<Self> {
        let identity = Self {
            major: r.u8()?,
            minor: r.u8()?,
            nonce: r.u32()?,
            boot_id: r.u32()?,
            tick: r.u64()?,
            capabilities: Capabilities(r.u16()?),
            channels: r.u8()?,
            queue_capacity: r.u16()?,
            min_sample_period_us: r.u32()?,
            full_scale_nm: r.f64()?,
            model: Name::read(r)?,
            serial: Name::read(r)?,
            firmware: Name::read(r)?,
        };
        let channels = usize::from(identity.channels);
        (identity.full_scale_nm.is_finite()
            && identity.full_scale_nm > 0.0
            && (1..=crate::MAX_CHANNELS).contains(&channels))
        .then_some(identity)
    }
    fn write(&self, w: &mut Writer<'_>) {
        w.u8(self.major);
        w.u8(self.minor);
        w.u32(self.nonce);
        w.u32(self.boot_id);
        w.u64(self.tick);
        w.u16(self.capabilities.0);
        w.u8(self.channels);
        w.u16(self.queue_capacity);
        w.u32(self.min_sample_period_us);
        w.f64(self.full_scale_nm);
        self.model.write(w);
        self.serial.write(w);
        self.firmware.write(w);
    }
}

/// Asks for one channel's description.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DescribeChannel {
    /// Counted from 0, below [`Identity::channels`].
    pub index: u8,
}

impl Payload<'_> for DescribeChannel {
    fn read(r: &mut Reader<'_>) -> Option<Self> {
        Some(Self { index: r.u8()? })
    }
    fn write(&self, w: &mut Writer<'_>) {
        w.u8(self.index);
    }
}

/// What one channel is: `physical = raw * scale + offset`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Channel {
    /// Counted from 0, in the order of a sample row; below [`crate::MAX_CHANNELS`].
    pub index: u8,
    /// What it measures.
    pub kind: ChannelKind,
    /// Width of its counts.
    pub width: Width,
    /// Unit of the physical value.
    pub unit: Unit,
    /// Physical value of one count; finite, not zero.
    pub scale: f64,
    /// Physical value of count 0; finite.
    pub offset: f64,
    /// Least count that the sensor can give: at or below it the channel is saturated.
    pub raw_min: i32,
    /// Greatest count that the sensor can give: at or above it the channel is saturated. Above `raw_min`; both within
    /// the channel's width.
    pub raw_max: i32,
    /// By how much the channel's values lag behind the tick they are stamped with, in nanoseconds.
    pub group_delay_ns: u32,
    /// Short name, such as `torque`.
    pub name: Name<16>,
}

impl Channel {
    /// Whether the counts of the channel's width can reach both ends of its range: an end out of their reach would
    /// hide a saturated sensor.
    fn range_is_good(&self) -> bool {
        let reach = match self.width {
            Width::I16 => i32::from(i16::MIN)..=i32::from(i16::MAX),
            Width::I32 => i32::MIN..=i32::MAX,
        };
        self.raw_min < self.raw_max && reach.contains(&self.raw_min) && reach.contains(&self.raw_max)
    }
}

impl Payload<'_> for Channel {
    fn read(r: &mut Reader<'_>) -> Option<Self> {
        let channel = Self {
            index: r.u8()?,
            kind: ChannelKind::from_code(r.u8()?)?,
            width: Width::from_code(r.u8()?)?,
            unit: Unit::from_code(r.u8()?)?,
            scale: r.f64()?,
            offset: r.f64()?,
            raw_min: r.i32()?,
            raw_max: r.i32()?,
            group_delay_ns: r.u32()?,
            name: Name::read(r)?,
        };
        let index_is_good = usize::from(channel.index) < crate::MAX_CHANNELS;
        let scale_is_good = channel.scale.is_finite() && channel.scale.abs() > 0.0;
        (index_is_good && scale_is_good && channel.offset.is_finite() && channel.range_is_good())
            .then_some(channel)
    }
    fn write(&self, w: &mut Writer<'_>) {
        w.u8(self.index);
        w.u8(self.kind.code());
        w.u8(self.width.code());
        w.u8(self.unit.code());
        w.f64(self.scale);
        w.f64(self.offset);
        w.i32(self.raw_min);
        w.i32(self.raw_max);
        w.u32(self.group_delay_ns);
        self.name.write(w);
    }
}
