//! Rig files with one mistake each, and what must be said of it.

use crate::common::{RIG, Row, run};
use bench_core::rig::{FarSide, Mounting, Rig, WindowFrom};

#[test]
fn rigs() {
    let rows: &[Row] = &[
        (
            "kind = \"serial\"",
            "kind = \"usb\"",
            &["r.toml:3: rig.kind = \"usb\"", "\"virtual\", \"serial\""],
        ),
        (
            "\"clamped\"",
            "\"tied\"",
            &["rig.mounting", "\"clamped\", \"free\", \"back-driven\""],
        ),
        (
            "\"hard-wired\"",
            "\"none\"",
            &[
                "r.toml:5: rig.emergency_stop",
                "hard-wired emergency stop",
                "wire a stop",
            ],
        ),
        (
            "\"/dev/ttyACM0\"",
            "\"auto\"",
            &["rig.link.port", "for virtual rigs", "/dev/ttyACM0"],
        ),
        (
            "baud = 2000000",
            "baud = 300",
            &["rig.link.baud = 300: too small", "9600 to 12000000"],
        ),
        (
            "torque = \"6 N·m\"",
            "torque = \"7.5 N·m\"",
            &[
                "r.toml:44: rig.limits.torque = \"7.5 N·m\"",
                "peak torque",
                "at most 7 N·m",
                "lower it",
            ],
        ),
        (
            "torque = \"6 N·m\"",
            "torque = \"6\"",
            &["rig.limits.torque", "has no unit"],
        ),
        (
            "torque = \"6 N·m\"",
            "torque = 6.0",
            &["a bare number where a torque with its unit is due"],
        ),
        (
            "sensor_torque = \"15 N·m\"",
            "sensor_torque = \"25 N·m\"",
            &[
                "rig.limits.sensor_torque",
                "beyond the torque sensor's range",
                "at most 20 N·m",
            ],
        ),
        (
            "sensor_torque = \"15 N·m\"",
            "sensor_torque = \"5 N·m\"",
            &["below the greatest setpoint", "6 N·m or more"],
        ),
        (
            "slew = \"10 N·m/ms\"",
            "slew = \"5 N·m/s\"",
            &["rig.limits.slew", "too small", "10 N·m/s to 100000 N·m/s"],
        ),
        (
            "watchdog = \"20 ms\"",
            "watchdog = \"3 ms\"",
            &["rig.limits.watchdog", "too small", "5 ms to 100 ms"],
        ),
        (
            "watchdog = \"20 ms\"",
            "watchdog = \"0.2 s\"",
            &["too great", "0.005 s to 0.1 s"],
        ),
        (
            "temperature = \"80 °C\"",
            "temperature = \"300 °C\"",
            &["rig.limits.temperature", "30 °C to 150 °C"],
        ),
        (
            "[\"-3 deg\", \"3 deg\"]",
            "[\"3 deg\", \"-3 deg\"]",
            &["first value is not below the second"],
        ),
        (
            "[\"-3 deg\", \"3 deg\"]",
            "[\"1 deg\", \"3 deg\"]",
            &["does not hold the angle it is counted from"],
        ),
        (
            "[\"-3 deg\", \"3 deg\"]",
            "[\"-90 deg\", \"90 deg\"]",
            &["too wide for a clamped rim", "end to end"],
        ),
        // 15 N·m on 4000 and 20000 N·m/rad in series: 15/3333.3 rad = 0.257831 deg.
        (
            "[\"-3 deg\", \"3 deg\"]",
            "[\"-3 deg\", \"0.2 deg\"]",
            &["narrower than the 0.257831 deg", "15 N·m"],
        ),
        (
            "[rig.mountings.clamped]\nrim_speed = \"5 rad/s\"\nrim_window = [\"-3 deg\", \"3 deg\"]\n",
            "",
            &[
                "rig.mountings.clamped: the mounting in force is not described",
                "(allowed: free, back-driven)",
                "add [rig.mountings.clamped]",
            ],
        ),
        (
            "[rig.mountings.clamped]\nrim_speed = \"5 rad/s\"\n",
            "[rig.mountings.clamped]\n",
            &["rig.mountings.clamped.rim_speed: missing"],
        ),
        (
            "[rig.mountings.free]",
            "[rig.mountings.loose]",
            &["rig.mountings.loose", "unknown key"],
        ),
        (
            "torque = \"2 N·m\"",
            "torque = \"6.5 N·m\"",
            &[
                "rig.mountings.free.torque = \"6.5 N·m\"",
                "wider than rig.limits.torque",
                "at most 6 N·m",
            ],
        ),
        (
            "disc_uncertainty = \"5e-5 kg·m²\"",
            "disc_uncertainty = \"6e-3 kg·m²\"",
            &["rig.mountings.free.disc_uncertainty", "as good as unknown"],
        ),
        (
            "disc = \"0.011 kg·m²\"\n",
            "",
            &["rig.mountings.free.disc: missing"],
        ),
        (
            "drive_speed = \"1.2 rad/s\"",
            "drive_speed = \"3.5 rad/s\"",
            &[
                "rig.mountings.back-driven.drive_speed",
                "would trip in use",
                "below 3.5 rad/s",
            ],
        ),
        (
            "drive_acceleration = \"20 rad/s²\"\n",
            "",
            &["rig.mountings.back-driven.drive_acceleration: missing"],
        ),
        (
            "[\"-270 deg\", \"260 deg\"]",
            "[\"10 deg\", \"260 deg\"]",
            &[
                "rig.mountings.free.rim_window",
                "does not hold the angle it is counted from",
            ],
        ),
        (
            "supply = [\"18 V\", \"30 V\"]",
            "supply = [\"30 V\", \"18 V\"]",
            &["rig.limits.supply", "first value is not below the second"],
        ),
        (
            "rim_acceleration = \"4000 rad/s²\"",
            "rim_acceleration = \"0.5 rad/s²\"",
            &["rig.limits.rim_acceleration", "too small"],
        ),
        (
            "lost_motion = \"2 deg\"",
            "lost_motion = \"40 deg\"",
            &["rig.wheelbase.lost_motion", "too great"],
        ),
        (
            "stop = \"brake\"",
            "stop = \"hold\"",
            &["rig.limits.stop", "\"coast\", \"brake\""],
        ),
        (
            "due = 2027-01-02",
            "due = 2026-01-02",
            &["rig.torque_sensor.due", "after 2026-01-02"],
        ),
        (
            "gain_uncertainty = \"0.1 %\"",
            "gain_uncertainty = \"5 mN·m\"",
            &["unit \"mN·m\" of a torque", "1, %"],
        ),
        (
            "firmware = \"1\"\n",
            "",
            &["r.toml:6: rig.wheelbase.firmware: missing"],
        ),
        (
            "[rig.link]",
            "[virtual]\n[rig.link]",
            &["virtual", "a serial rig has no simulated plant"],
        ),
        (
            "[rig.link]",
            "[procedure]\n[rig.link]",
            &["procedure: unknown key", "rig"],
        ),
    ];
    run(RIG, rows, |text| Rig::from_toml("r.toml", text).map(|_| ()));
}

