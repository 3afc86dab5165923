//! Each way in which a file can be wrong, with what its message must say.

use settings_file::{Date, Findings, Frequency, Settings, Time, Torque, any, positive};

#[derive(Debug)]
struct Read {
    torque_nm: f64,
    stop: Option<u8>,
    window_s: [f64; 2],
    teeth: i64,
    due: Date,
    rates_hz: Vec<f64>,
    names: Vec<String>,
}

const GOOD: &str = r#"
[rig]
torque = "7 N·m"
stop = "brake"
window = ["-3 s", "200 ms"]
teeth = 18
due = 2026-03-01
rates = ["1 Hz", "2 kHz"]
[[rig.part]]
name = "belt"
[[rig.part]]
name = "pulley"
[virtual]
whatever = 3
"#;

fn read(text: &str) -> Result<Read, Findings> {
    let settings = Settings::parse("rigs/x.toml", text)?;
    let root = settings.root();
    root.leave_to_others("virtual");
    let rig = root.section("rig");
    let value = Read {
        torque_nm: rig.quantity::<Torque>("torque", 0.0..=7.0),
        stop: rig.choice("stop", &[("coast", 0), ("brake", 1)]),
        window_s: rig.pair::<Time>("window", any()),
        teeth: rig.integer("teeth", 1..=1000),
        due: rig.date("due"),
        rates_hz: rig.quantities::<Frequency>("rates", positive(), 1..=3),
        names: rig
            .sections("part", 1..=4)
            .iter()
            .map(|s| s.text("name"))
            .collect(),
    };
    settings.finish(value)
}

#[test]
#[allow(clippy::float_cmp)] // decimal values are read exactly
fn a_right_file_is_read() {
    let value = read(GOOD).unwrap();
    assert_eq!(value.torque_nm, 7.0);
    assert_eq!(value.stop, Some(1));
    assert_eq!(value.window_s, [-3.0, 0.2]);
    assert_eq!(value.teeth, 18);
    assert_eq!(
        value.due,
        Date {
            year: 2026,
            month: 3,
            day: 1
        }
    );
    assert_eq!(value.rates_hz, [1.0, 2000.0]);
    assert_eq!(value.names, ["belt", "pulley"]);
}

