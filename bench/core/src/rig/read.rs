//! From the `[rig]` table of a rig file to a [`Rig`].

use alloc::{borrow::ToOwned, format, vec::Vec};
use rig_link::StopMode;
use settings_file::{
    Acceleration, Angle, Findings, Ratio, Section, Settings, Slew, Stiffness, Temperature, Time, Torque,
    Voltage,
};

use super::{
    EmergencyStop, FarSide, Fixture, Kind, Limits, Link, Mounting, Rig, TorqueSensor, Wheelbase, WindowFrom,
    drivetrain, mounted, roles,
};
use crate::units::{show_nm, us_from_s};

/// Highest torque that this bench is meant for, N·m.
pub(super) const MOST_TORQUE_NM: f64 = 60.0;
/// Highest rate of torque, N·m/s; beyond it a limit limits nothing.
const MOST_SLEW_NM_PER_S: f64 = 1e5;

impl Rig {
    /// Reads the `[rig]` table of a rig file, in the mounting that the file says. The `[virtual]` table is left to the
    /// virtual rig; any other top-level key is a finding.
    ///
    /// # Errors
    /// Everything that is wrong with the table, each with its line: syntax, missing and unknown keys, values out of
    /// range, and values that contradict each other.
    pub fn from_toml(file: &str, text: &str) -> Result<Self, Findings> {
        Self::mounted(file, text, None)
    }

    /// As [`Self::from_toml`], with the rim held in another of the mountings that the file describes.
    ///
    /// # Errors
    /// As [`Self::from_toml`], and a mounting that the file does not describe.
    pub fn mounted(file: &str, text: &str, mounting: Option<Mounting>) -> Result<Self, Findings> {
        let settings = Settings::parse(file, text)?;
        let root = settings.root();
        root.leave_to_others("virtual");
        let rig = root.section("rig");
        let mounting_in_file = rig
            .choice("mounting", Mounting::WORDS)
            .unwrap_or(Mounting::Clamped);
        let mountings = mounted::read(&rig.section("mountings"));
        let in_force = mounting.unwrap_or(mounting_in_file);
        let mut value = Self {
            file: file.to_owned(),
            name: rig.text("name"),
            kind: rig.choice("kind", Kind::WORDS).unwrap_or(Kind::Virtual),
            mounting: in_force,
            mounting_in_file,
            mountings,
            far_side: FarSide::Ground,
            emergency_stop: rig
                .choice("emergency_stop", EmergencyStop::WORDS)
                .unwrap_or(EmergencyStop::None),
            wheelbase: wheelbase(&rig.section("wheelbase")),
            drivetrain: drivetrain::read(&rig),
            torque_sensor: torque_sensor(&rig.section("torque_sensor")),
            fixture: fixture(&rig.section("fixture")),
            limits: limits(&rig.section("limits")),
            link: link(&rig.section("link")),
            drive: roles::drive(&rig),
            sense: roles::sense(&rig),
        };
        // A contradiction with a placeholder would only confuse.
        if !settings.has_findings() {
            contradictions(&value, &rig);
            put_in_force(&mut value, &rig);
        }
        if rig.is_present() && value.kind == Kind::Serial && root.has("virtual") {
            root.report(
                "virtual",
                "a serial rig has no simulated plant",
                None,
                "remove the table, or set rig.kind",
            );
        }
        settings.finish(value)
    }
}

fn wheelbase(s: &Section<'_>) -> Wheelbase {
    Wheelbase {
        model: s.text("model"),
        serial: s.text("serial"),
        firmware: s.text("firmware"),
        peak_torque_nm: s.quantity::<Torque>("peak_torque", 0.1..=MOST_TORQUE_NM),
        slew_nm_per_s: s.quantity::<Slew>("slew", 10.0..=MOST_SLEW_NM_PER_S),
        update_period_s: s.quantity::<Time>("update_period", 2e-5..=0.05),
        ratio: s.has("ratio").then(|| s.number("ratio", 0.1..=200.0)),
        lost_motion_rad: s.quantity::<Angle>("lost_motion", 1e-4..=0.5),
        sustained_torque_nm: s.optional_quantity::<Torque>("sustained_torque", 0.05..=MOST_TORQUE_NM),
        peak_time_s: s.optional_quantity::<Time>("peak_time", 1.0..=3600.0),
    }
}

