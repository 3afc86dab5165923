//! One run: bytes and time in; bytes, samples, events and the next deadline out.
//!
//! [`Run`] holds the link, the interlock and the plan together, so that no caller can send torque around the
//! interlock: the only bytes that move the motor are those that [`Run::poll_transmit`] hands out, and every setpoint
//! in them went through [`crate::interlock::Interlock::bound`]. It reads no clock and no port. A drive feeds it:
//!
//! 1. [`Run::start`], then in a loop:
//! 2. write what [`Run::poll_transmit`] gives;
//! 3. take what [`Run::poll_row`] and [`Run::poll_event`] give;
//! 4. wait for bytes, at most until [`Run::deadline`];
//! 5. [`Run::receive`] them, or [`Run::wake`] when there are none.
//!
//! The run is over when [`Run::outcome`] gives something. [`Run::stop`] ends it early from any phase; the loop goes on
//! until the rig has confirmed zero torque or all tries to reach it are used up.

mod approach;
mod arming;
mod clock_watch;
mod course;
mod ending;
mod frames;
mod outcome;
mod output;
mod phase;
mod rig_clock;
mod sender;
mod settings;
mod stream;
#[cfg(test)]
mod tests;
mod timing;

use alloc::boxed::Box;
use alloc::collections::VecDeque;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

use rig_link::message::{Channel, Configuration, Identity, Status};
use rig_link::{Splitter, StopReason, TripCause};

pub use arming::keep_alive_us;
pub use clock_watch::LIMIT_PPM as CLOCK_LIMIT_PPM;
pub use outcome::{Counters, End, Failure, Outcome, Proofs, StopCause};
pub use output::{Progress, RunEvent};
pub use rig_clock::RigClock;
pub use settings::RunOptions;

use crate::bounds::Bounds;
use crate::channels::{ChannelMap, SampleRow};
use crate::interlock::{Condition, Event, Interlock, State, Trip};
use crate::plan::Plan;
use crate::rig::Rig;
use crate::time::HostNs;
use approach::ApproachJudge;
use clock_watch::ClockWatch;
use phase::Phase;
use sender::Sender;

/// Rows that may wait to be taken; more means that nobody records them.
const ROW_CAPACITY: usize = 4_096;
/// Events that may wait to be taken.
const EVENT_CAPACITY: usize = 4_096;

/// Somebody's permission to make torque in one run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Permit {
    by: String,
}

impl Permit {
    /// `by` says who permitted it and how, for the recording.
    #[must_use]
    pub fn granted(by: &str) -> Self {
        Self { by: by.to_string() }
    }

    /// Who permitted it and how.
    #[must_use]
    pub fn by(&self) -> &str {
        &self.by
    }
}

/// What a run is for.
#[derive(Debug, Clone, PartialEq)]
pub enum Course {
    /// Plays a plan.
    Measure(Box<Plan>),
    /// Proves stop and watchdog at zero torque, and nothing else; samples come at this period, µs.
    Prove(u32),
}

/// What is known of the rig.
#[derive(Debug, Clone, Default)]
struct Known {
    identity: Option<Identity>,
    channels: Vec<Channel>,
    map: Option<ChannelMap>,
    configuration: Option<Configuration>,
    status: Option<Status>,
}

/// Sums for the zeros at rest.
#[derive(Debug, Clone, Copy, Default)]
struct Zeros {
    count: u32,
    torque: f64,
    angle: f64,
    angle_low: f64,
    angle_high: f64,
}

/// One run. See the module's text.
#[derive(Debug)]
pub struct Run {
    rig: Rig,
    bounds: Bounds,
    course: Course,
    options: RunOptions,
    permit: Option<Permit>,
    phase: Phase,
    phase_since: HostNs,
    splitter: Splitter,
    sender: Sender,
    interlock: Interlock,
    clock: RigClock,
    clock_watch: ClockWatch,
    known: Known,
    zeros: Zeros,
    baseline_nm: f64,
    approach: Option<ApproachJudge>,
    approach_passed: bool,
    /// Rig tick of the plan's zero.
    plan_zero: u64,
    /// Plan time of the next setpoint to send.
    next_entry_us: Option<u64>,
    plan_sent: bool,
    rig_sequence: Option<u16>,
    rig_event: Option<u32>,
    next_row_tick: Option<u64>,
    last_row_tick: Option<u64>,
    keep_alive_due: HostNs,
    /// Rig tick at which the last keep-alive that came back had arrived there.
    fed_tick: Option<u64>,
    /// When the rig last showed that it answers.
    alive: HostNs,
    /// The rig was armed again after it had confirmed zero torque.
    contradicted: bool,
    promised: HostNs,
    end: Option<End>,
    zero_confirmed: bool,
    was_armed: bool,
    torque_after_nm: Option<f64>,
    proofs: Proofs,
    counters: Counters,
    rows: VecDeque<SampleRow>,
    events: VecDeque<RunEvent>,
    outcome: Option<Outcome>,
}

