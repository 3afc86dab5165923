//! The real program and a virtual rig in a process of its own, over a pseudo-terminal: signals, a killed bench, a
//! pulled plug. Times are generous here; how fast torque ends is tested in virtual time.

#![cfg(unix)]
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers of a test may fail it

use std::path::PathBuf;

use acceptance::safety::program::{Ended, Process, ServedRig, alone, run, wait_until_driven};
use acceptance::safety::scene::PROCEDURE;
use truerim::recording::{Completion, Recording};

const BELT: &str = include_str!("../../rigs/belt.toml");
/// Where faults go in the rig file.
const FAULTS: &str = "# Faults can be scripted, any number of them:";

/// A run that a stalled computer has ended by itself is tried again until it was tried this often.
const TRIES: usize = 5;

/// Plays in real time, again while `play` says that this computer stood still or was too slow for it, and how it ended.
fn in_time<T>(play: impl FnMut() -> Result<T, String>) -> T {
    let mut said = Vec::new();
    for tried in std::iter::repeat_with(play).take(TRIES) {
        match tried {
            Ok(played) => return played,
            Err(end) => said.push(end),
        }
    }
    panic!("not in time, {TRIES} times: {said:#?}");
}

/// Files for one test.
struct Files {
    _folder: tempfile::TempDir,
    rig: PathBuf,
    procedure: PathBuf,
    out: PathBuf,
    recording: PathBuf,
}

impl Files {
    fn new(rig: &str, procedure: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        let files = Self {
            rig: at("rig.toml"),
            procedure: at("procedure.toml"),
            out: at("out"),
            recording: at("out").join("recording.h5"),
            _folder: folder,
        };
        std::fs::write(&files.rig, rig).unwrap();
        std::fs::write(&files.procedure, procedure).unwrap();
        files
    }

    /// With a hold that is long enough to be interrupted.
    fn long() -> Self {
        Self::new(
            BELT,
            &PROCEDURE.replacen("hold = \"600 ms\"", "hold = \"25 s\"", 1),
        )
    }

    fn record(&self, port: Option<&str>) -> Process {
        let mut args = vec!["record", "--yes", "--quiet", "--rig"];
        args.push(self.rig.to_str().unwrap());
        args.extend([
            "--procedure",
            self.procedure.to_str().unwrap(),
            "--out",
            self.out.to_str().unwrap(),
        ]);
        if let Some(port) = port {
            args.extend(["--port", port]);
        }
        Process::start(args)
    }

    fn check(&self, port: &str) -> Ended {
        run([
            "check",
            "--yes",
            "--rig",
            self.rig.to_str().unwrap(),
            "--port",
            port,
        ])
    }

    /// Stop and watchdog still work at zero torque: the rig came to rest and is not armed.
    fn rig_is_well(&self, port: &str) {
        in_time(|| {
            let ended = self.check(port);
            (ended.code == Some(0)).then_some(()).ok_or(format!("{ended:?}"))
        });
    }

    fn verified(&self) {
        let ended = run(["verify", self.recording.to_str().unwrap()]);
        assert_eq!(ended.code, Some(0), "{ended:?}");
    }
}

/// Starts a recording over a port and waits until the motor is driven; again when this computer was too slow for it.
fn driven() -> (Files, ServedRig, Process) {
    in_time(|| {
        let files = Files::long();
        let rig = ServedRig::start(&files.rig);
        let mut bench = files.record(Some(&rig.port));
        if wait_until_driven(&mut bench, &files.recording) {
            Ok((files, rig, bench))
        } else {
            Err(bench.end().err)
        }
    })
}

/// What a recording says when this computer stood still for longer than the rig or the bench goes on without a word:
/// each trips by itself, as it should. No stop asked for from outside ends one with these.
const STOOD_STILL: [&str; 5] = [
    "tripped: rig-stopped (its watchdog)",
    "tripped: rig-stopped (a setpoint expired)",
    "tripped: watchdog",
    "tripped: deadline-missed",
    "tripped: stale-samples",
];

/// How a driven recording ends that is interrupted like this; again when it had tripped before it was, because this
/// computer stood still.
fn interrupted<K>(how: impl Fn(ServedRig, &Process) -> K) -> (Files, K, Ended) {
    in_time(|| {
        let (files, rig, bench) = driven();
        let kept = how(rig, &bench);
        let ended = bench.end();
        if STOOD_STILL.iter().any(|trip| ended.err.contains(trip)) {
            Err(ended.err)
        } else {
            Ok((files, kept, ended))
        }
    })
}

/// How a driven recording ends that is sent this signal.
fn signalled(name: &str) -> (Files, ServedRig, Ended) {
    interrupted(|rig, bench| {
        bench.signal(name);
        rig
    })
}