#[test]
fn a_watchdog_missing_is_said_once_beside_its_misspelling() {
    let text = RIG.replace("watchdog", "guard");
    let findings = Rig::from_toml("r.toml", &text)
        .map(|_| ())
        .err()
        .map(|f| f.to_string())
        .unwrap_or_default();
    assert!(
        findings.contains("rig.limits.guard = \"20 ms\": unknown key"),
        "{findings}"
    );
    assert!(
        findings
            .contains("rig.limits.watchdog: missing (allowed: 0.005 s to 0.1 s); add `watchdog = \"5 ms\"`"),
        "{findings}"
    );
}

#[test]
fn the_mounting_in_force_brings_its_limits() {
    let rig =
        |mounting| Rig::mounted("r.toml", RIG, mounting).unwrap_or_else(|findings| panic!("{findings}"));
    let clamped = rig(None);
    assert_eq!(clamped, rig(Some(Mounting::Clamped)));
    assert_eq!(
        (clamped.limits.torque_nm, clamped.limits.rim_speed_rad_s),
        (6.0, 5.0)
    );
    assert_eq!(clamped.far_side, FarSide::Ground);
    let free = rig(Some(Mounting::Free));
    assert_eq!(
        (free.mounting, free.mounting_in_file),
        (Mounting::Free, Mounting::Clamped)
    );
    assert_eq!((free.limits.torque_nm, free.limits.rim_speed_rad_s), (2.0, 10.0));
    assert_eq!(
        free.limits
            .rim_window_rad
            .map(|rad| rad.to_degrees().round() as i64),
        [-270, 260]
    );
    let disc = FarSide::Disc {
        inertia_kg_m2: 0.011,
        uncertainty_kg_m2: 5e-5,
    };
    assert_eq!(free.far_side, disc);
    let driven = rig(Some(Mounting::BackDriven));
    assert_eq!(
        (driven.limits.torque_nm, driven.limits.rim_speed_rad_s),
        (6.0, 3.5)
    );
    assert_eq!(driven.limits.rim_window_from, WindowFrom::Zero);
    let drive = FarSide::Drive {
        speed_rad_s: 1.2,
        acceleration_rad_s2: 20.0,
    };
    assert_eq!(driven.far_side, drive);
    for rig in [clamped, free, driven] {
        assert_eq!(rig.mountings.len(), 3);
        assert_eq!(
            (rig.limits.supply_v, rig.limits.rim_acceleration_rad_s2),
            ([18.0, 30.0], Some(4000.0))
        );
    }
}

