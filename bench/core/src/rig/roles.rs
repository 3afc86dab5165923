//! `[rig.drive]` and `[rig.sense]`: what pushes, and what measures the torque. Left out, the rig controller does both.

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use settings_file::{Angle, Frequency, Ratio, Section, Time, Torque, parse_quantity};

use super::words;
use crate::sensor::lines::LinesSettings;
use crate::sensor::scpi::ScpiSettings;
use crate::sensor::{Pattern, Scale};
use core::fmt;

words! {
    /// What pushes.
    DriveKind {
        /// The rig controller.
        Rig = "rig",
        /// A wheelbase that takes torque as a force-feedback device of this computer.
        ForceFeedback = "force-feedback",
    }
}

words! {
    /// What measures the torque.
    SenseKind {
        /// The rig controller.
        Rig = "rig",
        /// A sensor that sends lines of text on a port of its own.
        Lines = "lines",
        /// An instrument that answers SCPI on a port of its own.
        Scpi = "scpi",
    }
}

/// What pushes.
#[derive(Clone, Debug, PartialEq, Default)]
pub enum Drive {
    /// The rig controller.
    #[default]
    Rig,
    /// A force-feedback device of this computer.
    ForceFeedback(ForceFeedback),
}

impl Drive {
    /// The word for it in files and recordings.
    pub fn word(&self) -> &'static str {
        match self {
            Self::Rig => DriveKind::Rig.word(),
            Self::ForceFeedback(_) => DriveKind::ForceFeedback.word(),
        }
    }
}

/// A wheelbase as a force-feedback device.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct ForceFeedback {
    /// Path of its event device.
    pub device: String,
    /// Rim torque of the largest level, N·m, as it is set now. The sign is that of a positive level.
    pub full_scale_nm: f64,
    /// Gain that is set on the device, 0 to 1.
    pub gain: f64,
    /// Time between two levels, s.
    pub update_period_s: f64,
    /// Time after which the device drops a level by itself that nobody renewed, s.
    pub expiry_s: f64,
    /// Bound of the error in time between a level and the rig's clock, s: the device is released when it is known worse.
    pub time_bound_s: f64,
    /// Rim angle of the device's own axis from end to end, rad; `None`: a rig controller measures the angle.
    pub axis_rad: Option<f64>,
}

/// What measures the torque.
#[derive(Clone, Debug, PartialEq, Default)]
pub enum Sense {
    /// The rig controller.
    #[default]
    Rig,
    /// A sensor that sends lines.
    Lines(OwnPort, LinesSettings),
    /// An instrument that is asked.
    Scpi(OwnPort, ScpiSettings),
}

impl Sense {
    /// The word for it in files and recordings.
    pub fn word(&self) -> &'static str {
        match self {
            Self::Rig => SenseKind::Rig.word(),
            Self::Lines(..) => SenseKind::Lines.word(),
            Self::Scpi(..) => SenseKind::Scpi.word(),
        }
    }

    /// Its port, unless it is the rig controller's.
    pub fn port(&self) -> Option<&OwnPort> {
        match self {
            Self::Rig => None,
            Self::Lines(port, _) | Self::Scpi(port, _) => Some(port),
        }
    }

    /// Readings a second and group delay in s, unless the rig controller says them.
    pub fn declared(&self) -> Option<(f64, f64)> {
        match self {
            Self::Rig => None,
            Self::Lines(_, lines) => Some((lines.rate_hz, lines.delay_s)),
            Self::Scpi(_, scpi) => Some((scpi.rate_hz, scpi.delay_s)),
        }
    }
}

/// A sensor's own serial port, and how well its readings must be placed in time.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct OwnPort {
    /// Path of the port.
    pub port: String,
    /// Symbols a second.
    pub baud: u32,
    /// Bound of the error in time between a reading and the rig's clock, s: readings that are placed worse stop the run.
    pub time_bound_s: f64,
}

/// Slowest sensor that can guard a motor: three readings within the time after which missing samples stop it.
const SLOWEST_HZ: f64 = 100.0;

/// Reads `[rig.drive]`.
pub(super) fn drive(rig: &Section<'_>) -> Drive {
    let Some(s) = rig.optional_section("drive") else {
        return Drive::Rig;
    };
    match s.choice("kind", DriveKind::WORDS) {
        Some(DriveKind::ForceFeedback) => Drive::ForceFeedback(ForceFeedback {
            device: s.text("device"),
            full_scale_nm: s.quantity::<Torque>("full_scale", -100.0..=100.0),
            gain: s.quantity_or::<Ratio>("gain", 0.01..=1.0, 1.0),
            update_period_s: s.quantity::<Time>("update_period", 0.5e-3..=20e-3),
            expiry_s: s.quantity_or::<Time>("expiry", 20e-3..=0.5, 0.1),
            time_bound_s: s.quantity::<Time>("time_bound", 1e-5..=0.02),
            axis_rad: s.optional_quantity::<Angle>("axis", 0.1..=60.0),
        }),
        Some(DriveKind::Rig) | None => Drive::Rig,
    }
}

