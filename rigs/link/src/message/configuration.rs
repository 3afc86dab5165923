//! Rates and limits that the rig itself enforces.

use super::Payload;
use crate::FULL_SCALE_COUNTS;
use crate::bytes::{Reader, Writer};
use crate::codes::{StopMode, WindowReference};
use crate::frame::crc32c;

/// Rates and limits. The bench asks; the rig answers with what it applied, which may be tighter, never wider.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Configuration {
    /// Ticks between samples, 1 to 1,000,000.
    pub sample_period_us: u32,
    /// Greatest setpoint either way, in counts of [`crate::FULL_SCALE_COUNTS`]; 0 to 32,767.
    pub torque_limit_raw: u16,
    /// Greatest change of the applied setpoint in one millisecond, in counts; 1 or more. 65,535: no slew limit.
    pub slew_limit_raw_per_ms: u16,
    /// Rim speed at which the rig trips, in mrad/s; 1 or more.
    pub rim_speed_limit_mrad_s: u32,
    /// Lower end of the rim window, in µrad.
    pub window_low_urad: i32,
    /// Upper end of the rim window, in µrad; above the lower end.
    pub window_high_urad: i32,
    /// From where the window is counted.
    pub window_reference: WindowReference,
    /// Measured rim torque at which the rig trips, either way, in mN·m; 1 or more.
    pub sensor_torque_limit_mnm: u32,
    /// Temperature at which the rig trips, in 0.01 degree Celsius.
    pub temperature_limit_cdeg: i16,
    /// Longest time without a fresh keep-alive while armed, in ticks; 1,000 to 1,000,000.
    pub watchdog_us: u32,
    /// Longest time that one setpoint stays in force, in ticks; 500 to 1,000,000.
    pub setpoint_expiry_us: u32,
    /// How the rig stops by itself (trip, watchdog, expiry).
    pub stop_mode: StopMode,
    /// Longest braking time, in ticks, after which the motor coasts; 0 (never brakes) to 10,000,000.
    pub brake_us: u32,
}

impl Configuration {
    /// Bytes of the payload.
    pub const LENGTH: usize = 40;

    /// CRC-32C of the payload: names this configuration when arming.
    #[must_use]
    pub fn crc(&self) -> u32 {
        let mut bytes = [0; Self::LENGTH];
        let mut writer = Writer::new(&mut bytes);
        self.write(&mut writer);
        crc32c(&bytes)
    }

    /// The first field whose value is out of its range, counted from 0 in the order of the fields: what a rig
    /// controller refuses with [`crate::RefusalCode::OutOfRange`].
    #[must_use]
    pub fn first_out_of_range(&self) -> Option<u8> {
        let second = 1_000_000;
        [
            (0, (1..=second).contains(&self.sample_period_us)),
            (1, self.torque_limit_raw <= FULL_SCALE_COUNTS.unsigned_abs()),
            (2, self.slew_limit_raw_per_ms >= 1),
            (3, self.rim_speed_limit_mrad_s >= 1),
            (5, self.window_low_urad < self.window_high_urad),
            (7, self.sensor_torque_limit_mnm >= 1),
            (9, (1_000..=second).contains(&self.watchdog_us)),
            (10, (500..=second).contains(&self.setpoint_expiry_us)),
            (12, self.brake_us <= 10 * second),
        ]
        .into_iter()
        .find_map(|(field, good)| (!good).then_some(field))
    }
}

impl Payload<'_> for Configuration {
    fn read(r: &mut Reader<'_>) -> Option<Self> {
        Some(Self {
            sample_period_us: r.u32()?,
            torque_limit_raw: r.u16()?,
            slew_limit_raw_per_ms: r.u16()?,
            rim_speed_limit_mrad_s: r.u32()?,
            window_low_urad: r.i32()?,
            window_high_urad: r.i32()?,
            window_reference: WindowReference::from_code(r.u8()?)?,
            sensor_torque_limit_mnm: r.u32()?,
            temperature_limit_cdeg: r.i16()?,
            watchdog_us: r.u32()?,
            setpoint_expiry_us: r.u32()?,
            stop_mode: StopMode::from_code(r.u8()?)?,
            brake_us: r.u32()?,
        })
    }
    fn write(&self, w: &mut Writer<'_>) {
        w.u32(self.sample_period_us);
        w.u16(self.torque_limit_raw);
        w.u16(self.slew_limit_raw_per_ms);
        w.u32(self.rim_speed_limit_mrad_s);
        w.i32(self.window_low_urad);
        w.i32(self.window_high_urad);
        w.u8(self.window_reference.code());
        w.u32(self.sensor_torque_limit_mnm);
        w.i16(self.temperature_limit_cdeg);
        w.u32(self.watchdog_us);
        w.u32(self.setpoint_expiry_us);
        w.u8(self.stop_mode.code());
        w.u32(self.brake_us);
    }
}

/// What the rig really applied.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Configured {
    /// In force from now on.
    pub applied: Configuration,
    /// [`Configuration::crc`] of it, as the rig computes it.
    pub crc: u32,
}

impl Payload<'_> for Configured {
    fn read(r: &mut Reader<'_>) -> Option<Self> {
        Some(Self {
            applied: Configuration::read(r)?,
            crc: r.u32()?,
        })
    }
    fn write(&self, w: &mut Writer<'_>) {
        self.applied.write(w);
        w.u32(self.crc);
    }
}
