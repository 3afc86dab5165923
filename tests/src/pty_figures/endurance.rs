//! The real program against `truerim virtual` on a pseudo-terminal, for as long as is asked: run after run, as a run
//! that trips ends, and the next one begins.

use std::path::Path;

use serde_json::{Value, json};
use truerim::drive::Lateness;
use truerim::recording::Recording;

use super::Unmeasured;
use super::minute::{REPEAT_S, procedure_text};
use super::program::{self, Served};
use super::spread::Spread;

/// Most runs after each other: a computer on which so many trip shows nothing more.
const MOST_RUNS: usize = 60;
/// A run shorter than this is not begun, s.
const SHORTEST_S: f64 = 2.0 * REPEAT_S;

/// One run.
#[derive(Debug, Clone)]
pub struct Leg {
    /// How it ended.
    pub end: String,
    /// The program's exit code: 0 completed, 3 tripped.
    pub exit_code: u64,
    /// Length of what was recorded, s.
    pub recorded_s: f64,
    /// Samples between the first and the last tick received, by the rig's clock.
    pub expected: u64,
    /// Samples recorded.
    pub received: u64,
    /// Frames that failed their checks.
    pub bad_frames: u64,
}

/// All runs together.
#[derive(Debug, Clone, Default)]
pub struct Endurance {
    /// One after the other.
    pub legs: Vec<Leg>,
    /// How late the loop woke when the time of a wait had come.
    pub wakes: Lateness,
    /// How much later batches arrived than the promptest one of their run.
    pub arrivals: Lateness,
    /// Keep-alive to echo, host time.
    pub round_trips: Option<Spread>,
    /// Whether real-time scheduling and locked memory were granted to the bench, as far as it ran.
    pub granted: Option<[bool; 2]>,
    /// What was granted to the rig's process.
    pub rig_granted: String,
}

/// Runs until `seconds` are recorded. Each run that ended is told to `told`.
///
/// # Errors
/// [`Unmeasured`] when program, rig or recording fail. Runs that end early are no error.
pub fn measure(
    rig_file: &Path,
    seconds: f64,
    seed: u64,
    told: &mut dyn FnMut(&Leg),
) -> Result<Endurance, Unmeasured> {
    let program = program::build()?;
    let rig = Served::start(&program, rig_file, seed)?;
    let folder =
        tempfile::tempdir().map_err(|error| Unmeasured::from_error("a place for the recordings", &error))?;
    let mut all = Endurance {
        rig_granted: rig.granted.clone(),
        ..Endurance::default()
    };
    let mut round_trips = Vec::new();
    let mut left_s = seconds;
    while left_s >= SHORTEST_S && all.legs.len() < MOST_RUNS {
        let procedure = folder.path().join("holds-and-steps.toml");
        let repeats = (left_s / REPEAT_S).round().clamp(1.0, 1_000.0) as u32;
        std::fs::write(&procedure, procedure_text(repeats))
            .map_err(|error| Unmeasured::from_error("writing the procedure", &error))?;
        let out = folder.path().join(format!("run-{}", all.legs.len()));
        let said = program::record(&program, rig_file, &procedure, &rig.port, &out)?;
        let leg = all.take(&said, &out.join("recording.h5"), &mut round_trips)?;
        left_s -= leg.recorded_s.max(REPEAT_S); // a run that recorded nothing counts too, or this would not end
        told(&leg);
        all.legs.push(leg);
        let _ = std::fs::remove_dir_all(&out);
    }
    all.round_trips = Spread::of(round_trips);
    Ok(all)
}

impl Endurance {
    /// Takes what a run said and what it recorded.
    fn take(&mut self, said: &Value, path: &Path, round_trips: &mut Vec<i64>) -> Result<Leg, Unmeasured> {
        let number = |key: &str| said[key].as_u64().unwrap_or(0);
        let host = &said["host"];
        if let Some(wakes) = host.get("wake_lateness") {
            let wakes: Lateness = serde_json::from_value(wakes.clone())
                .map_err(|error| Unmeasured::from_error("the program's wakes", &error))?;
            self.wakes.merge(&wakes);
            let granted =
                ["real_time_scheduling", "memory_locked"].map(|key| host[key].as_bool() == Some(true));
            self.granted = Some(granted);
        }
        let mut leg = Leg {
            end: said["end"].as_str().unwrap_or("nothing said").to_owned(),
            exit_code: number("exit_code"),
            recorded_s: 0.0,
            expected: 0,
            received: 0,
            bad_frames: number("bad_frames"),
        };
        if path.exists() {
            let wrong = |error| Unmeasured::from_error("the recording", &error);
            let recording = Recording::open(path).map_err(wrong)?;
            let rows = recording.rows();
            let tick = |row: usize| {
                let ticks = recording.ticks(row..(row + 1).min(rows)).ok()?;
                ticks.first().copied()
            };
            if let (Some(first), Some(last)) = (tick(0), tick(rows.saturating_sub(1))) {
                let period = u64::from(recording.header().sample_period_ticks).max(1);
                leg.recorded_s = last.saturating_sub(first) as f64 * rig_link::TICK_S;
                leg.expected = last.saturating_sub(first) / period + 1;
            }
            leg.received = rows as u64;
            for trip in recording.round_trips() {
                let trip = trip.map_err(wrong)?;
                round_trips.push(trip.host_receive_ns - trip.host_send_ns);
            }
            let offsets = recording
                .host()
                .map(|row| row.map(|row| i128::from(row.host_ns) - i128::from(row.first_tick) * 1_000));
            let offsets: Vec<i128> = offsets.collect::<Result<_, _>>().map_err(wrong)?;
            if let Some(&promptest) = offsets.iter().min() {
                for offset in offsets {
                    self.arrivals
                        .add(u64::try_from((offset - promptest) / 1_000).unwrap_or(u64::MAX));
                }
            }
        }
        Ok(leg)
    }

    /// Seconds recorded in all runs.
    #[must_use]
    pub fn recorded_s(&self) -> f64 {
        self.legs.iter().map(|leg| leg.recorded_s).sum()
    }

    /// Runs that did not complete.
    #[must_use]
    pub fn ended_early(&self) -> usize {
        self.legs.iter().filter(|leg| leg.exit_code != 0).count()
    }

    /// Samples expected, received, and damaged frames, in all runs.
    #[must_use]
    pub fn samples(&self) -> [u64; 3] {
        let sum = |of: fn(&Leg) -> u64| self.legs.iter().map(of).sum();
        [
            sum(|leg| leg.expected),
            sum(|leg| leg.received),
            sum(|leg| leg.bad_frames),
        ]
    }

    /// As JSON.
    #[must_use]
    pub fn json(&self) -> Value {
        let legs: Vec<_> = self
            .legs
            .iter()
            .map(|leg| {
                json!({ "end": leg.end, "exit_code": leg.exit_code, "recorded_s": leg.recorded_s,
                    "samples_expected": leg.expected, "samples_received": leg.received,
                    "bad_frames": leg.bad_frames })
            })
            .collect();
        json!({
            "runs": legs,
            "recorded_s": self.recorded_s(),
            "wake_lateness": self.wakes,
            "arrival_lateness": self.arrivals,
            "keep_alive_round_trip": self.round_trips.as_ref().map(Spread::json),
            "bench_granted": self.granted,
            "rig_process_scheduling": self.rig_granted,
        })
    }
}