/// Reads `[rig.sense]`.
pub(super) fn sense(rig: &Section<'_>) -> Sense {
    let Some(s) = rig.optional_section("sense") else {
        return Sense::Rig;
    };
    let kind = s.choice("kind", SenseKind::WORDS).unwrap_or(SenseKind::Rig);
    if kind == SenseKind::Rig {
        return Sense::Rig;
    }
    let port = OwnPort {
        port: s.text("port"),
        baud: u32::try_from(s.integer("baud", 1_200..=4_000_000)).unwrap_or(u32::MAX),
        time_bound_s: s.quantity::<Time>("time_bound", 1e-5..=0.02),
    };
    let scale = scale(&s);
    let rate_hz = s.quantity::<Frequency>("rate", SLOWEST_HZ..=20_000.0);
    let delay_s = s.quantity::<Time>("delay", 0.0..=0.1);
    if kind == SenseKind::Lines {
        let text = s.text("pattern");
        let pattern = text.parse::<Pattern>().unwrap_or_else(|error| {
            if s.has("pattern") {
                let fix = "write a line as the sensor sends it, with {torque} for the number and {*} for what changes";
                s.report("pattern", error.to_string(), None, fix);
            }
            Pattern::default()
        });
        let lines = LinesSettings {
            pattern,
            scale,
            rate_hz,
            delay_s,
            way_s: s.quantity::<Time>("way", 1e-5..=0.02),
        };
        return Sense::Lines(port, lines);
    }
    let scpi = ScpiSettings {
        query: question(&s),
        setup: match s.optional("setup") {
            Some(list) => list.elements(0..=16).iter().map(|entry| entry.text()).collect(),
            None => Vec::new(),
        },
        identity: s.optional_text("identity").unwrap_or_default(),
        end: s.choice_or("end", ENDS, "\n"),
        scale,
        rate_hz,
        delay_s,
        patience_s: s.quantity_or::<Time>("patience", 2e-3..=1.0, 0.02),
    };
    Sense::Scpi(port, scpi)
}

const ENDS: &[(&str, &str)] = &[("lf", "\n"), ("cr", "\r"), ("cr lf", "\r\n")];

fn question(s: &Section<'_>) -> String {
    let query = s.text("query");
    if s.has("query") && !query.trim_end().ends_with('?') {
        let fix = "write the query for one reading, such as \"READ?\"";
        s.report("query", "a query ends in a question mark", None, fix);
    }
    query
}

/// Torque of one as written: `unit`, times `scale`.
fn scale(s: &Section<'_>) -> Scale {
    let unit = s.text("unit");
    let one = parse_quantity::<Torque>(&alloc::format!("1 {unit}"));
    if let (Err(error), true) = (&one, s.has("unit")) {
        let fix = "write the unit of what the sensor sends, and in scale how many of it one is";
        s.report("unit", error.to_string(), None, fix);
    }
    Scale {
        nm: one.map_or(1.0, |amount| amount.si) * s.number_or("scale", -1e6..=1e6, 1.0),
        offset_nm: s
            .optional_quantity::<Torque>("zero", -500.0..=500.0)
            .unwrap_or(0.0),
    }
}

/// Checks both against each other and against the rest of the rig.
pub(super) fn contradictions(rig: &super::Rig, section: &Section<'_>) {
    let no_controller = rig.link.port == super::NO_PORT;
    let drive = section.optional_section("drive");
    let sense = section.optional_section("sense");
    if let (Drive::ForceFeedback(device), Some(s)) = (&rig.drive, &drive) {
        if device.full_scale_nm.abs() < rig.limits.torque_nm {
            s.report(
                "full_scale",
                "below rig.limits.torque, so its setpoints could not be played",
                Some(alloc::format!("{} N·m or more either way", rig.limits.torque_nm)),
                "correct one of the two",
            );
        }
        if no_controller && device.axis_rad.is_none() {
            s.report(
                "axis",
                "without a rig controller nothing else tells the rim's angle",
                None,
                "give the angle of the device's axis from end to end, or a rig controller in rig.link",
            );
        }
        if !no_controller && device.axis_rad.is_some() {
            s.report(
                "axis",
                "the rig controller measures the rim's angle",
                None,
                "leave it out",
            );
        }
    }
    if let (Some((rate_hz, delay_s)), Some(s)) = (rig.sense.declared(), &sense)
        && delay_s + 3.0 / rate_hz > LATEST_S
    {
        let within = alloc::format!("delay and three readings within {} ms", LATEST_S * 1e3);
        let problem = "with the time between readings too long for a sensor that guards a motor";
        s.report("delay", problem, Some(within), "take a faster sensor or filter");
    }
    if no_controller && (rig.drive == Drive::Rig || rig.sense == Sense::Rig) {
        let fix = "give its port, or both rig.drive and rig.sense of their own";
        section
            .section("link")
            .report("port", "\"none\" needs others that push and measure", None, fix);
    }
    if rig.kind == super::Kind::Virtual && (drive.is_some() || sense.is_some()) {
        let key = if drive.is_some() { "drive" } else { "sense" };
        section.report(
            key,
            "a virtual rig pushes and measures by itself",
            None,
            "remove the table",
        );
    }
}

/// Channel of a rig put together of parts: how long the setpoint of a row had been in force, s. A force-feedback device takes levels at its own
/// rate and not at the ticks that the plan has.
pub const SETPOINT_AGE: &str = "setpoint_age";
/// Channel of a rig put together of parts: bound of the error in time between a row's setpoint and its torque that the clocks leave, s.
pub const CLOCK_BOUND: &str = "clock_bound";

/// Longest that a sample may wait for its torque, s.
pub const LATEST_S: f64 = 0.02;