#[test]
fn each_mistake_has_its_message() {
    // (line as it stands in GOOD, what it is changed to, fragments of the one message expected)
    let table: &[(&str, &str, &[&str])] = &[
        (
            "torque = \"7 N·m\"",
            "torque = \"9 N·m\"",
            &["rigs/x.toml:3: rig.torque = \"9 N·m\": too great (allowed: 0 N·m to 7 N·m); lower it"],
        ),
        (
            "torque = \"7 N·m\"",
            "torque = \"-1 mN·m\"",
            &["x.toml:3:", "too small", "0 mN·m to 7000 mN·m", "raise it"],
        ),
        (
            "torque = \"7 N·m\"",
            "torque = 7",
            &[":3: rig.torque = 7: a bare number where a torque", "\"7 N·m\""],
        ),
        (
            "torque = \"7 N·m\"",
            "torque = \"7\"",
            &[":3:", "has no unit", "N·m, mN·m"],
        ),
        (
            "torque = \"7 N·m\"",
            "torque = \"7 ms\"",
            &["unit \"ms\" of a time", "N·m, mN·m"],
        ),
        (
            "torque = \"7 N·m\"",
            "torque = \"7 lbft\"",
            &["unknown unit \"lbft\"", "N·m, mN·m"],
        ),
        (
            "torque = \"7 N·m\"",
            "torque = \"7,5 N·m\"",
            &["comma", "decimal point"],
        ),
        (
            "torque = \"7 N·m\"",
            "torque = \"nan N·m\"",
            &["does not begin with a number"],
        ),
        (
            "torque = \"7 N·m\"",
            "torque = \"1e999 N·m\"",
            &["not a finite number"],
        ),
        (
            "torque = \"7 N·m\"",
            "torque = true",
            &["true or false where a torque is due"],
        ),
        (
            "torque = \"7 N·m\"",
            "",
            &[
                ":2: rig.torque: missing",
                "0 N·m to 7 N·m",
                "add `torque = \"7 N·m\"`",
            ],
        ),
        (
            "torque = \"7 N·m\"",
            "torque = \"7 N·m\"\nteath = 3",
            &[":4: rig.teath = 3: unknown key"],
        ),
        (
            "torque = \"7 N·m\"",
            "torque = \"7 N·m\"\ntorque = \"6 N·m\"",
            &[":4:", "duplicate key"],
        ),
        (
            "stop = \"brake\"",
            "stop = \"hold\"",
            &["not one of the words", "\"coast\", \"brake\""],
        ),
        (
            "window = [\"-3 s\", \"200 ms\"]",
            "window = [\"1 s\", \"1 s\"]",
            &["first value is not below the second"],
        ),
        (
            "window = [\"-3 s\", \"200 ms\"]",
            "window = [\"1 s\"]",
            &["a list of 1 elements", "2 to 2"],
        ),
        (
            "teeth = 18",
            "teeth = 18.0",
            &["a number where a whole number is due"],
        ),
        ("teeth = 18", "teeth = 99999999999999999999", &["too many digits"]),
        ("teeth = 18", "teeth = 0", &["too small", "1 to 1000"]),
        (
            "due = 2026-03-01",
            "due = \"2026-03-01\"",
            &["a text in quotes where a plain date is due"],
        ),
        (
            "due = 2026-03-01",
            "due = 2026-03-01T00:00:00Z",
            &["a plain date is due"],
        ),
        (
            "rates = [\"1 Hz\", \"2 kHz\"]",
            "rates = [\"1 Hz\", \"0 kHz\"]",
            &["rig.rates[2] = \"0 kHz\"", "above 0 kHz"],
        ),
        (
            "rates = [\"1 Hz\", \"2 kHz\"]",
            "rates = \"1 Hz\"",
            &["a text in quotes where a list is due"],
        ),
        (
            "name = \"pulley\"",
            "name = \"\"",
            &["rig.part[2].name", "an empty text"],
        ),
        (
            "name = \"pulley\"",
            "name = \"pulley\"\ncolor = 1",
            &["rig.part[2].color", "unknown key"],
        ),
        (
            "[virtual]",
            "[virtua1]",
            &["virtua1: unknown key", "did you mean `virtual`?"],
        ),
        ("[virtual]", "[virtual", &["not valid TOML"]),
    ];
    for (from, to, fragments) in table {
        assert_eq!(GOOD.matches(from).count(), 1, "{from}");
        let findings = read(&GOOD.replace(from, to))
            .err()
            .unwrap_or_else(|| panic!("accepted {to:?}"));
        let text = findings.to_string();
        assert_eq!(findings.len(), 1, "{to:?}: {text}");
        for fragment in *fragments {
            assert!(text.contains(fragment), "{to:?}: {text:?} lacks {fragment:?}");
        }
    }
}

#[test]
fn a_misspelt_key_is_missing_and_suggested() {
    let text = read(&GOOD.replace("torque =", "torqe ="))
        .unwrap_err()
        .to_string();
    assert!(
        text.contains("did you mean `torque`?") && text.contains("rig.torque: missing"),
        "{text}"
    );
}

#[test]
fn everything_is_reported_at_once_in_the_order_of_lines() {
    let text = GOOD
        .replace("7 N·m", "9 N·m")
        .replace("brake", "x")
        .replace("18", "0")
        .replace("belt", "");
    let lines: Vec<usize> = read(&text).unwrap_err().iter().map(|f| f.place.line).collect();
    assert_eq!(lines, [3, 4, 6, 10]);
}

#[test]
fn a_missing_table_is_one_finding() {
    let text = read("[virtual]").unwrap_err().to_string();
    assert_eq!(text, "rigs/x.toml:1: rig: missing table; add a table `[rig]`");
}

#[test]
fn a_table_of_the_wrong_kind_is_one_finding() {
    let findings = read("rig = 3").unwrap_err();
    assert_eq!(findings.len(), 1, "{findings}");
    assert!(
        findings
            .to_string()
            .contains("a whole number where a table is due")
    );
}

#[test]
fn a_file_too_large_is_refused() {
    let text = "#".repeat(settings_file::MAX_BYTES + 1);
    assert!(
        read(&text)
            .unwrap_err()
            .to_string()
            .contains("more than the 1048576 allowed")
    );
}

#[test]
fn what_is_missing_at_the_end_is_missing_in_the_last_line() {
    let text = read("[rig]\nstop = \"bra\n").unwrap_err().to_string();
    assert!(text.starts_with("rigs/x.toml:2: not valid TOML"), "{text}");
    let text = read("[rig]\nstop = \"\"\"bra\n").unwrap_err().to_string();
    assert!(text.starts_with("rigs/x.toml:2: not valid TOML"), "{text}");
    let text = read("[rig]\nteeth = [1,\n").unwrap_err().to_string();
    assert!(text.starts_with("rigs/x.toml:2: not valid TOML"), "{text}");
}
