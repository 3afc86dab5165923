//! `truerim check --limits`: every limit with its derivation, without touching a port.

#![allow(clippy::unwrap_used)] // helpers of a test may fail it

use acceptance::recovery::root;
use acceptance::safety::program::run;
use bench_core::interlock::Condition;

/// A port that is not there: opening it would fail.
const NO_PORT: &str = "/nowhere/port";

fn arguments(more: &[&str], procedure: &str) -> Vec<String> {
    let rig = root().join("rigs/belt.toml");
    let mut all = vec![
        "check".to_owned(),
        "--limits".to_owned(),
        "--port".to_owned(),
        NO_PORT.to_owned(),
    ];
    all.extend(["--rig".to_owned(), rig.display().to_string()]);
    all.extend(["--procedure".to_owned(), procedure.to_owned()]);
    all.extend(more.iter().map(|word| (*word).to_owned()));
    all
}

fn limits(more: &[&str], procedure: &str) -> acceptance::safety::program::Ended {
    let all = arguments(more, procedure);
    run(all.iter().map(String::as_str).collect::<Vec<_>>())
}

#[test]
fn every_limit_is_printed_as_text_and_as_json() {
    let quick = root().join("procedures/quick.toml").display().to_string();
    let text = limits(&[], &quick);
    assert_eq!(text.code, Some(0), "{text:?}");
    let json = limits(&["--json"], &quick);
    assert_eq!(json.code, Some(0), "{json:?}");
    let json: serde_json::Value = serde_json::from_str(&json.out).unwrap();
    let rows = json["limits"].as_array().unwrap();
    for condition in Condition::ALL {
        assert!(text.out.contains(condition.name()), "{}", condition.name());
        assert!(
            rows.iter().any(|row| row["name"] == condition.name()),
            "{}",
            condition.name()
        );
    }
    // 41.5 % of 7 N·m, exactly what the plan's chirp reaches.
    let setpoint = rows.iter().find(|row| row["name"] == "setpoint").unwrap();
    assert_eq!(setpoint["limit"], "2.905 N·m");
    assert!(setpoint["derivation"].as_str().unwrap().contains("7 N·m"));
}

#[test]
fn a_procedure_wider_than_the_rig_is_refused_with_its_line() {
    let quick = std::fs::read_to_string(root().join("procedures/quick.toml")).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("wide.toml");
    let wide = quick.replacen("[approach]", "[limits]\nrim_speed = \"6 rad/s\"\n[approach]", 1);
    std::fs::write(&file, wide).unwrap();
    let ended = limits(&[], file.to_str().unwrap());
    assert_eq!(ended.code, Some(1), "{ended:?}");
    assert!(
        ended.err.contains("limits.rim_speed = \"6 rad/s\""),
        "{}",
        ended.err
    );
    assert!(ended.err.contains("wider"), "{}", ended.err);
}