/// Takes over the limits of the mounting in force, which must be described.
fn put_in_force(rig: &mut Rig, section: &Section<'_>) {
    let in_force = rig.mounting;
    let Some(mounted) = rig.mountings.iter().find(|m| m.mounting == in_force).copied() else {
        let known: Vec<&str> = rig.mountings.iter().map(|m| m.mounting.word()).collect();
        let fix = format!("add [rig.mountings.{in_force}], or take one that is described");
        section.section("mountings").report(
            in_force.word(),
            "the mounting in force is not described",
            Some(known.join(", ")),
            fix,
        );
        return;
    };
    mounted.apply(&mut rig.limits);
    rig.far_side = mounted.far_side;
}

fn torque_sensor(s: &Section<'_>) -> TorqueSensor {
    TorqueSensor {
        model: s.text("model"),
        serial: s.text("serial"),
        range_nm: s.quantity::<Torque>("range", 0.1..=500.0),
        stiffness_nm_per_rad: s.quantity::<Stiffness>("stiffness", 10.0..=1e6),
        calibrated: s.date("calibrated"),
        due: s.date("due"),
        certificate: s.text("certificate"),
        calibration: s.optional_text("calibration"),
        gain_uncertainty: s.quantity::<Ratio>("gain_uncertainty", 0.0..=0.1),
        zero_uncertainty_nm: s.quantity::<Torque>("zero_uncertainty", 0.0..=5.0),
        delay_uncertainty_s: s.quantity::<Time>("delay_uncertainty", 0.0..=0.01),
        noise_nm: s.optional_quantity::<Torque>("noise", 1e-6..=5.0),
    }
}

fn fixture(s: &Section<'_>) -> Fixture {
    Fixture {
        name: s.text("name"),
        stiffness_nm_per_rad: s.quantity::<Stiffness>("stiffness", 10.0..=1e7),
    }
}

fn limits(s: &Section<'_>) -> Limits {
    const STOPS: &[(&str, StopMode)] = &[("coast", StopMode::Coast), ("brake", StopMode::Brake)];
    // The ranges keep every duration far inside u32.
    let us = |key: &str, range, default: Option<f64>| {
        let seconds = match default {
            Some(default) => s.quantity_or::<Time>(key, range, default),
            None => s.quantity::<Time>(key, range),
        };
        u32::try_from(us_from_s(seconds)).unwrap_or(u32::MAX)
    };
    Limits {
        torque_nm: s.quantity::<Torque>("torque", 0.05..=MOST_TORQUE_NM),
        slew_nm_per_s: s.quantity::<Slew>("slew", 10.0..=MOST_SLEW_NM_PER_S),
        sensor_torque_nm: s.quantity::<Torque>("sensor_torque", 0.05..=500.0),
        // The mounting in force says these.
        rim_speed_rad_s: 0.1,
        rim_window_rad: [0.0; 2],
        rim_window_from: WindowFrom::Arming,
        rim_acceleration_rad_s2: s.optional_quantity::<Acceleration>("rim_acceleration", 1.0..=1e6),
        supply_v: s.pair::<Voltage>("supply", 0.0..=100.0),
        temperature_degc: s.quantity::<Temperature>("temperature", 30.0..=150.0),
        watchdog_us: us("watchdog", 0.005..=0.1, None),
        setpoint_expiry_us: us("setpoint_expiry", 0.002..=0.1, None),
        stop: s.choice("stop", STOPS).unwrap_or(StopMode::Coast),
        brake_us: us("brake_time", 0.01..=2.0, Some(0.5)),
    }
}

