//! A run of the bench without its numbers: the real table of the interlock, put together with the phases of a run as
//! `bench-core`'s `run` does.

use bench_core::interlock::{Event, State};
use rig_link::RigState;

use super::line::Way;
use super::{Flaw, Parts, ToBench, ToRig};

/// Stamps of a program that differ; a whole run needs five.
const STAMPS: u8 = 6;

/// What arming is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Purpose {
    /// To prove the stop.
    Stop,
    /// To prove the watchdog.
    Watchdog,
    /// To play.
    Play,
}

/// Where a run is; see `bench-core`'s phases.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Phase {
    /// No program runs: it died, whatever the interlock had come to.
    Dead,
    /// Asks who is there.
    Greeting,
    /// Clears what an earlier program left behind.
    Settling,
    /// Sends limits.
    Configuring,
    /// Waits for the first report; after the watchdog's proof, for one that shows the trip.
    Starting {
        /// Whether the watchdog was proved.
        proved: bool,
    },
    /// Clears the trip that is left.
    Clearing {
        /// Whether the watchdog was proved.
        proved: bool,
    },
    /// Waits for the rig to be ready, then for a challenge.
    Asking(Purpose),
    /// Waits for permission.
    Confirming(Purpose),
    /// A stop is on its way to be proved.
    ProvingStop,
    /// Silent until the rig's watchdog fires.
    ProvingWatchdog,
    /// Plays.
    Playing,
    /// Played; waits for the stop to be confirmed.
    Ending,
    /// Confirmed; takes zeros.
    After,
    /// Stopping for a cause.
    Halting,
    /// Confirmed; watches the rim.
    Watching,
    /// Over.
    Finished,
}

/// A request that waits for its answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Pending {
    message: ToRig,
    tries_left: u8,
}

/// A run, and what is noted about it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Bench {
    /// Which program, from 1.
    pub session: u8,
    /// The interlock's state.
    pub interlock: State,
    /// The run's phase.
    pub phase: Phase,
    pending: Option<Pending>,
    stamp: u8,
    /// Times that it may still ask for the rig's state while it settles.
    asks_left: u8,
    /// The rig confirmed zero torque, as far as the run believes.
    pub confirmed: bool,
    /// The newest count of trips that it was told.
    pub seen_trips: u8,
    /// Noted: the interlock tripped in this session.
    pub latched: bool,
}

impl Bench {
    /// A program that has just opened the port.
    #[must_use]
    pub fn begin(session: u8, stamp: u8, out: &mut Way<ToRig>) -> Self {
        let mut bench = Self {
            session,
            interlock: State::Disarmed,
            phase: Phase::Greeting,
            pending: None,
            stamp,
            asks_left: 1,
            confirmed: false,
            seen_trips: 0,
            latched: false,
        };
        bench.ask(ToRig::Hello { session }, 1, out);
        bench
    }

    fn apply(&mut self, parts: &Parts, event: Event) {
        self.interlock = (parts.bench)(self.interlock, event);
        self.latched |= event == Event::ConditionFired;
    }

    fn ask(&mut self, message: ToRig, tries_left: u8, out: &mut Way<ToRig>) {
        self.pending = Some(Pending { message, tries_left });
        out.send(message);
    }

    /// The clock's stamp: rises from program to program.
    #[must_use]
    pub const fn stamp(&self) -> u8 {
        self.stamp
    }

    fn keep_alive(&mut self, out: &mut Way<ToRig>) {
        // The last ones of a program that sends very many feed nothing, as if they were lost: stamps stay few.
        self.stamp = self.stamp.saturating_add(1).min(STAMPS * self.session);
        out.send(ToRig::KeepAlive { stamp: self.stamp });
    }

    /// Whether torque is permitted as far as the bench is concerned.
    #[must_use]
    pub fn armed(&self) -> bool {
        self.phase != Phase::Dead && self.interlock == State::Armed
    }

    /// Whether keep-alives come by themselves.
    #[must_use]
    pub const fn feeds(&self) -> bool {
        matches!(
            self.phase,
            Phase::Starting { .. }
                | Phase::Clearing { .. }
                | Phase::Asking(_)
                | Phase::Confirming(_)
                | Phase::ProvingStop
                | Phase::Playing
                | Phase::Ending
                | Phase::After
        )
    }

    /// Whether it believes the motor stopped for good: the rig confirmed it.
    #[must_use]
    pub const fn believes_stopped(&self) -> bool {
        self.confirmed && matches!(self.phase, Phase::After | Phase::Watching | Phase::Finished)
    }

