//! Rig files with one mistake each, and what must be said of it.

mod common;

use bench_core::rig::Rig;
use common::{RIG, Row, run};

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
                "r.toml:28: rig.limits.torque = \"7.5 N·m\"",
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
