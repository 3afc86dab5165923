//! Who pushes and who measures: what the tables give, and what must be said of a mistake.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of a test may fail it

use crate::common::RIG;
use bench_core::rig::{Drive, Rig, Sense};

const LINES: &str = r#"
[rig.sense]
kind = "lines"
port = "/dev/ttyUSB0"
baud = 115200
pattern = "{torque} N·m"
unit = "mN·m"
scale = -2.5
rate = "1 kHz"
delay = "1.5 ms"
way = "1 ms"
time_bound = "2 ms"
"#;
const SCPI: &str = r#"
[rig.sense]
kind = "scpi"
port = "usb:1209:0001"
baud = 9600
query = "READ?"
unit = "N·m"
rate = "200 Hz"
delay = "0 s"
time_bound = "2 ms"
"#;
const FORCE: &str = r#"
[rig.drive]
kind = "force-feedback"
device = "/dev/input/event9"
full_scale = "-8 N·m"
update_period = "1 ms"
time_bound = "1 ms"
"#;

fn read(tables: &[&str]) -> Result<Rig, String> {
    let text = format!("{RIG}\n{}", tables.concat());
    Rig::from_toml("r.toml", &text).map_err(|findings| findings.to_string())
}

#[test]
fn left_out_the_rig_controller_does_both() {
    let rig = read(&[]).unwrap();
    assert_eq!((rig.drive.word(), rig.sense.word()), ("rig", "rig"));
    let named = read(&["[rig.drive]\nkind = \"rig\"\n[rig.sense]\nkind = \"rig\"\n"]).unwrap();
    assert_eq!((named.drive, named.sense), (Drive::Rig, Sense::Rig));
}

#[test]
fn each_role_is_read_by_itself_and_both_together() {
    let rig = read(&[LINES, FORCE]).unwrap();
    let Sense::Lines(port, lines) = &rig.sense else {
        panic!("{:?}", rig.sense);
    };
    assert_eq!((port.baud, port.time_bound_s), (115_200, 2e-3));
    // One is −2.5 mN·m.
    assert!((lines.scale.torque_nm(4.0).unwrap() + 0.01).abs() < 1e-15);
    assert_eq!(rig.sense.declared(), Some((1_000.0, 1.5e-3)));
    let Drive::ForceFeedback(force) = &rig.drive else {
        panic!("{:?}", rig.drive);
    };
    assert_eq!(
        (force.full_scale_nm, force.gain, force.expiry_s),
        (-8.0, 1.0, 0.1)
    );
    assert!(matches!(read(&[SCPI]).unwrap().sense, Sense::Scpi(..)));
}

#[test]
fn mistakes_are_named() {
    let rows: &[(&str, &str, &str, &[&str])] = &[
        (LINES, "\"lines\"", "\"line\"", &["rig.sense.kind", "\"lines\""]),
        (
            LINES,
            "{torque}",
            "{force}",
            &["rig.sense.pattern", "neither {torque} nor {*}"],
        ),
        (LINES, "\"mN·m\"", "\"kg\"", &["rig.sense.unit", "N·m, mN·m"]),
        (LINES, "1 kHz", "50 Hz", &["rig.sense.rate", "100"]),
        (LINES, "1.5 ms", "19 ms", &["rig.sense.delay", "within 20 ms"]),
        (SCPI, "READ?", "READ", &["rig.sense.query", "question mark"]),
        (
            FORCE,
            "-8 N·m",
            "2 N·m",
            &["rig.drive.full_scale", "rig.limits.torque"],
        ),
        (
            FORCE,
            "time_bound",
            "axis = \"900 deg\"\ntime_bound",
            &["rig.drive.axis", "rig controller measures"],
        ),
    ];
    for (table, from, to, said) in rows {
        let text = table.replacen(from, to, 1);
        assert_ne!(&text, table, "{from}");
        let error = read(&[&text]).unwrap_err();
        for word in *said {
            assert!(error.contains(word), "{to}: {error}");
        }
    }
}

#[test]
fn without_a_rig_controller_both_must_be_others() {
    let none = |tables: &[&str]| {
        let text = format!("{}\n{}", RIG.replace("/dev/ttyACM0", "none"), tables.concat());
        Rig::from_toml("r.toml", &text).map_err(|findings| findings.to_string())
    };
    let with_axis = FORCE.replace("time_bound", "axis = \"900 deg\"\ntime_bound");
    assert!(none(&[&with_axis, LINES]).is_ok());
    assert!(none(&[LINES]).unwrap_err().contains("rig.link.port"));
    assert!(none(&[&with_axis]).unwrap_err().contains("rig.link.port"));
    assert!(none(&[FORCE, LINES]).unwrap_err().contains("rig.drive.axis"));
}