    /// Whether the run is over, one way or another.
    #[must_use]
    pub const fn is_over(&self) -> bool {
        matches!(self.phase, Phase::Dead | Phase::Finished)
    }

    /// Takes a frame.
    pub fn take(&mut self, parts: &Parts, message: ToBench, out: &mut Way<ToRig>) {
        if self.is_over() {
            return;
        }
        match message {
            ToBench::Identity { session } => {
                if self.phase == Phase::Greeting && session == self.session {
                    self.phase = Phase::Settling;
                    self.ask(ToRig::StatusRequest, 1, out);
                }
            }
            ToBench::Configured => {
                if self.phase == Phase::Configuring {
                    self.pending = None;
                    self.phase = Phase::Starting {
                        proved: !parts.proves,
                    };
                }
            }
            ToBench::Challenge { number } => {
                if let Phase::Asking(purpose) = self.phase {
                    self.phase = Phase::Confirming(purpose);
                    let confirm = ToRig::ArmConfirm {
                        number,
                        session: self.session,
                        to_play: purpose == Purpose::Play,
                    };
                    self.ask(confirm, 0, out); // never sent again by itself
                }
            }
            ToBench::Status { state, trips } => self.status(parts, state, trips, out),
            ToBench::Stopped { state } => self.stopped(parts, state, out),
            ToBench::Tripped { watchdog, trips } => {
                self.seen_trips = trips;
                let wanted = self.phase == Phase::ProvingWatchdog
                    || self.phase == Phase::Playing && parts.has(Flaw::TripIsTakenForProof);
                if wanted && watchdog {
                    self.apply(parts, Event::StopAsked);
                    self.apply(parts, Event::StopConfirmed);
                    self.phase = Phase::Starting { proved: true };
                } else if self.armed() {
                    self.trip(parts, out);
                }
            }
            ToBench::Booted => {
                // Before the greeting is answered there is nothing to be lost.
                if !matches!(self.phase, Phase::Greeting) {
                    self.trip(parts, out);
                }
            }
            ToBench::Refused => {
                let waits = matches!(self.phase, Phase::Settling | Phase::Clearing { .. });
                if self.pending.take().is_some() && !waits {
                    self.fail(parts, out);
                }
            }
        }
    }

    fn status(&mut self, parts: &Parts, state: RigState, trips: u8, out: &mut Way<ToRig>) {
        if self.phase == Phase::Playing && parts.has(Flaw::ReportsAreNotRead) {
            return;
        }
        self.seen_trips = trips;
        let armed = state == RigState::Armed;
        if self.armed() && self.phase != Phase::ProvingWatchdog && !armed {
            self.trip(parts, out);
            return;
        }
        match self.phase {
            Phase::Clearing { .. } if armed => self.fail(parts, out),
            Phase::After | Phase::Watching if armed => {
                // A rig that contradicts itself is not believed.
                self.confirmed = false;
                self.phase = Phase::Ending;
                self.fail(parts, out);
            }
            Phase::Settling => match state {
                RigState::Idle | RigState::Ready => {
                    self.phase = Phase::Configuring;
                    let session = self.session;
                    self.ask(ToRig::Configure { session }, 1, out);
                }
                // The real one sends both once more with each status; what is on its way is enough here.
                RigState::Tripped if self.clears() => {}
                RigState::Tripped => {
                    self.keep_alive(out);
                    self.ask(ToRig::ClearTrip { trips }, 1, out);
                }
                RigState::Armed => {
                    self.pending = None;
                    out.send(ToRig::Stop);
                }
                RigState::Stopping => self.pending = None,
            },
            Phase::Starting { proved } => match state {
                RigState::Ready if !proved => self.arm(parts, Purpose::Stop, out),
                RigState::Ready if !parts.proves => self.arm(parts, Purpose::Play, out),
                RigState::Tripped => {
                    self.phase = Phase::Clearing { proved };
                    self.keep_alive(out);
                    self.ask(ToRig::ClearTrip { trips }, 1, out);
                }
                _ => {}
            },
            Phase::Clearing { proved } if state == RigState::Ready => {
                self.pending = None;
                self.arm(parts, if proved { Purpose::Play } else { Purpose::Stop }, out);
            }
            Phase::Asking(purpose) if state == RigState::Ready && self.pending.is_none() => {
                self.arm(parts, purpose, out);
            }
            Phase::Confirming(purpose) if armed => {
                self.pending = None;
                self.apply(parts, Event::ArmGranted);
                if self.interlock != State::Armed {
                    self.fail(parts, out);
                    return;
                }
                match purpose {
                    Purpose::Stop => {
                        self.phase = Phase::ProvingStop;
                        self.apply(parts, Event::StopAsked);
                        out.send(ToRig::Stop);
                    }
                    Purpose::Watchdog => self.phase = Phase::ProvingWatchdog,
                    Purpose::Play => self.phase = Phase::Playing,
                }
            }
            _ => {}
        }
    }

