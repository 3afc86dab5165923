//! Faults scripted on the command line: they act, they are told, they stand in the recording; what is no fault is refused
//! before anything moves. A few seconds, one of them over a pseudo-terminal.

#![cfg(unix)]
#![allow(clippy::unwrap_used)] // helpers of a test may fail it

use std::path::{Path, PathBuf};

use acceptance::recovery::root;
use acceptance::safety::program::{Ended, ServedRig, alone, run};
use acceptance::safety::scene::PROCEDURE;
use truerim::recording::{Completion, Header, Recording};

fn belt() -> PathBuf {
    root().join("rigs/belt.toml")
}

/// Records the short procedure with further arguments.
fn record(folder: &Path, rig: &Path, further: &[&str]) -> Ended {
    let procedure = folder.join("procedure.toml");
    std::fs::write(&procedure, PROCEDURE).unwrap();
    let out = folder.join("out");
    let mut args = vec!["record", "--yes", "--rig", rig.to_str().unwrap(), "--procedure"];
    args.extend([procedure.to_str().unwrap(), "--out", out.to_str().unwrap()]);
    args.extend(further);
    run(args)
}

fn recorded(folder: &Path) -> (Header, Completion) {
    let recording = Recording::open(&folder.join("out/recording.h5")).unwrap();
    (
        recording.header().clone(),
        recording.completion().unwrap().clone(),
    )
}

/// Value of an extra row.
fn extra<'h>(header: &'h Header, name: &str) -> Option<&'h str> {
    let found = header.extra.iter().find(|(key, _)| key == name);
    found.map(|(_, value)| value.as_str())
}

#[test]
fn a_scripted_fault_acts_and_stands_in_the_recording() {
    let folder = tempfile::tempdir().unwrap();
    let faults = [
        "--fault",
        "clamp-slip at 1.6 s size 100 mN·m",
        "--fault",
        "belt-slips at 100 s",
    ];
    let ended = record(folder.path(), &belt(), &faults);
    assert_eq!(ended.code, Some(3), "{ended:?}");
    let script = "clamp-slip at 1.6 s size 0.1 N·m; belt-slips at 100 s size 2.5 deg";
    assert!(
        ended.err.contains(&format!("Faults scripted: {script}.")),
        "{}",
        ended.err
    );
    let (header, completion) = recorded(folder.path());
    assert!(matches!(completion, Completion::Tripped { .. }), "{completion:?}");
    assert_eq!(header.faults, script);
    assert_eq!(extra(&header, "faults"), Some(script));
    assert_eq!(extra(&header, "rig_controller_firmware"), Some("faults, 1.0.0"));
}

#[test]
fn a_sound_run_says_nothing_of_faults() {
    let folder = tempfile::tempdir().unwrap();
    let ended = record(folder.path(), &belt(), &[]);
    assert_eq!(ended.code, Some(0), "{ended:?}");
    assert!(!ended.err.contains("fault"), "{}", ended.err);
    let (header, _) = recorded(folder.path());
    assert_eq!((header.faults.as_str(), extra(&header, "faults")), ("", None));
    assert_eq!(extra(&header, "rig_controller_firmware"), Some("1.0.0"));
}

/// A rig on a port has its script elsewhere; its controller says so.
#[test]
fn a_served_rig_admits_its_script() {
    let _alone = alone();
    let folder = tempfile::tempdir().unwrap();
    let rig = folder.path().join("rig.toml");
    let text = std::fs::read_to_string(belt()).unwrap();
    std::fs::write(
        &rig,
        format!("{text}\n[[virtual.faults]]\nkind = \"reboot\"\nstart = \"3600 s\"\n"),
    )
    .unwrap();
    let served = ServedRig::start(&rig);
    let ended = record(folder.path(), &belt(), &["--port", &served.port]);
    let (header, _) = recorded(folder.path());
    assert_eq!(
        header.faults, "scripted at the rig, by its own account",
        "{ended:?}"
    );
}

#[test]
fn what_is_no_fault_is_refused_before_anything_moves() {
    for (further, parts) in [
        (
            vec!["--fault", "clamp at 2 s"],
            &["--fault \"clamp at 2 s\"", "clamp-slip"][..],
        ),
        (
            vec!["--fault", "clamp-slip at 2 s size 500 N·m"],
            &["500 N·m", "0 to 100 N·m"],
        ),
        (
            vec!["--fault", "reboot at 1 s", "--port", "/dev/null"],
            &["truerim virtual"],
        ),
    ] {
        let folder = tempfile::tempdir().unwrap();
        let ended = record(folder.path(), &belt(), &further);
        assert_eq!(ended.code, Some(2), "{ended:?}");
        for part in parts {
            assert!(ended.err.contains(part), "{part}: {}", ended.err);
        }
        assert!(!folder.path().join("out").exists());
    }
    let rig = belt();
    let ended = run(["virtual", "--rig", rig.to_str().unwrap(), "--fault", "reboot"]);
    assert_eq!(ended.code, Some(2));
    assert!(ended.err.contains("does not say when"), "{}", ended.err);
}
