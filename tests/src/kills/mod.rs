//! A run that is recorded by a process of its own, which is killed at a moment of the test's choice.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // the helpers of a test may fail it
#![allow(clippy::disallowed_methods)] // the writer's progress can only be waited for

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::Duration;

use bench_core::channels::SampleRow;
use bench_core::procedure::Procedure;
use bench_core::rig::Rig;
use bench_core::run::{Course, Permit, Run, RunEvent, RunOptions};
use bench_core::time::HostNs;
use truerim::drive::{LockStep, Sink, StopFlag, conduct};
use truerim::recording::Header;
use truerim::session::RunRecorder;
use virtual_rig::VirtualRig;

use crate::safety::scene::PROCEDURE;

/// Tells the child where to record.
pub const PATH: &str = "TRUERIM_TEST_KILLED";
/// Seed of the virtual rig: every run gives the same samples.
const SEED: u64 = 7;

/// What the child says of its doings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Word {
    /// The file is about to be made.
    Creating,
    /// So many rows are flushed.
    Safe(usize),
    /// The last sample came; what follows is sealing.
    Sealing,
    /// The recording is sealed.
    Sealed,
}

impl Word {
    fn of(line: &str) -> Option<Self> {
        let mut words = line.split(" / ").nth(1)?.split_whitespace();
        match (words.next()?, words.next()) {
            ("creating", None) => Some(Self::Creating),
            ("safe", Some(rows)) => rows.parse().ok().map(Self::Safe),
            ("sealing", None) => Some(Self::Sealing),
            ("sealed", None) => Some(Self::Sealed),
            _ => None,
        }
    }
}

/// The child's part: records a few seconds of the belt unit in lock-step, as fast as it can, telling how far it is.
pub fn record(path: &Path) {
    let text = std::fs::read_to_string(crate::recovery::root().join("rigs/belt.toml")).unwrap();
    let rig = Rig::from_toml("rig.toml", &text).unwrap_or_else(|findings| panic!("{findings}"));
    let procedure = PROCEDURE.replacen("hold = \"600 ms\"", "hold = \"1500 ms\"", 1);
    let procedure = Procedure::from_toml("procedure.toml", &procedure);
    let procedure = procedure.unwrap_or_else(|findings| panic!("{findings}"));
    let plan = procedure
        .plan(&rig, SEED)
        .unwrap_or_else(|findings| panic!("{findings}"));
    let virtual_rig = VirtualRig::from_toml("rig.toml", &text, SEED);
    let mut line = LockStep::new(virtual_rig.unwrap_or_else(|findings| panic!("{findings}")));
    let header = Header {
        run_id: "killed".to_owned(),
        created: "2026-03-02T10:00:00+01:00".to_owned(),
        software: truerim::software(),
        mounting: rig.mounting.word().to_owned(),
        sample_period_ticks: plan.sample_period_us(),
        tick_s: rig_link::TICK_S,
        ..Header::default()
    };
    let recorder = RunRecorder::new(path, header, plan.clone(), false);
    let mut sink = Telling {
        recorder,
        given: 0,
        told: 0,
    };
    let permit = Some(Permit::granted("test"));
    let mut run = Run::new(
        rig,
        Course::Measure(Box::new(plan)),
        permit,
        RunOptions::default(),
    );
    let outcome = conduct(&mut run, &mut line, &mut sink, &StopFlag::new());
    println!(" / sealing");
    sink.recorder.finish(&outcome).unwrap().unwrap();
    println!(" / sealed");
}

/// Rows that the run may be ahead of what is safe: two chunks, so that it lasts as long as its writing does.
const AHEAD: u64 = 1024;

/// A recorder that tells what is safe.
struct Telling {
    recorder: RunRecorder,
    given: u64,
    told: u64,
}

impl Telling {
    fn safe(&self) -> u64 {
        self.recorder.safe().map_or(0, |safe| safe.rows())
    }
}

impl Sink for Telling {
    fn row(&mut self, row: &SampleRow) -> Result<(), String> {
        self.given += 1;
        self.recorder.row(row)
    }

    fn event(&mut self, now: HostNs, event: &RunEvent) -> Result<(), String> {
        if matches!(event, RunEvent::Connected { .. }) {
            println!(" / creating");
        }
        self.recorder.event(now, event)
    }

    fn check(&mut self) -> Result<(), String> {
        self.recorder.check()?;
        while self.recorder.safe().is_some() && self.given > self.safe() + AHEAD {
            std::thread::sleep(Duration::from_micros(200)); // the writer's turn
            self.recorder.check()?;
        }
        let safe = self.safe();
        if safe > self.told {
            println!(" / safe {safe}");
            self.told = safe;
        }
        Ok(())
    }
}

/// The child as its killer sees it.
pub struct Victim {
    child: Child,
    told: BufReader<ChildStdout>,
    /// Rows that it called safe.
    pub safe: usize,
}

impl Victim {
    /// Starts `test` of this test program as a process that records to `path`.
    #[must_use]
    pub fn start(test: &str, path: &Path) -> Self {
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args(["--exact", test, "--nocapture"])
            .env(PATH, path)
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let told = BufReader::new(child.stdout.take().unwrap());
        Self { child, told, safe: 0 }
    }

    /// What it says next; `None` at its end.
    pub fn listen(&mut self) -> Option<Word> {
        loop {
            let mut line = String::new();
            if self.told.read_line(&mut line).unwrap() == 0 {
                return None;
            }
            if let Some(word) = Word::of(&line) {
                if let Word::Safe(rows) = word {
                    self.safe = rows;
                }
                return Some(word);
            }
        }
    }

    /// `kill -9`, then what it had said and nobody had listened to yet. Whether it had sealed.
    pub fn kill(&mut self) -> bool {
        self.child.kill().unwrap();
        let mut sealed = false;
        while let Some(word) = self.listen() {
            sealed |= word == Word::Sealed;
        }
        self.child.wait().unwrap();
        sealed
    }
}
