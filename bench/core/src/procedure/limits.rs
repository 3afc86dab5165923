//! `[limits]` of a procedure: what it holds itself to, inside what the rig allows.

use alloc::{format, string::String};
use settings_file::{Angle, Place, Ratio, Section, Speed, Temperature, Torque, write_number};

use super::{Level, Placed};
use crate::{
    rig::{Limits, Rig},
    units::show_nm,
};

/// Tighter limits than the rig's; what is left out is the rig's. A wider one is refused by [`super::Procedure::plan`].
#[derive(Clone, Debug, Default, PartialEq)]
#[non_exhaustive]
pub struct ProcedureLimits {
    /// Greatest setpoint either way.
    pub torque: Option<Placed<Level>>,
    /// Measured torque either way beyond which the rig trips.
    pub sensor_torque: Option<Placed<Level>>,
    /// Rim speed either way beyond which the rig trips, rad/s.
    pub rim_speed_rad_s: Option<Placed<f64>>,
    /// Rim angles `[low, high]` outside which the rig trips, rad; counted as the rig file says for the mounting.
    pub rim_window_rad: Option<Placed<[f64; 2]>>,
    /// Temperature beyond which the rig trips, °C.
    pub temperature_degc: Option<Placed<f64>>,
}

/// What a procedure asks for beyond what the rig allows.
pub(crate) struct Wider<'a> {
    pub(crate) place: &'a Place,
    pub(crate) what: &'static str,
    pub(crate) allowed: String,
}

impl ProcedureLimits {
    pub(super) fn read(s: &Section<'_>) -> Self {
        // A sensor on a clamped rim sees more than the peak torque, so percentages may exceed 100.
        let torque = |key: &str, most_of_peak: f64| {
            let entry = s.optional(key)?;
            let value = if entry.is::<Ratio>() {
                Level::OfPeak(entry.quantity::<Ratio>(0.001..=most_of_peak))
            } else {
                Level::Torque(entry.quantity::<Torque>(0.01..=500.0))
            };
            let place = entry.place();
            Some(Placed { value, place })
        };
        Self {
            torque: torque("torque", 1.0),
            sensor_torque: torque("sensor_torque", 5.0),
            rim_speed_rad_s: s
                .optional_quantity::<Speed>("rim_speed", 0.1..=60.0)
                .map(|value| Placed::of(s, "rim_speed", value)),
            rim_window_rad: s
                .has("rim_window")
                .then(|| s.pair::<Angle>("rim_window", -60.0..=60.0))
                .map(|value| Placed::of(s, "rim_window", value)),
            temperature_degc: s
                .optional_quantity::<Temperature>("temperature", 0.0..=150.0)
                .map(|value| Placed::of(s, "temperature", value)),
        }
    }

    /// The rig's limits with these put in their place, and those of them that are wider, which are left out.
    /// `window_rad` is the rig's for what the procedure does.
    pub(crate) fn tightened(&self, rig: &Rig, window_rad: [f64; 2]) -> (Limits, alloc::vec::Vec<Wider<'_>>) {
        let mut limits = Limits {
            rim_window_rad: window_rad,
            ..rig.limits
        };
        let mut wider = alloc::vec::Vec::new();
        let peak_nm = rig.wheelbase.peak_torque_nm;
        let torques = [
            (&self.torque, &mut limits.torque_nm, "the greatest setpoint"),
            (
                &self.sensor_torque,
                &mut limits.sensor_torque_nm,
                "the measured torque",
            ),
        ];
        for (own, limit, what) in torques {
            let Some(own) = own else { continue };
            let nm = own.value.nm(peak_nm);
            // A level of 100 % may come out a rounding above a limit of the same torque.
            if nm > *limit * (1.0 + 1e-12) {
                let allowed = format!("at most {}", show_nm(*limit));
                let place = &own.place;
                wider.push(Wider { place, what, allowed });
            } else {
                *limit = nm.min(*limit);
            }
        }
        let numbers = [
            (
                &self.rim_speed_rad_s,
                &mut limits.rim_speed_rad_s,
                "the rim speed",
                "rad/s",
            ),
            (
                &self.temperature_degc,
                &mut limits.temperature_degc,
                "the temperature",
                "°C",
            ),
        ];
        for (own, limit, what, unit) in numbers {
            let Some(own) = own else { continue };
            if own.value > *limit {
                let allowed = format!("at most {} {unit}", write_number(*limit));
                let place = &own.place;
                wider.push(Wider { place, what, allowed });
            } else {
                *limit = own.value;
            }
        }
        if let Some(own) = &self.rim_window_rad {
            let ([low, high], [rig_low, rig_high]) = (own.value, limits.rim_window_rad);
            if low < rig_low || high > rig_high {
                let degrees = |rad: f64| write_number(rad.to_degrees());
                wider.push(Wider {
                    place: &own.place,
                    what: "the rim window",
                    allowed: format!("within {} to {} deg", degrees(rig_low), degrees(rig_high)),
                });
            } else {
                limits.rim_window_rad = own.value;
            }
        }
        (limits, wider)
    }
}
