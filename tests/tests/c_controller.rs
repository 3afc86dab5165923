//! The controller skeleton in C on a pseudo-terminal, with the real program on the other side: check, a short
//! measurement, and a line that is pulled while the motor pushes. Time is the computer's, so what is asserted is what
//! happened, and the controller's own ticks; never how long this computer took.

#![cfg(unix)]
#![allow(clippy::unwrap_used, clippy::panic)] // helpers of a test may fail it

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::sync::OnceLock;

use acceptance::program::under_test;
use acceptance::recovery::root;

/// The control step of the program, µs.
const STEP_US: i64 = 250;

/// Compiled with every warning an error, and with the sanitizers, which end it at the first fault.
fn controller() -> &'static PathBuf {
    static PROGRAM: OnceLock<PathBuf> = OnceLock::new();
    PROGRAM.get_or_init(|| {
        let folder = root().join("rigs/link/c");
        let program = Path::new(env!("CARGO_TARGET_TMPDIR")).join("controller-pty");
        let files = [
            "controller.c",
            "controller_line.c",
            "controller_messages.c",
            "controller_play.c",
            "controller_pty.c",
            "link_frame.c",
            "link_message.c",
        ];
        let compiler = std::env::var("CC").unwrap_or_else(|_| "cc".to_owned());
        let output = Command::new(&compiler)
            .args(["-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic", "-Wconversion", "-O1", "-g"])
            .args(["-fsanitize=address,undefined", "-fno-sanitize-recover=all", "-o"])
            .arg(&program)
            .args(files.map(|file| folder.join(file)))
            .output()
            .unwrap_or_else(|error| {
                panic!("no C compiler `{compiler}` ({error}): install one (tools/prepare tests does) or name it in CC")
            });
        assert!(
            output.status.success(),
            "{}",
            String::from_utf8_lossy(&output.stderr)
        );
        program
    })
}

/// The controller's process.
struct Controller {
    child: Child,
    out: BufReader<std::process::ChildStdout>,
    port: String,
}

impl Controller {
    fn start(options: &[&str]) -> Self {
        let mut child = Command::new(controller())
            .args(options)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut out = BufReader::new(child.stdout.take().unwrap());
        let mut port = String::new();
        out.read_line(&mut port).unwrap();
        let port = port.trim().to_owned();
        Self { child, out, port }
    }

    /// Pulls the line, unless that has been done, and returns what the controller says of itself: `name=number`.
    fn end(mut self) -> BTreeMap<String, i64> {
        drop(self.child.stdin.take());
        let (mut said, mut wrong) = (String::new(), String::new());
        self.out.read_to_string(&mut said).unwrap();
        self.child
            .stderr
            .take()
            .unwrap()
            .read_to_string(&mut wrong)
            .unwrap();
        assert!(self.child.wait().unwrap().success(), "{wrong}");
        let mut facts = BTreeMap::new();
        for line in said.lines() {
            let before = line.starts_with("at_the_pull");
            for (name, value) in line.split_whitespace().filter_map(|word| word.split_once('=')) {
                let name = if before {
                    format!("{name} at the pull")
                } else {
                    name.to_owned()
                };
                facts.insert(name, value.parse().unwrap());
            }
        }
        facts
    }
}

/// A rig file for it: the one that people copy from, with a longer watchdog, as this computer is no microcontroller.
fn rig_file(folder: &Path) -> PathBuf {
    let text = std::fs::read_to_string(root().join("rigs/serial.toml")).unwrap();
    let longer = text.replace("watchdog = \"20 ms\" ", "watchdog = \"100 ms\"");
    assert_ne!(text, longer);
    let path = folder.join("rig.toml");
    std::fs::write(&path, longer).unwrap();
    path
}

const STEPS: &str = r#"
[procedure]
name = "short"
purpose = "a few steps on a rig controller under test"
mounting = "clamped"
sample_rate = "4 kHz"
ramp = "0.05 N·m/ms"
zero = "200 ms"

[approach]
level = "5 %"
hold = "100 ms"
rest = "300 ms"
gain = ["40 %", "160 %"]

[[segment]]
name = "steps from zero"
excitation = "step"
levels = ["25 %", "-25 %"]
repeats = 2
hold = "80 ms"
rest = "60 ms"
dither = "1 ms"
"#;

fn truerim(args: &[&str], rig: &Path, port: &str) -> Output {
    Command::new(under_test().unwrap())
        .args(args)
        .arg("--rig")
        .arg(rig)
        .args(["--port", port, "--yes", "--json"])
        .output()
        .unwrap()
}