#[test]
fn a_mounting_that_is_not_described_can_not_be_asked_for() {
    let start = RIG.find("[rig.mountings.free]").unwrap_or_default();
    let end = RIG.find("[rig.mountings.back-driven]").unwrap_or_default();
    let text = format!("{}{}", &RIG[..start], &RIG[end..]);
    assert!(Rig::from_toml("r.toml", &text).is_ok());
    let findings = Rig::mounted("r.toml", &text, Some(Mounting::Free))
        .map(|_| ())
        .err();
    let findings = findings.map(|f| f.to_string()).unwrap_or_default();
    assert!(
        findings.contains("rig.mountings.free: the mounting in force is not described"),
        "{findings}"
    );
    assert!(findings.contains("clamped, back-driven"), "{findings}");
}

/// A drivetrain of gears and a belt, whose teeth give 20.
const DRIVETRAIN: &str = "lost_motion = \"2 deg\"\nratio = 20\n[rig.drivetrain]\npoles = 2\nslots = 5\n\
     [[rig.drivetrain.stage]]\nkind = \"gears\"\ndriving = 14\ndriven = 70\n\
     [[rig.drivetrain.stage]]\nkind = \"belt\"\ndriving = 18\ndriven = 72\nbelt = 110\n";

#[test]
fn drivetrains() {
    let text = RIG.replace("lost_motion = \"2 deg\"\n", DRIVETRAIN);
    let rig = Rig::from_toml("r.toml", &text).unwrap_or_else(|e| unreachable!("{e}"));
    let drivetrain = rig.drivetrain.unwrap_or_else(|| unreachable!());
    // 70/14 times 72/18.
    assert!((drivetrain.ratio() - 20.0).abs() < 1e-12 && drivetrain.stages.len() == 2);
    let rows: &[Row] = &[
        (
            "ratio = 20",
            "ratio = 21",
            &[
                "rig.wheelbase.ratio = 21",
                "the stages of rig.drivetrain give 20",
                "correct one",
            ],
        ),
        (
            "poles = 2",
            "poles = 3",
            &["rig.drivetrain.poles = 3", "in pairs"],
        ),
        (
            "\"gears\"",
            "\"chain\"",
            &["rig.drivetrain.stage[1].kind", "\"gears\", \"belt\""],
        ),
        ("belt = 110\n", "", &["rig.drivetrain.stage[2].belt", "missing"]),
        (
            "driven = 70",
            "driven = 0",
            &["rig.drivetrain.stage[1].driven = 0: too small"],
        ),
    ];
    run(&text, rows, |text| Rig::from_toml("r.toml", text).map(|_| ()));
}

