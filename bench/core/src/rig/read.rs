//! From the `[rig]` table of a rig file to a [`Rig`].

use alloc::{borrow::ToOwned, format};
use rig_link::StopMode;
use settings_file::{
    Angle, Findings, Ratio, Section, Settings, Slew, Speed, Stiffness, Temperature, Time, Torque,
    write_number,
};

use super::{EmergencyStop, Fixture, Kind, Limits, Link, Mounting, Rig, TorqueSensor, Wheelbase, WindowFrom};
use crate::units::{show_nm, us_from_s};

/// Highest torque that this bench is meant for, N·m.
const MOST_TORQUE_NM: f64 = 60.0;
/// Highest rate of torque, N·m/s; beyond it a limit limits nothing.
const MOST_SLEW_NM_PER_S: f64 = 1e5;
/// Widest rim window with a clamped rim, rad (20°); a clamped rim that moves further has come loose.
const WIDEST_CLAMPED_RAD: f64 = 0.35;

impl Rig {
    /// Reads the `[rig]` table of a rig file. The `[virtual]` table is left to the virtual rig; any other top-level
    /// key is a finding.
    ///
    /// # Errors
    /// Everything that is wrong with the table, each with its line: syntax, missing and unknown keys, values out of
    /// range, and values that contradict each other.
    pub fn from_toml(file: &str, text: &str) -> Result<Self, Findings> {
        let settings = Settings::parse(file, text)?;
        let root = settings.root();
        root.leave_to_others("virtual");
        let rig = root.section("rig");
        let value = Self {
            file: file.to_owned(),
            name: rig.text("name"),
            kind: rig.choice("kind", Kind::WORDS).unwrap_or(Kind::Virtual),
            mounting: rig
                .choice("mounting", Mounting::WORDS)
                .unwrap_or(Mounting::Clamped),
            emergency_stop: rig
                .choice("emergency_stop", EmergencyStop::WORDS)
                .unwrap_or(EmergencyStop::None),
            wheelbase: wheelbase(&rig.section("wheelbase")),
            torque_sensor: torque_sensor(&rig.section("torque_sensor")),
            fixture: fixture(&rig.section("fixture")),
            limits: limits(&rig.section("limits")),
            link: link(&rig.section("link")),
        };
        // A contradiction with a placeholder would only confuse.
        if !settings.has_findings() {
            contradictions(&value, &rig);
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
    }
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
        gain_uncertainty: s.quantity::<Ratio>("gain_uncertainty", 0.0..=0.1),
        zero_uncertainty_nm: s.quantity::<Torque>("zero_uncertainty", 0.0..=5.0),
        delay_uncertainty_s: s.quantity::<Time>("delay_uncertainty", 0.0..=0.01),
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
        rim_speed_rad_s: s.quantity::<Speed>("rim_speed", 0.1..=60.0),
        rim_window_rad: s.pair::<Angle>("rim_window", -60.0..=60.0),
        rim_window_from: s.choice_or("rim_window_from", WindowFrom::WORDS, WindowFrom::Arming),
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
    let limits = section.section("limits");
    let sensor = section.section("torque_sensor");
    let at_most = |nm: f64| Some(format!("at most {}", show_nm(nm)));
    if rig.limits.torque_nm > rig.wheelbase.peak_torque_nm {
        let fix = "lower it, or correct rig.wheelbase.peak_torque";
        let problem = "above the wheelbase's peak torque";
        limits.report("torque", problem, at_most(rig.wheelbase.peak_torque_nm), fix);
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
    window(rig, &limits);
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

/// The rim window has to hold the rim's place, and what the rig gives by itself.
fn window(rig: &Rig, limits: &Section<'_>) {
    let [low, high] = rig.limits.rim_window_rad;
    let degrees = |rad: f64| write_number(rad.to_degrees());
    if rig.limits.rim_window_from == WindowFrom::Arming && (low >= 0.0 || high <= 0.0) {
        let fix = "the window is counted from the rim's place at arming, so it must span 0";
        limits.report(
            "rim_window",
            "does not hold the angle it is counted from",
            None,
            fix,
        );
        return;
    }
    if rig.mounting != Mounting::Clamped {
        return;
    }
    if high - low > 2.0 * WIDEST_CLAMPED_RAD {
        let allowed = Some(format!(
            "at most {} deg from end to end",
            degrees(2.0 * WIDEST_CLAMPED_RAD)
        ));
        limits.report(
            "rim_window",
            "too wide for a clamped rim",
            allowed,
            "narrow it; it is there to catch a slip",
        );
    }
    let give_rad = rig.limits.sensor_torque_nm / rig.stiffness_nm_per_rad();
    if rig.limits.rim_window_from == WindowFrom::Arming && give_rad >= high.min(-low) {
        let problem = format!(
            "narrower than the {} deg that sensor and fixture give at {}",
            degrees(give_rad),
            show_nm(rig.limits.sensor_torque_nm)
        );
        limits.report(
            "rim_window",
            problem,
            None,
            "widen it, or lower rig.limits.sensor_torque",
        );
    }
}
