//! One run in which something goes wrong, from files to a sealed recording.

use std::path::PathBuf;

use bench_core::channels::SampleRow;
use bench_core::procedure::Procedure;
use bench_core::rig::{Mounting, Rig};
use bench_core::run::{Course, Permit, Run, RunEvent, RunOptions};
use bench_core::time::HostNs;
use truerim::drive::{Sink, StopFlag, conduct};
use truerim::recording::Header;
use truerim::session::RunRecorder;
use virtual_rig::{FaultKind, RigParameters, VirtualRig};

use super::line::{Break, Watched};
use super::meddling::Meddler;
use super::played::Played;

/// The shipped file.
const BELT: &str = include_str!("../../../rigs/belt.toml");

/// A little over a second: the first small torque, then 2.1 N·m from [`HOLD_FROM_US`] on for 0.6 s.
pub const PROCEDURE: &str = r#"
[procedure]
name = "short"
purpose = "something to interrupt"
mounting = "clamped"
sample_rate = "4 kHz"
ramp = "0.05 N·m/ms"
zero = "100 ms"
[approach]
level = "5 %"
hold = "100 ms"
rest = "300 ms"
gain = ["40 %", "160 %"]
[[segment]]
name = "hold"
excitation = "hold"
levels = ["30 %"]
repeats = 1
hold = "600 ms"
rest = "20 ms"
"#;
/// From here on the hold's torque has settled, µs after the plan's zero.
pub const HOLD_FROM_US: u64 = 700_000;

/// How long the rig is looked at before something goes wrong, µs.
const BEFORE_US: u64 = 2_000;

/// What somebody who follows a run may do to it; an error from here is one of the recording.
pub type Bystander = Box<dyn FnMut(&RunEvent) -> Result<(), String>>;

/// See [`Scene::new`].
pub struct Scene {
    rig: String,
    procedure: String,
    change: Option<fn(&mut RigParameters)>,
    meddler: Meddler,
    faults: Vec<(FaultKind, u64, f64)>,
    watch_from_us: u64,
    broken_at: Option<(u64, Break)>,
    late: Option<(u64, u64)>,
    stop: StopFlag,
    bystander: Option<Bystander>,
    permit: Option<Permit>,
    recording: Option<PathBuf>,
    queue_full: bool,
    mounting: Mounting,
}

impl Default for Scene {
    fn default() -> Self {
        Self::new()
    }
}

impl Scene {
    /// The belt unit, stopping by coasting so that zero torque is zero, and the short procedure, with nothing wrong.
    #[must_use]
    pub fn new() -> Self {
        let scene = Self {
            rig: BELT.to_owned(),
            procedure: PROCEDURE.to_owned(),
            change: None,
            meddler: Meddler::default(),
            faults: Vec::new(),
            watch_from_us: HOLD_FROM_US - BEFORE_US,
            broken_at: None,
            late: None,
            stop: StopFlag::new(),
            bystander: None,
            permit: Some(Permit::granted("test")),
            recording: None,
            queue_full: false,
            mounting: Mounting::Clamped,
        };
        scene.rig_with("stop = \"brake\"", "stop = \"coast\"")
    }

    /// As [`Scene::new`] with a free rim: a first push of 0.6 N·m from 0.1 s to 0.2 s after the plan's zero, rest for
    /// 1.3 s, and a push of 0.5 N·m.
    #[must_use]
    pub fn free() -> Self {
        Self::new()
            .mounting(Mounting::Free)
            .procedure_with("level = \"5 %\"", "level = \"0.6 N·m\"")
            .procedure_with("gain = [\"40 %\", \"160 %\"]", "gain = [\"15 %\", \"200 %\"]")
            .procedure_with("levels = [\"30 %\"]", "levels = [\"0.5 N·m\"]")
            .procedure_with("hold = \"600 ms\"", "hold = \"80 ms\"")
            .procedure_with("rest = \"20 ms\"", "rest = \"1 s\"")
    }

    /// As [`Scene::new`] with a rim that a drive turns: the first small torque while it rests, then 0.5 N·m for 4 s.
    #[must_use]
    pub fn back_driven() -> Self {
        Self::new()
            .mounting(Mounting::BackDriven)
            .procedure_with("gain = [\"40 %\", \"160 %\"]", "gain = [\"20 %\", \"160 %\"]")
            .procedure_with("levels = [\"30 %\"]", "levels = [\"0.5 N·m\"]")
            .procedure_with("hold = \"600 ms\"", "hold = \"4 s\"")
    }

    /// The rig file with other words in it.
    #[must_use]
    pub fn rig_with(mut self, from: &str, to: &str) -> Self {
        assert!(self.rig.contains(from), "the rig file has no {from:?}");
        self.rig = self.rig.replacen(from, to, 1);
        self
    }

    /// The procedure with other words in it.
    #[must_use]
    pub fn procedure_with(mut self, from: &str, to: &str) -> Self {
        assert!(self.procedure.contains(from), "the procedure has no {from:?}");
        self.procedure = self.procedure.replacen(from, to, 1);
        self
    }

    /// The rim held otherwise, in rig and procedure.
    #[must_use]
    pub fn mounting(mut self, mounting: Mounting) -> Self {
        self.mounting = mounting;
        self.procedure_with("mounting = \"clamped\"", &format!("mounting = \"{mounting}\""))
    }

    /// A simulated rig that no rig file may describe.
    #[must_use]
    pub fn rig_by(mut self, change: fn(&mut RigParameters)) -> Self {
        self.change = Some(change);
        self
    }