/// A plucked span of the belt: its values come through, and each mistake is told with key, value, range and fix.
#[test]
fn spans() {
    const SPAN: &str = "[rig.drivetrain.span]\nfrequency = \"246 Hz\"\nfrequency_uncertainty = \"2 Hz\"\nlength = \"120 mm\"\n\
         length_uncertainty = \"0.5 mm\"\nmass_per_length = \"40 g/m\"\nmass_per_length_uncertainty = \"0.5 g/m\"\n";
    let text = RIG.replace("lost_motion = \"2 deg\"\n", &format!("{DRIVETRAIN}{SPAN}"));
    let rig = Rig::from_toml("r.toml", &text).unwrap_or_else(|e| unreachable!("{e}"));
    let span = rig
        .drivetrain
        .and_then(|d| d.span)
        .unwrap_or_else(|| unreachable!());
    assert!((span.mass_kg_per_m[0] - 0.04).abs() < 1e-15 && (span.length_m[1] - 5e-4).abs() < 1e-15);
    let rows: &[Row] = &[
        (
            "\"246 Hz\"",
            "\"0 Hz\"",
            &[
                "rig.drivetrain.span.frequency = \"0 Hz\"",
                "too small",
                "5 Hz to 5000 Hz",
                "raise it",
            ],
        ),
        (
            "\"120 mm\"",
            "\"120 m\"",
            &[
                "rig.drivetrain.span.length = \"120 m\"",
                "too great",
                "0.01 m to 2 m",
            ],
        ),
        (
            "\"40 g/m\"",
            "\"40 g\"",
            &[
                "rig.drivetrain.span.mass_per_length",
                "unit \"g\" of a mass",
                "kg/m",
            ],
        ),
        (
            "\"0.5 g/m\"",
            "\"9 g/m\"",
            &[
                "rig.drivetrain.span.mass_per_length_uncertainty",
                "as good as unknown",
                "at most 20 %",
                "measure it again",
            ],
        ),
        (
            "length_uncertainty = \"0.5 mm\"\n",
            "",
            &["rig.drivetrain.span.length_uncertainty", "missing"],
        ),
        (
            "kind = \"belt\"\ndriving = 18\ndriven = 72\nbelt = 110\n",
            "kind = \"gears\"\ndriving = 18\ndriven = 72\n",
            &["rig.drivetrain.span", "no stage is one", "kind = \"belt\""],
        ),
    ];
    run(&text, rows, |text| Rig::from_toml("r.toml", text).map(|_| ()));
}

/// The window on the way to end stops is the wider one.
#[test]
fn travel_windows() {
    let window = "rim_window = [\"-270 deg\", \"260 deg\"]\n";
    let text = RIG.replace(
        window,
        &format!("{window}travel_window = [\"-500 deg\", \"500 deg\"]\n"),
    );
    let rows: &[Row] = &[
        (
            "[\"-500 deg\", \"500 deg\"]",
            "[\"-500 deg\", \"250 deg\"]",
            &[
                "rig.mountings.free.travel_window",
                "narrower than rim_window",
                "to 260 deg or more",
                "widen it",
            ],
        ),
        (
            "[\"-500 deg\", \"500 deg\"]",
            "[\"-500 deg\", \"5000 deg\"]",
            &["rig.mountings.free.travel_window", "too great"],
        ),
    ];
    run(&text, rows, |text| Rig::from_toml("r.toml", text).map(|_| ()));
}