#[test]
fn control_c_stops_it_and_leaves_a_sealed_recording() {
    let _alone = alone();
    let (files, rig, ended) = signalled("INT");
    assert_eq!(ended.code, Some(4), "{ended:?}");
    assert!(ended.err.contains("stopped by the operator"), "{}", ended.err);
    assert!(!ended.err.contains("EMERGENCY STOP"), "{}", ended.err);
    files.verified();
    let recording = Recording::open(&files.recording).unwrap();
    assert!(
        matches!(recording.completion(), Some(Completion::Stopped { .. })),
        "{:?}",
        recording.completion()
    );
    files.rig_is_well(&rig.port);
}

#[test]
fn a_system_that_goes_down_stops_it() {
    let _alone = alone();
    let (files, rig, ended) = signalled("TERM");
    assert_eq!(ended.code, Some(8), "{ended:?}");
    assert!(
        ended.err.contains("the system ends this program"),
        "{}",
        ended.err
    );
    files.verified();
    files.rig_is_well(&rig.port);
}

#[test]
fn a_killed_bench_leaves_the_rig_to_its_watchdog_and_a_recording_that_can_be_recovered() {
    let _alone = alone();
    let (files, rig, bench) = driven();
    bench.signal("KILL");
    assert_eq!(bench.end().code, None);
    // The rig tripped by itself, and lets itself be cleared and armed again at zero torque.
    files.rig_is_well(&rig.port);
    assert!(Recording::open(&files.recording).unwrap().completion().is_none());
    let whole = files.out.join("whole.h5");
    let ended = run([
        "recover",
        files.recording.to_str().unwrap(),
        whole.to_str().unwrap(),
    ]);
    assert_eq!(ended.code, Some(0), "{ended:?}");
    assert_eq!(run(["verify", whole.to_str().unwrap()]).code, Some(0));
    assert!(Recording::open(&whole).unwrap().rows() > 4_000);
}

#[test]
fn a_pulled_plug_is_told_loudly() {
    let _alone = alone();
    let (files, (), ended) = interrupted(|rig, _bench| rig.kill());
    assert_eq!(ended.code, Some(6), "{ended:?}");
    assert!(ended.err.contains("the link to the rig is lost"), "{}", ended.err);
    assert!(
        ended.err.contains("PRESS THE EMERGENCY STOP NOW"),
        "{}",
        ended.err
    );
    files.verified();
}

#[test]
fn a_rig_that_ignores_stop_is_told_loudly() {
    let deaf = "[[virtual.faults]]\nkind = \"ignore-stop\"\nstart = \"1.6 s\"\n#";
    let files = Files::new(&BELT.replacen(FAULTS, deaf, 1), PROCEDURE);
    let ended = files.record(None).end();
    assert_eq!(ended.code, Some(5), "{ended:?}");
    assert!(
        ended.err.contains("ZERO TORQUE IS NOT CONFIRMED"),
        "{}",
        ended.err
    );
    assert!(
        ended.err.contains("PRESS THE EMERGENCY STOP NOW"),
        "{}",
        ended.err
    );
    files.verified();
    // With --quiet no less: it was quiet above. And it is said to programs too.
    let files = Files::new(&BELT.replacen(FAULTS, deaf, 1), PROCEDURE);
    let (rig, procedure, out) = (&files.rig, &files.procedure, &files.out);
    let ended = run([
        "record",
        "--json",
        "--yes",
        "--rig",
        rig.to_str().unwrap(),
        "--procedure",
        procedure.to_str().unwrap(),
        "--out",
        out.to_str().unwrap(),
    ]);
    let told: serde_json::Value = serde_json::from_str(&ended.out).unwrap();
    assert_eq!(told["zero_torque_confirmed"], false, "{told}");
    assert_eq!(told["exit_code"], 5, "{told}");
}

#[test]
fn a_trip_is_told_with_its_cause_and_what_to_do() {
    let slip = "[[virtual.faults]]\nkind = \"clamp-slip\"\nstart = \"1.6 s\"\nsize = \"0.1 N·m\"\n#";
    let files = Files::new(&BELT.replacen(FAULTS, slip, 1), PROCEDURE);
    let ended = files.record(None).end();
    assert_eq!(ended.code, Some(3), "{ended:?}");
    assert!(ended.err.contains("motion-unexplained"), "{}", ended.err);
    assert!(ended.err.contains("look for a slipped clamp"), "{}", ended.err);
    assert!(!ended.err.contains("EMERGENCY STOP"), "{}", ended.err);
    files.verified();
    let recording = Recording::open(&files.recording).unwrap();
    assert!(
        matches!(recording.completion(), Some(Completion::Tripped { .. })),
        "{:?}",
        recording.completion()
    );
}

#[test]
fn nothing_is_armed_without_a_word() {
    let files = Files::new(BELT, PROCEDURE);
    let (rig, procedure, out) = (&files.rig, &files.procedure, &files.out);
    let ended = run([
        "record",
        "--rig",
        rig.to_str().unwrap(),
        "--procedure",
        procedure.to_str().unwrap(),
        "--out",
        out.to_str().unwrap(),
    ]);
    assert_eq!(ended.code, Some(5), "{ended:?}");
    assert!(ended.err.contains("nothing was armed"), "{}", ended.err);
    assert!(!files.recording.exists());
}