impl Run {
    /// A run that has not begun. Without a permit it goes as far as the rig's configuration and ends there.
    #[must_use]
    pub fn new(rig: Rig, course: Course, permit: Option<Permit>, options: RunOptions) -> Self {
        let bounds = Bounds::new(
            &rig,
            match &course {
                Course::Measure(plan) => Some(plan),
                Course::Prove(_) => None,
            },
        );
        let interlock = Interlock::new(bounds.judge);
        Self {
            rig,
            bounds,
            course,
            options,
            permit,
            phase: Phase::Idle,
            phase_since: HostNs(0),
            splitter: Splitter::new(),
            sender: Sender::default(),
            interlock,
            clock: RigClock::default(),
            clock_watch: ClockWatch::default(),
            known: Known::default(),
            zeros: Zeros::default(),
            baseline_nm: 0.0,
            approach: None,
            approach_passed: false,
            plan_zero: 0,
            next_entry_us: None,
            plan_sent: false,
            rig_sequence: None,
            rig_event: None,
            next_row_tick: None,
            last_row_tick: None,
            keep_alive_due: HostNs::NEVER,
            fed_tick: None,
            alive: HostNs(0),
            contradicted: false,
            promised: HostNs::NEVER,
            end: None,
            zero_confirmed: false,
            was_armed: false,
            torque_after_nm: None,
            proofs: Proofs::default(),
            counters: Counters::default(),
            rows: VecDeque::with_capacity(ROW_CAPACITY),
            events: VecDeque::with_capacity(EVENT_CAPACITY),
            outcome: None,
        }
    }

    /// Begins.
    pub fn start(&mut self, now: HostNs) {
        if self.phase == Phase::Idle {
            self.greet(now);
            self.promised = self.deadline();
        }
    }

    /// Takes bytes that the port gave at `now`.
    pub fn receive(&mut self, now: HostNs, bytes: &[u8]) {
        self.check_wake(now);
        let mut splitter = core::mem::take(&mut self.splitter);
        for &byte in bytes {
            match splitter.push(byte) {
                Some(Ok(frame)) => self.on_frame(now, frame),
                Some(Err(_)) => self.on_bad_frame(now),
                None => {}
            }
        }
        self.splitter = splitter;
        self.advance(now);
        self.promised = self.deadline();
    }

    /// Time went on to `now`, and no bytes came.
    pub fn wake(&mut self, now: HostNs) {
        self.check_wake(now);
        self.advance(now);
        self.promised = self.deadline();
    }

    /// Ends the run early, from any phase.
    pub fn stop(&mut self, now: HostNs, cause: StopCause) {
        let reason = match cause {
            StopCause::Operator | StopCause::Terminated => StopReason::Operator,
            _ => StopReason::Failure,
        };
        if matches!(
            self.phase,
            Phase::Halting { .. } | Phase::Watching { .. } | Phase::Finished
        ) {
            // Already ending; what came first stays the reason, but a lost link ends the waiting.
            if matches!(cause, StopCause::LinkLost(_)) && self.phase != Phase::Finished {
                self.finish();
            }
            return;
        }
        let lost = matches!(cause, StopCause::LinkLost(_));
        self.interlock.apply(Event::StopAsked);
        self.halt(now, End::Stopped(cause), reason);
        if lost {
            // Nothing reaches the rig any more: its own watchdog and expiry end the torque.
            self.finish();
        }
        self.promised = self.deadline();
    }

    /// The earliest instant at which [`Run::wake`] must be called.
    #[must_use]
    pub fn deadline(&self) -> HostNs {
        if self.outcome.is_some() {
            return HostNs::NEVER;
        }
        self.phase_deadline()
            .min(self.sender.due())
            .min(self.keep_alive_due)
            .min(self.stale_deadline())
            .min(self.echo_deadline())
    }

    /// Moves bytes to be written to the end of `out`. `Some(true)`: throw away first what the port still holds unsent.
    pub fn poll_transmit(&mut self, out: &mut Vec<u8>) -> Option<bool> {
        self.sender.take(out)
    }

    /// The next sample row, in the order of ticks. Each was judged already.
    pub fn poll_row(&mut self) -> Option<SampleRow> {
        self.rows.pop_front()
    }

    /// The next event.
    pub fn poll_event(&mut self) -> Option<RunEvent> {
        self.events.pop_front()
    }

    /// How it ended, once it has.
    #[must_use]
    pub const fn outcome(&self) -> Option<&Outcome> {
        self.outcome.as_ref()
    }

    /// How far it is.
    #[must_use]
    pub fn progress(&self) -> Progress {
        let total_us = match &self.course {
            Course::Measure(plan) => plan.duration_us(),
            Course::Prove(_) => 0,
        };
        let played_us = match self.phase {
            Phase::Playing => self
                .clock
                .newest_tick()
                .map_or(0, |tick| tick.saturating_sub(self.plan_zero)),
            Phase::Ending | Phase::After { .. } | Phase::Finished => total_us,
            _ => 0,
        };
        let share = if total_us == 0 {
            0.0
        } else {
            (played_us as f64 / total_us as f64).min(1.0)
        };
        Progress {
            phase: self.phase.name(),
            share,
            left_s: total_us.saturating_sub(played_us) as f64 * rig_link::TICK_S,
        }
    }