    fn stopped(&mut self, parts: &Parts, state: RigState, out: &mut Way<ToRig>) {
        let at_zero = state != RigState::Armed;
        match self.phase {
            Phase::ProvingStop if !at_zero => self.fail(parts, out),
            Phase::ProvingStop => {
                self.apply(parts, Event::StopConfirmed);
                self.phase = Phase::Asking(Purpose::Watchdog);
            }
            Phase::Ending if at_zero => {
                self.apply(parts, Event::StopConfirmed);
                self.confirmed = true;
                self.phase = Phase::After;
            }
            Phase::Halting if at_zero => {
                self.apply(parts, Event::StopConfirmed);
                self.confirmed = true;
                self.phase = Phase::Watching;
            }
            _ => {}
        }
    }

    fn arm(&mut self, parts: &Parts, purpose: Purpose, out: &mut Way<ToRig>) {
        self.apply(parts, Event::ArmAsked);
        self.phase = Phase::Asking(purpose);
        self.keep_alive(out);
        let session = self.session;
        self.ask(ToRig::ArmRequest { session }, 1, out);
    }

    /// Stops for a cause.
    fn halt(&mut self, parts: &Parts, out: &mut Way<ToRig>) {
        if matches!(self.phase, Phase::Halting | Phase::Watching | Phase::Finished) {
            return;
        }
        self.pending = None;
        self.confirmed = parts.has(Flaw::AskingIsBelieved);
        self.phase = Phase::Halting;
        out.send(ToRig::Stop);
    }

    /// A condition fires.
    pub fn trip(&mut self, parts: &Parts, out: &mut Way<ToRig>) {
        self.apply(parts, Event::ConditionFired);
        if !parts.has(Flaw::ConditionStopsNothing) {
            self.halt(parts, out);
        }
    }

    /// Something failed, or somebody asked for a stop.
    pub fn fail(&mut self, parts: &Parts, out: &mut Way<ToRig>) {
        self.apply(parts, Event::StopAsked);
        self.halt(parts, out);
    }

    /// The plan is played.
    pub fn end(&mut self, parts: &Parts, out: &mut Way<ToRig>) {
        self.apply(parts, Event::StopAsked);
        self.phase = Phase::Ending;
        out.send(ToRig::Stop);
    }

    /// A stop that nobody confirmed is sent again.
    pub fn resend_stop(&self, out: &mut Way<ToRig>) {
        out.send(ToRig::Stop);
    }

    /// Nothing more is waited for.
    pub const fn finish(&mut self) {
        self.phase = Phase::Finished;
    }

    /// Whether an answer is overdue at some time: a request, or a step that has a time limit.
    #[must_use]
    pub const fn waits(&self) -> bool {
        self.pending.is_some()
            || matches!(
                self.phase,
                Phase::Settling
                    | Phase::Starting { .. }
                    | Phase::Clearing { .. }
                    | Phase::Asking(_)
                    | Phase::ProvingStop
                    | Phase::ProvingWatchdog
                    | Phase::Ending
            )
    }

    /// The time for an answer is over: asked again, or given up.
    pub fn overdue(&mut self, parts: &Parts, out: &mut Way<ToRig>) {
        match self.pending {
            Some(pending) if pending.tries_left > 0 => {
                self.ask(pending.message, pending.tries_left - 1, out);
            }
            _ => self.fail(parts, out),
        }
    }

    /// Asks for the rig's state once more while it settles.
    pub fn ask_state(&mut self, out: &mut Way<ToRig>) {
        self.asks_left = self.asks_left.saturating_sub(1);
        self.ask(ToRig::StatusRequest, 0, out);
    }

    /// Whether a trip is being cleared.
    fn clears(&self) -> bool {
        let message = self.pending.map(|pending| pending.message);
        matches!(message, Some(ToRig::ClearTrip { .. }))
    }

    /// Whether it may ask for the rig's state once more.
    #[must_use]
    pub const fn may_ask_state(&self) -> bool {
        matches!(self.phase, Phase::Settling) && self.pending.is_none() && self.asks_left > 0
    }

    /// The program dies without a word.
    pub const fn die(&mut self) {
        self.phase = Phase::Dead;
        self.pending = None;
    }
}