fn told(output: &Output) -> serde_json::Value {
    serde_json::from_slice(&output.stdout)
        .unwrap_or_else(|error| panic!("{error}: {}", String::from_utf8_lossy(&output.stderr)))
}

/// Ends that a computer busy with other things can cause: the bench woke late, or the controller's process did.
const LATE: [&str; 5] = ["deadline", "stale", "watchdog", "clock", "expired"];

/// Runs `play` again while it ends for want of time on this computer.
fn in_time<T>(mut play: impl FnMut() -> (serde_json::Value, T)) -> (serde_json::Value, T) {
    for _ in 0..4 {
        let (told, more) = play();
        let end = told["end"].as_str().unwrap_or_default().to_lowercase();
        if !LATE.iter().any(|word| end.contains(word)) {
            return (told, more);
        }
    }
    play()
}

/// The steps measured with a controller started by `options`, and what the program and the controller say of it.
fn measured(
    folder: &Path,
    rig: &Path,
    options: &[&str],
    may_succeed: bool,
) -> (serde_json::Value, BTreeMap<String, i64>) {
    let procedure = folder.join("steps.toml");
    std::fs::write(&procedure, STEPS).unwrap();
    let mut turn = 0;
    in_time(|| {
        let controller = Controller::start(options);
        turn += 1;
        let out = folder.join(format!("run-{turn}"));
        let args = [
            "measure",
            "--procedure",
            procedure.to_str().unwrap(),
            "--out",
            out.to_str().unwrap(),
        ];
        let output = truerim(&args, rig, &controller.port);
        assert!(may_succeed || !output.status.success());
        (told(&output), controller.end())
    })
}

#[test]
fn a_check_proves_stop_and_watchdog_and_a_measurement_runs_to_its_end() {
    let folder = tempfile::tempdir().unwrap();
    let rig = rig_file(folder.path());
    let (told_check, facts) = in_time(|| {
        let controller = Controller::start(&[]);
        let output = truerim(&["check"], &rig, &controller.port);
        (told(&output), controller.end())
    });
    assert_eq!(told_check["end"], "completed", "{told_check}");
    assert_eq!(told_check["bad_frames"], 0);
    assert_eq!(told_check["rows_lost"], 0);
    // The bench saw both proofs; the controller counted the trip, never pushed, and is off.
    assert!(told_check["stop_round_trip_us"].is_number() && told_check["watchdog_us"].is_number());
    assert_eq!(facts["trips"], 1);
    assert_eq!(facts["pushed"], 0);
    assert_eq!((facts["power"], facts["counts"]), (0, 0));

    let (told_run, facts) = measured(folder.path(), &rig, &[], true);
    assert_eq!(told_run["end"], "completed", "{}", told_run["end"]);
    assert_eq!(
        (&told_run["bad_frames"], &told_run["rows_lost"]),
        (&0.into(), &0.into())
    );
    assert_eq!(told_run["zero_torque_confirmed"], true);
    assert!(told_run["seal"].is_string());
    assert!(
        facts["pushed"] > 500,
        "{} steps with torque asked for",
        facts["pushed"]
    );
    // Stopped before the line went: not a trip, but Ready.
    assert_eq!((facts["state"], facts["power"], facts["counts"]), (1, 0, 0));
}

#[test]
fn a_line_pulled_while_the_motor_pushes_ends_in_zero_torque() {
    let folder = tempfile::tempdir().unwrap();
    let rig = rig_file(folder.path());
    let (told_run, facts) = measured(folder.path(), &rig, &["--pull-after-ms", "40"], false);
    assert_eq!(facts["state at the pull"], 2, "{told_run}");
    assert_ne!(facts["counts at the pull"], 0);
    // The controller ended the torque by itself, latched, within its watchdog and one step; what came first was the
    // silence of the bench or the age of its last setpoint. By the report's time the rim is at rest without torque.
    assert_eq!(facts["state"], 4);
    assert!([1, 2].contains(&facts["cause"]), "cause {}", facts["cause"]);
    assert_eq!((facts["power"], facts["counts"]), (0, 0));
    let after = facts["off_after_us"];
    assert!(
        after > 0 && after <= facts["watchdog_us"] + STEP_US,
        "off {after} us after"
    );
    assert!(facts["torque_unm"].abs() < 1_000, "{} µN·m", facts["torque_unm"]);
}