    /// Where the interlock stands.
    #[must_use]
    pub const fn interlock(&self) -> &Interlock {
        &self.interlock
    }

    /// The limits in force.
    #[must_use]
    pub const fn bounds(&self) -> &Bounds {
        &self.bounds
    }

    /// The recording does not keep up: `waiting` of at most `capacity` parts wait to be written. While armed this is a
    /// condition of the interlock, else an end like any other failure of the recording.
    pub fn recording_stalled(&mut self, now: HostNs, waiting: usize, capacity: usize) {
        if self.is_armed() {
            let (waiting, capacity) = (waiting as f64, capacity as f64);
            self.raise(now, Condition::RecordingStalled, waiting, capacity, "waiting");
        } else {
            let why = "its queue is full".to_string();
            self.stop(now, StopCause::RecordingFailed(why));
        }
        self.promised = self.deadline();
    }

    /// Plan time that is being played, µs; `None` outside playing.
    #[must_use]
    pub fn plan_time_us(&self) -> Option<u64> {
        match self.phase {
            Phase::Playing => Some(self.clock.newest_tick()?.saturating_sub(self.plan_zero)),
            _ => None,
        }
    }

    fn plan(&self) -> Option<&Plan> {
        match &self.course {
            Course::Measure(plan) => Some(plan),
            Course::Prove(_) => None,
        }
    }

    fn sample_period_us(&self) -> u32 {
        match &self.course {
            Course::Measure(plan) => plan.sample_period_us(),
            Course::Prove(period) => *period,
        }
    }

    fn newest_tick(&self) -> u64 {
        self.clock.newest_tick().unwrap_or(0)
    }

    /// Puts an event out. A full queue means that nobody listens: fails closed.
    fn publish(&mut self, event: RunEvent) {
        if self.events.len() < EVENT_CAPACITY {
            self.events.push_back(event);
        }
    }

    fn enter(&mut self, now: HostNs, phase: Phase) {
        if phase.name() != self.phase.name() {
            let tick = self.newest_tick();
            self.publish(RunEvent::Phase {
                name: phase.name(),
                tick,
            });
        }
        self.phase = phase;
        self.phase_since = now;
    }

    /// Latches a condition that something else than a sample showed, and stops.
    fn raise(&mut self, now: HostNs, condition: Condition, measured: f64, limit: f64, unit: &'static str) {
        let trip = Trip {
            condition,
            measured,
            limit,
            unit,
            tick: self.newest_tick(),
            detail: "",
        };
        self.latch(now, trip);
    }

    /// The rig stopped by itself; an emergency stop has a name of its own.
    fn raise_rig_stop(&mut self, now: HostNs, cause: Option<TripCause>, detail: &'static str) {
        let tick = self.newest_tick();
        let condition = match cause {
            Some(TripCause::EmergencyStop) => Condition::EmergencyStop,
            _ => Condition::RigStopped,
        };
        self.latch(
            now,
            Trip {
                condition,
                measured: 0.0,
                limit: 0.0,
                unit: "",
                tick,
                detail,
            },
        );
    }

    fn latch(&mut self, now: HostNs, trip: Trip) {
        if let Some(first) = self.interlock.raise(trip) {
            self.trip(now, first);
        }
    }

    fn trip(&mut self, now: HostNs, trip: Trip) {
        self.publish(RunEvent::Tripped(trip));
        self.halt(now, End::Tripped(trip), StopReason::Interlock);
    }

    fn fail(&mut self, now: HostNs, failure: Failure) {
        self.interlock.apply(Event::StopAsked);
        self.halt(now, End::Failed(failure), StopReason::Failure);
    }

    /// Whether torque is permitted or asked for: what is only noted before arming is a trip now.
    fn is_armed(&self) -> bool {
        self.interlock.state() == State::Armed
    }

    /// A drive that wakes the run late cannot be relied on.
    fn check_wake(&mut self, now: HostNs) {
        let late_us = now.us_since(self.promised);
        self.counters.latest_wake_us = self.counters.latest_wake_us.max(late_us);
        if self.is_armed() && late_us > self.options.slack_us {
            let (late, slack) = (late_us as f64 * 1e-3, self.options.slack_us as f64 * 1e-3);
            self.raise(now, Condition::DeadlineMissed, late, slack, "ms");
        }
        if self.rows.len() >= ROW_CAPACITY {
            self.recording_stalled(now, self.rows.len(), ROW_CAPACITY);
        }
        if self.sender.overflowed || self.rows.len() >= ROW_CAPACITY || self.events.len() >= EVENT_CAPACITY {
            let cause = StopCause::ProgramFault("what the run hands out is not taken".to_string());
            self.sender.overflowed = false;
            self.stop(now, cause);
        }
    }
}
