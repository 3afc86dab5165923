//! How a scene ended, and what must hold of it.

use std::path::PathBuf;

use bench_core::bounds::Bounds;
use bench_core::interlock::{Condition, Interlock, State, Trip};
use bench_core::run::{End, Outcome, RunEvent};
use rig_link::message::{Identity, Stop};
use rig_link::{FULL_SCALE_COUNTS, HostMessage, RigState, StopReason};
use truerim::recording::{Completion, Recording, RecordingError, Seal};

use super::line::{Look, Watched};

/// Torque of the motor that counts as none, N·m.
const NONE_NM: f64 = 0.02;
/// Most calls of the loop in a second of the rig's time: a batch, an echo and a look at the flag each millisecond.
const WAKES_PER_S: f64 = 5_000.0;

/// A scene after its end.
pub struct Played {
    /// How it ended.
    pub outcome: Outcome,
    /// The limits in force.
    pub bounds: Bounds,
    /// The interlock as the run left it.
    pub interlock: Interlock,
    /// The line with all that passed it.
    pub line: Watched,
    /// The run's events.
    pub events: Vec<RunEvent>,
    /// The recording.
    pub path: PathBuf,
    /// What became of it.
    pub sealed: Option<Result<Seal, RecordingError>>,
    pub(super) folder: tempfile::TempDir,
}

/// Times from the onset of what went wrong, µs.
#[derive(Debug, Clone, Copy)]
pub struct Reaction {
    /// Rig tick of the onset.
    pub onset: u64,
    /// Until the controller no longer asked for torque.
    pub asked_us: u64,
    /// Until the motor made none.
    pub zero_us: u64,
}

impl Played {
    /// What holds of every run, however it ends.
    pub fn check_always(&self) {
        let line = &self.line;
        assert_eq!(line.malformed, 0, "the bench sent frames that are none");
        assert_eq!(line.spins, 0, "the bench waited for what had come");
        let seconds = line.ticks as f64 * 1e-6;
        let wakes = line.wakes as f64;
        assert!(
            wakes <= WAKES_PER_S * seconds + 100.0,
            "{wakes} wakes in {seconds} s"
        );
        self.check_last_words();
        self.check_setpoints();
    }

    fn check_last_words(&self) {
        let last = self.line.sent.last().map(|(_, message)| message);
        match last {
            Some(HostMessage::Stop(_)) => {}
            Some(HostMessage::StopSampling(_)) => {
                assert_eq!(self.outcome.end, End::Completed);
                assert!(self.outcome.zero_confirmed);
            }
            other => panic!("the last word to the rig was {other:?}"),
        }
    }

    /// Setpoints only while armed, and none beyond the limit: the plan's peak, to the next count.
    fn check_setpoints(&self) {
        let most = self.identity().map_or(0.0, |identity| {
            self.bounds.limits.torque_nm / identity.full_scale_nm * f64::from(FULL_SCALE_COUNTS)
        });
        let most = most.ceil();
        let mut armed = false;
        for (tick, message) in &self.line.sent {
            match message {
                HostMessage::ArmConfirm(_) => armed = true,
                HostMessage::Stop(_) => armed = false,
                HostMessage::Setpoints(setpoints) => {
                    assert!(armed, "setpoints at tick {tick} without arming");
                    for raw in setpoints.values() {
                        assert!(
                            f64::from(*raw).abs() <= most,
                            "setpoint {raw} at {tick}, allowed {most}"
                        );
                    }
                }
                _ => {}
            }
        }
    }

    /// Whether any setpoint was sent.
    #[must_use]
    pub fn sent_setpoints(&self) -> bool {
        self.line
            .sent
            .iter()
            .any(|(_, message)| matches!(message, HostMessage::Setpoints(_)))
    }

    /// The reasons of the stops that were sent, in order.
    #[must_use]
    pub fn stop_reasons(&self) -> Vec<StopReason> {
        let stops = self.line.sent.iter().filter_map(|(_, message)| match message {
            HostMessage::Stop(Stop { reason, .. }) => Some(*reason),
            _ => None,
        });
        stops.collect()
    }

