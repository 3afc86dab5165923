//! The limits that the controller watches by itself (PROTOCOL.md 7.10).

use rig_link::TripCause;
use rig_link::message::{Configuration, WindowReference};

use super::wiring::{Counts, TEMPERATURE_SPAN_DEGC, Wiring};

/// What the sensors say, in SI, at the last look.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Measured {
    pub(super) torque_nm: f64,
    pub(super) torque_saturated: bool,
    pub(super) rim_rad: f64,
    pub(super) rim_rad_s: f64,
    pub(super) temperature_degc: f64,
    pub(super) supply_v: f64,
}

impl Measured {
    /// From counts; the speed is the encoder's difference to `before`, `elapsed_us` earlier.
    pub(super) fn new(wiring: &Wiring, counts: &Counts, before: Option<(u64, i32)>, now: u64) -> Self {
        let speed = before.filter(|(tick, _)| *tick < now).map_or(0.0, |(tick, rim)| {
            f64::from(counts.rim.wrapping_sub(rim)) * wiring.rim_rad / ((now - tick) as f64 * 1e-6)
        });
        Self {
            torque_nm: f64::from(counts.torque) * wiring.torque_nm,
            torque_saturated: counts.torque.abs() >= wiring.torque_end,
            rim_rad: f64::from(counts.rim) * wiring.rim_rad,
            rim_rad_s: speed,
            temperature_degc: f64::from(counts.temperature) * wiring.temperature_k,
            supply_v: f64::from(counts.supply) * wiring.supply_v,
        }
    }

    /// The rim's angle in µrad, as on the wire.
    pub(super) fn rim_urad(&self) -> i32 {
        (self.rim_rad * 1e6)
            .round()
            .clamp(f64::from(i32::MIN), f64::from(i32::MAX)) as i32
    }

    /// Whether `cause` is present. Only causes that are measured can be.
    pub(super) fn shows(
        &self,
        cause: TripCause,
        configuration: &Configuration,
        armed_angle_urad: i32,
        supply_span_v: [f64; 2],
    ) -> bool {
        let [cold, hot] = TEMPERATURE_SPAN_DEGC;
        let temperature_valid = self.temperature_degc > cold && self.temperature_degc < hot;
        match cause {
            TripCause::RimSpeed => {
                self.rim_rad_s.abs() * 1e3 >= f64::from(configuration.rim_speed_limit_mrad_s)
            }
            TripCause::RimWindow => {
                let reference = match configuration.window_reference {
                    WindowReference::Zero => 0.0,
                    WindowReference::Arming => f64::from(armed_angle_urad),
                };
                let angle = self.rim_rad * 1e6 - reference;
                angle < f64::from(configuration.window_low_urad)
                    || angle > f64::from(configuration.window_high_urad)
            }
            TripCause::SensorTorque => {
                self.torque_saturated
                    || self.torque_nm.abs() * 1e3 >= f64::from(configuration.sensor_torque_limit_mnm)
            }
            TripCause::Temperature => {
                temperature_valid
                    && self.temperature_degc * 1e2 >= f64::from(configuration.temperature_limit_cdeg)
            }
            TripCause::SensorFault => !temperature_valid,
            TripCause::Supply => self.supply_v < supply_span_v[0] || self.supply_v > supply_span_v[1],
            TripCause::None
            | TripCause::Watchdog
            | TripCause::SetpointExpired
            | TripCause::EmergencyStop
            | TripCause::Internal => false,
        }
    }
}

/// The causes that are measured, in the order of their codes.
pub(super) const MEASURED: [TripCause; 6] = [
    TripCause::RimSpeed,
    TripCause::RimWindow,
    TripCause::SensorTorque,
    TripCause::Temperature,
    TripCause::SensorFault,
    TripCause::Supply,
];
