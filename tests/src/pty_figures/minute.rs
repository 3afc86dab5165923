//! A whole run at 4,000 samples/s over a pseudo-terminal, recorded to disk as any run is.

use std::path::Path;

use bench_core::run::Permit;
use serde_json::{Value, json};
use truerim::drive::StopFlag;
use truerim::drive::schedule::Granted;
use truerim::recording::Recording;
use truerim::session::{self, Bench, SettingsText};

use super::Unmeasured;
use super::rig_process::RigProcess;
use super::spread::Spread;

/// Seconds of the plan for each repeat: two holds and two steps with their rests, to within the ramps.
pub const REPEAT_S: f64 = 4.0;

/// A procedure of holds and steps, with `repeats` repeats of each.
#[must_use]
pub fn procedure_text(repeats: u32) -> String {
    format!(
        r#"[procedure]
name = "holds and steps"
purpose = "the bench in real time"
mounting = "clamped"
sample_rate = "4 kHz"
zero = "500 ms"

[approach]
level = "5 %"
hold = "300 ms"
rest = "400 ms"
gain = ["40 %", "160 %"]

[[segment]]
name = "holds"
excitation = "hold"
levels = ["20 %", "-20 %"]
hold = "700 ms"
rest = "280 ms"
repeats = {repeats}

[[segment]]
name = "steps"
excitation = "step"
levels = ["30 %", "-30 %"]
hold = "500 ms"
rest = "480 ms"
repeats = {repeats}
"#
    )
}

/// What a run of about a minute showed.
#[derive(Debug, Clone)]
pub struct Minute {
    /// How it ended.
    pub end: String,
    /// Length of the plan, s.
    pub plan_s: f64,
    /// Samples between the first and the last tick received, by the rig's clock.
    pub expected: u64,
    /// Samples recorded.
    pub received: u64,
    /// Samples that the run found missing.
    pub lost: u64,
    /// Frames of the rig that failed their checks.
    pub bad_frames: u32,
    /// Frames of the rig missing by their sequence.
    pub frames_lost: u32,
    /// Latest wake of the bench after one of its own deadlines, µs.
    pub latest_wake_us: u64,
    /// Keep-alive to echo, host time.
    pub round_trips: Option<Spread>,
    /// What was granted to the bench's thread.
    pub granted: Option<Granted>,
    /// What was granted to the rig's process.
    pub rig_granted: String,
}

/// Plays holds and steps for about `seconds` against the virtual rig of a file, in a process of its own.
///
/// # Errors
/// [`Unmeasured`] when rig, port or recording fail. A run that ends early is no error; [`Minute::end`] says why.
pub fn measure(rig_file: &Path, seconds: f64, seed: u64) -> Result<Minute, Unmeasured> {
    let wrong =
        |doing: &'static str| move |error: &dyn std::fmt::Display| Unmeasured(format!("{doing}: {error}"));
    let rig = RigProcess::start(rig_file, seed)?;
    let bench = Bench::open(
        rig_file,
        None,
        Some(rig.port.clone()),
        seed,
        "pty-figures".to_owned(),
    )
    .map_err(|error| wrong("the rig")(&error))?;
    let repeats = (seconds / REPEAT_S).round().clamp(1.0, 1_000.0) as u32;
    let procedure = SettingsText {
        file: "holds-and-steps.toml".to_owned(),
        text: procedure_text(repeats),
    };
    let plan = session::plan_for(&procedure, &bench.rig, seed).map_err(|error| wrong("the plan")(&error))?;
    let plan_s = plan.duration_us() as f64 * rig_link::TICK_S;
    let period = u64::from(plan.sample_period_us());
    let folder = tempfile::tempdir().map_err(|error| wrong("a place for the recording")(&error))?;
    let path = folder.path().join("recording.h5");
    // A thread of its own, so that the class it asks for ends with it.
    let session = std::thread::scope(|scope| {
        let recording = scope.spawn(|| {
            let permit = Permit::granted("virtual rig");
            session::record(
                &bench,
                &procedure,
                plan,
                permit,
                &path,
                &StopFlag::new(),
                &mut |_| {},
            )
        });
        recording.join()
    });
    let session = session
        .map_err(|_| Unmeasured("the bench's thread panicked".to_owned()))?
        .map_err(|error| wrong("the run")(&error))?;
    let recording = Recording::open(&path).map_err(|error| wrong("the recording")(&error))?;
    let rows = recording.rows();
    let edges = |range| {
        let ticks = recording.ticks(range).ok()?;
        ticks.first().copied()
    };
    let expected = match (edges(0..1.min(rows)), edges(rows.saturating_sub(1)..rows)) {
        (Some(first), Some(last)) => last.saturating_sub(first) / period + 1,
        _ => 0,
    };
    let round_trips: Result<Vec<i64>, _> = recording
        .round_trips()
        .map(|trip| trip.map(|trip| trip.host_receive_ns - trip.host_send_ns))
        .collect();
    let round_trips = round_trips.map_err(|error| wrong("the recording")(&error))?;
    let counters = session.outcome.counters;
    Ok(Minute {
        end: session.outcome.end.to_string(),
        plan_s,
        expected,
        received: rows as u64,
        lost: counters.rows_lost,
        bad_frames: counters.bad_frames,
        frames_lost: counters.frames_lost,
        latest_wake_us: counters.latest_wake_us,
        round_trips: Spread::of(round_trips),
        granted: session.granted,
        rig_granted: rig.granted.clone(),
    })
}

impl Minute {
    /// As JSON.
    #[must_use]
    pub fn json(&self) -> Value {
        json!({
            "end": self.end,
            "plan_s": self.plan_s,
            "samples_expected": self.expected,
            "samples_received": self.received,
            "samples_lost": self.lost,
            "bad_frames": self.bad_frames,
            "frames_lost": self.frames_lost,
            "latest_wake_us": self.latest_wake_us,
            "keep_alive_round_trip": self.round_trips.as_ref().map(Spread::json),
            "bench_scheduling": self.granted.map(|granted| granted.to_string()),
            "rig_process_scheduling": self.rig_granted,
        })
    }
}