    /// Who the rig said it is.
    #[must_use]
    pub fn identity(&self) -> Option<Identity> {
        self.events.iter().find_map(|event| match event {
            RunEvent::Connected { identity, .. } => Some(*identity),
            _ => None,
        })
    }

    /// The recording, open.
    #[must_use]
    pub fn recording(&self) -> Recording {
        Recording::open(&self.path).unwrap()
    }

    /// Where the recording lies, as long as this lives.
    #[must_use]
    pub fn folder(&self) -> &std::path::Path {
        self.folder.path()
    }

    /// That this condition tripped it, latched, with zero torque confirmed by the rig and a recording that tells so.
    pub fn tripped(&self, condition: Condition) -> Trip {
        let trip = self.tripped_unconfirmed(condition);
        assert!(self.outcome.zero_confirmed, "{:?}", self.outcome);
        let state = self.line.rig().truth().state;
        assert_ne!(state, RigState::Armed);
        let motor_nm = self.line.rig().motor_torque_nm();
        assert!(motor_nm.abs() < NONE_NM, "{motor_nm} N·m at the end");
        trip
    }

    /// As [`Played::tripped`], when the rig cannot be asked any more.
    pub fn tripped_unconfirmed(&self, condition: Condition) -> Trip {
        let End::Tripped(trip) = self.outcome.end else {
            panic!("{:?}", self.outcome)
        };
        assert_eq!(trip.condition, condition, "{trip}");
        assert_eq!(self.interlock.state(), State::Tripped);
        assert_eq!(self.interlock.trip().map(|trip| trip.condition), Some(condition));
        assert!(self.stop_reasons().contains(&StopReason::Interlock));
        match &self.sealed {
            Some(Ok(_)) => {}
            other => panic!("not sealed: {other:?}"),
        }
        let recording = self.recording();
        let Some(Completion::Tripped { cause }) = recording.completion() else {
            panic!("{:?}", recording.completion())
        };
        assert!(cause.contains(condition.name()), "{cause}");
        assert!(cause.contains(condition.advice()), "{cause}");
        let code = format!("trip-{}", condition.name());
        assert!(
            recording.events().iter().any(|event| event.code == code),
            "no event {code}"
        );
        trip
    }

    /// That the recording holds samples before and at a tick, and for `beyond_us` after it.
    pub fn recorded_around(&self, tick: u64, beyond_us: u64) {
        let recording = self.recording();
        let rows = recording.rows();
        let ticks = recording.ticks(0..rows).unwrap();
        let (first, last) = (ticks[0], ticks[rows - 1]);
        assert!(
            first + 100_000 < tick,
            "the first row is at {first}, the trip at {tick}"
        );
        assert!(
            last >= tick + beyond_us,
            "the last row is at {last}, the trip at {tick}"
        );
        assert!(ticks.iter().any(|t| tick.abs_diff(*t) <= 250), "no row at {tick}");
    }

    /// How fast torque ended after the first look at which `wrong` held.
    pub fn reaction(&self, wrong: impl Fn(&Look) -> bool) -> Reaction {
        let looks = &self.line.looks;
        let onset = looks.iter().find(|look| wrong(look)).map(|look| look.tick);
        self.reaction_from(onset.unwrap_or_else(|| panic!("nothing went wrong in {} looks", looks.len())))
    }

    /// How fast torque ended after a tick.
    #[must_use]
    pub fn reaction_from(&self, onset: u64) -> Reaction {
        let before = self.line.looks.iter().rev().find(|look| look.tick < onset);
        let before = before.unwrap_or_else(|| panic!("not looked at before tick {onset}"));
        assert_eq!(
            before.state,
            RigState::Armed,
            "it had stopped before tick {onset}"
        );
        let looks = || self.line.looks.iter().filter(move |look| look.tick >= onset);
        let armed = looks().rev().find(|look| look.state == RigState::Armed);
        let driven = looks().rev().find(|look| look.motor_nm.abs() >= NONE_NM);
        let since = |look: Option<&Look>| look.map_or(0, |look| look.tick - onset);
        let last = looks().next_back().unwrap();
        assert!(
            last.state != RigState::Armed && last.motor_nm.abs() < NONE_NM,
            "still {last:?}"
        );
        Reaction {
            onset,
            asked_us: since(armed),
            zero_us: since(driven),
        }
    }
}