fn link(s: &Section<'_>) -> Link {
    Link {
        port: s.text("port"),
        baud: u32::try_from(s.integer("baud", 9_600..=12_000_000)).unwrap_or(u32::MAX),
    }
}

/// Checks across values: each one is fine by itself, together they cannot be meant.
fn contradictions(rig: &Rig, section: &Section<'_>) {
    drivetrain::contradictions(rig.drivetrain.as_ref(), rig.wheelbase.ratio, section);
    roles::contradictions(rig, section);
    let limits = section.section("limits");
    let sensor = section.section("torque_sensor");
    let at_most = |nm: f64| Some(format!("at most {}", show_nm(nm)));
    if rig.limits.torque_nm > rig.wheelbase.peak_torque_nm {
        let fix = "lower it, or correct rig.wheelbase.peak_torque";
        let problem = "above the wheelbase's peak torque";
        limits.report("torque", problem, at_most(rig.wheelbase.peak_torque_nm), fix);
    }
    let wheelbase = section.section("wheelbase");
    match (rig.wheelbase.sustained_torque_nm, rig.wheelbase.peak_time_s) {
        (Some(nm), _) if nm >= rig.wheelbase.peak_torque_nm => wheelbase.report(
            "sustained_torque",
            "not below the peak torque: what is held for good needs no limit then",
            Some(format!("below {}", show_nm(rig.wheelbase.peak_torque_nm))),
            "lower it, or leave it and peak_time out",
        ),
        (Some(_), None) => wheelbase.report(
            "sustained_torque",
            "without the time that the peak torque may be held",
            None,
            "add rig.wheelbase.peak_time, such as \"60 s\"",
        ),
        (None, Some(_)) => wheelbase.report(
            "peak_time",
            "without the torque that is held for good",
            None,
            "add rig.wheelbase.sustained_torque",
        ),
        _ => {}
    }
    if rig.limits.sensor_torque_nm > rig.torque_sensor.range_nm {
        let problem = "beyond the torque sensor's range, so the rig would never see it";
        limits.report(
            "sensor_torque",
            problem,
            at_most(rig.torque_sensor.range_nm),
            "lower it",
        );
    }
    if rig.limits.sensor_torque_nm < rig.limits.torque_nm {
        let allowed = Some(format!("{} or more", show_nm(rig.limits.torque_nm)));
        let fix = "raise it above rig.limits.torque (a clamped step rings to nearly twice its setpoint), \
                   or lower rig.limits.torque";
        limits.report(
            "sensor_torque",
            "below the greatest setpoint, so the rig would trip in use",
            allowed,
            fix,
        );
    }
    let mountings = section.section("mountings");
    for mounted in &rig.mountings {
        let own = mountings.section(mounted.mounting.word());
        mounted::contradictions(rig, mounted, rig.limits.torque_nm, &own);
    }
    if rig.torque_sensor.due <= rig.torque_sensor.calibrated {
        let allowed = Some(format!("after {}", rig.torque_sensor.calibrated));
        sensor.report(
            "due",
            "not after the day of the calibration",
            allowed,
            "correct one of the two dates",
        );
    }
    if rig.kind == Kind::Serial && rig.emergency_stop == EmergencyStop::None {
        let problem = "a rig that moves real parts without a hard-wired emergency stop";
        let fix =
            "wire a stop that cuts the motor's supply, then write \"hard-wired\"; software cannot replace it";
        section.report("emergency_stop", problem, Some("\"hard-wired\"".into()), fix);
    }
    if rig.kind == Kind::Serial && rig.link.port == "auto" {
        let fix = "write the port's path, such as \"/dev/ttyACM0\"";
        section
            .section("link")
            .report("port", "\"auto\" is for virtual rigs", None, fix);
    }
}
