//! The run against a peer that does what it is told, in every phase.

mod ends;
mod line;
mod noise;
mod peer;

use alloc::boxed::Box;
use alloc::string::String;
use alloc::vec::Vec;

use rig_link::{HostMessage, Splitter};

use super::{Course, Outcome, Permit, Run, RunOptions};
use crate::interlock::State;
use crate::procedure::Procedure;
use crate::rig::Rig;
use crate::time::HostNs;
use peer::Peer;

const RIG: &str = include_str!("../../tests/fixtures/rig.toml");
const PROCEDURE: &str = r#"
[procedure]
name = "short"
purpose = "something to interrupt"
mounting = "clamped"
sample_rate = "4 kHz"
zero = "100 ms"
[approach]
level = "5 %"
hold = "100 ms"
rest = "300 ms"
gain = ["40 %", "160 %"]
[[segment]]
name = "hold"
excitation = "hold"
levels = ["6 N·m"]
repeats = 1
hold = "60 ms"
rest = "20 ms"
"#;

/// Phases in the order in which a run goes through them.
const PHASES: [&str; 12] = [
    "greeting",
    "channels",
    "the rig's state",
    "configuring",
    "first samples",
    "zeros before",
    "proving the stop",
    "proving the watchdog",
    "clearing a trip",
    "arming",
    "playing",
    "zeros after",
];

/// A run and its peer on one clock.
struct Bench {
    run: Run,
    peer: Peer,
    now_us: u64,
    /// How long each way takes, µs.
    latency_us: u64,
    to_peer: Vec<(u64, Vec<u8>)>,
    to_run: Vec<(u64, Vec<u8>)>,
    splitter: Splitter,
    sent: Vec<HostMessage>,
    wakes: u64,
    phases: Vec<&'static str>,
}

fn rig() -> Rig {
    Rig::from_toml("rig.toml", RIG).unwrap()
}

impl Bench {
    fn new() -> Self {
        Self::with(rig(), PROCEDURE, Peer::new())
    }

    fn with(rig: Rig, procedure: &str, peer: Peer) -> Self {
        let plan = Procedure::from_toml("procedure.toml", procedure)
            .unwrap()
            .plan(&rig, 1)
            .unwrap();
        let permit = Some(Permit::granted("test"));
        let run = Run::new(
            rig,
            Course::Measure(Box::new(plan)),
            permit,
            RunOptions::default(),
        );
        Self {
            run,
            peer,
            now_us: 0,
            latency_us: 0,
            to_peer: Vec::new(),
            to_run: Vec::new(),
            splitter: Splitter::new(),
            sent: Vec::new(),
            wakes: 0,
            phases: Vec::new(),
        }
    }

    fn now(&self) -> HostNs {
        HostNs(self.now_us * 1_000)
    }

    fn phase(&self) -> &'static str {
        self.run.progress().phase
    }

    /// Takes what the run hands out; checks that setpoints come out of an armed interlock alone. Whether anything was
    /// transmitted.
    fn take(&mut self) -> bool {
        let mut bytes = Vec::new();
        let any = self.run.poll_transmit(&mut bytes).is_some();
        let (sent, state) = (&mut self.sent, self.run.interlock().state());
        self.splitter.feed(&bytes, |frame| {
            let message = HostMessage::parse(frame.unwrap()).unwrap();
            if matches!(message, HostMessage::Setpoints(_)) {
                assert_eq!(state, State::Armed);
            }
            sent.push(message);
        });
        self.to_peer.push((self.now_us + self.latency_us, bytes));
        while self.run.poll_row().is_some() {}
        while self.run.poll_event().is_some() {}
        if self.phases.last() != Some(&self.phase()) {
            self.phases.push(self.phase());
        }
        any
    }

    /// Exchanges what is due now.
    fn exchange(&mut self) {
        let now = self.now_us;
        while self.to_peer.first().is_some_and(|(due, _)| *due <= now) {
            self.peer.take(&self.to_peer.remove(0).1);
        }
        let said = self.peer.say();
        if !said.is_empty() {
            self.to_run.push((now + self.latency_us, said));
        }
        while self.to_run.first().is_some_and(|(due, _)| *due <= now) {
            let (_, bytes) = self.to_run.remove(0);
            self.run.receive(self.now(), &bytes);
            self.take();
        }
    }

    /// Goes on until `done`, or until the run is over; panics when that takes longer than 10 s.
    fn until(&mut self, done: impl Fn(&Self) -> bool) {
        if self.phase() == "idle" {
            self.run.start(self.now());
            self.take();
        }
        while self.run.outcome().is_none() && !done(self) {
            self.exchange();
            if self.run.outcome().is_some() || done(self) {
                return;
            }
            self.now_us += 250;
            self.peer.advance_to(self.now_us);
            self.wake_when_due();
            assert!(self.now_us < 10_000_000, "stuck in {}", self.phase());
        }
    }

    /// Wakes the run at its deadlines; each leads to a later one, or to something being transmitted.
    fn wake_when_due(&mut self) {
        while self.run.outcome().is_none() && self.run.deadline() <= self.now() {
            self.run.wake(self.now());
            self.wakes += 1;
            let transmitted = self.take();
            assert!(
                transmitted || self.run.deadline() > self.now() || self.run.outcome().is_some(),
                "spinning in {}",
                self.phase()
            );
        }
    }

    fn reach(&mut self, phase: &str) {
        self.until(|bench| bench.phase() == phase);
        assert_eq!(self.phase(), phase, "{:?}", self.run.outcome());
    }

    fn finish(&mut self) -> Outcome {
        self.until(|_| false);
        self.take();
        self.run.outcome().cloned().unwrap()
    }

    fn last_word(&self) -> &HostMessage {
        self.sent.last().unwrap()
    }

    /// Greatest setpoint that was sent, counts.
    fn greatest(&self) -> i32 {
        let sent = self.sent.iter().filter_map(|message| match message {
            HostMessage::Setpoints(setpoints) => {
                setpoints.values().iter().map(|raw| i32::from(*raw).abs()).max()
            }
            _ => None,
        });
        sent.max().unwrap_or(0)
    }
}

/// The fixture with other words in it.
fn rig_with(from: &str, to: &str) -> Rig {
    assert!(RIG.contains(from), "the fixture has no {from:?}");
    let text: String = RIG.replacen(from, to, 1);
    Rig::from_toml("rig.toml", &text).unwrap()
}