    /// Somebody on the line.
    #[must_use]
    pub fn meddler(mut self, meddler: Meddler) -> Self {
        self.meddler = meddler;
        self
    }

    /// A fault of the rig, `at_us` after the plan's zero; looked at from there on.
    #[must_use]
    pub fn fault(mut self, kind: FaultKind, at_us: u64, size: f64) -> Self {
        self.faults.push((kind, at_us, size));
        self.watch_from_us = at_us.saturating_sub(BEFORE_US);
        self
    }

    /// Looks at the rig in every step from here on.
    #[must_use]
    pub const fn watch_from(mut self, at_us: u64) -> Self {
        self.watch_from_us = at_us;
        self
    }

    /// Breaks the bench's side of the line.
    #[must_use]
    pub const fn break_at(mut self, at_us: u64, how: Break) -> Self {
        self.broken_at = Some((at_us, how));
        self
    }

    /// The host sleeps longer than it wanted, once.
    #[must_use]
    pub const fn oversleep(mut self, at_us: u64, by_us: u64) -> Self {
        self.late = Some((at_us, by_us));
        self
    }

    /// Who can ask for a stop.
    #[must_use]
    pub fn stop(mut self, stop: StopFlag) -> Self {
        self.stop = stop;
        self
    }

    /// Somebody who sees every event, and row by row none.
    #[must_use]
    pub fn bystander(mut self, bystander: Bystander) -> Self {
        self.bystander = Some(bystander);
        self
    }

    /// Nobody permits torque.
    #[must_use]
    pub fn without_permit(mut self) -> Self {
        self.permit = None;
        self
    }

    /// Records there instead of in a folder of its own.
    #[must_use]
    pub fn record_to(mut self, path: PathBuf) -> Self {
        self.recording = Some(path);
        self
    }

    /// What the bystander's error says is that the recorder's queue is full.
    #[must_use]
    pub const fn queue_full(mut self) -> Self {
        self.queue_full = true;
        self
    }

    /// Runs it, and checks what must hold of every run.
    #[must_use]
    pub fn play(self) -> Played {
        let played = self.play_unchecked();
        played.check_always();
        played
    }

    /// Runs it.
    #[must_use]
    pub fn play_unchecked(self) -> Played {
        let seed = 7;
        let rig = Rig::mounted("rig.toml", &self.rig, Some(self.mounting));
        let rig = rig.unwrap_or_else(|findings| panic!("{findings}"));
        let procedure = Procedure::from_toml("procedure.toml", &self.procedure);
        let procedure = procedure.unwrap_or_else(|findings| panic!("{findings}"));
        let plan = procedure
            .plan(&rig, seed)
            .unwrap_or_else(|findings| panic!("{findings}"));
        let mounting = Some(truerim::session::simulated(self.mounting));
        let mut parameters = RigParameters::mounted("rig.toml", &self.rig, seed, mounting)
            .unwrap_or_else(|findings| panic!("{findings}"));
        if let Some(change) = self.change {
            change(&mut parameters);
        }
        let mut line = Watched::new(VirtualRig::new(parameters, seed), self.meddler);
        line.watch_from(self.watch_from_us);
        for (kind, at_us, size) in self.faults {
            line.fault(kind, at_us, size);
        }
        if let Some((at_us, how)) = self.broken_at {
            line.break_at(at_us, how);
        }
        if let Some((at_us, by_us)) = self.late {
            line.oversleep(at_us, by_us);
        }
        let folder = tempfile::tempdir().unwrap();
        let path = self
            .recording
            .unwrap_or_else(|| folder.path().join("recording.h5"));
        let recorder = RunRecorder::new(&path, header(&rig, plan.sample_period_us()), plan.clone(), false);
        let mut sink = Following {
            recorder,
            events: Vec::new(),
            bystander: self.bystander,
            queue_full: self.queue_full,
        };
        let mut run = Run::new(
            rig,
            Course::Measure(Box::new(plan)),
            self.permit,
            RunOptions::default(),
        );
        let outcome = conduct(&mut run, &mut line, &mut sink, &self.stop);
        let sealed = sink.recorder.finish(&outcome);
        Played {
            outcome,
            bounds: run.bounds().clone(),
            interlock: run.interlock().clone(),
            line,
            events: sink.events,
            path,
            sealed,
            folder,
        }
    }
}

/// A recorder that somebody looks over the shoulder of.
struct Following {
    recorder: RunRecorder,
    events: Vec<RunEvent>,
    bystander: Option<Bystander>,
    queue_full: bool,
}

impl Sink for Following {
    fn row(&mut self, row: &SampleRow) -> Result<(), String> {
        self.recorder.row(row)
    }

    fn event(&mut self, now: HostNs, event: &RunEvent) -> Result<(), String> {
        self.events.push(event.clone());
        if let Some(bystander) = &mut self.bystander {
            bystander(event)?;
        }
        self.recorder.event(now, event)
    }

    fn stalled(&self) -> Option<(usize, usize)> {
        self.queue_full.then_some((640, 640))
    }

    fn check(&mut self) -> Result<(), String> {
        self.recorder.check()
    }
}

fn header(rig: &Rig, sample_period_ticks: u32) -> Header {
    Header {
        run_id: "safety".to_owned(),
        created: "2026-03-02T10:00:00+01:00".to_owned(),
        software: truerim::software(),
        mounting: rig.mounting.word().to_owned(),
        sample_period_ticks,
        tick_s: rig_link::TICK_S,
        ..Header::default()
    }
}
