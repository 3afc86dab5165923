//! The rig controller without its physics: the real table of states, the real challenge and the real memory of
//! keep-alives, put together as PROTOCOL.md 7 says. `tests/safety/model_check.rs` compares it with the virtual rig's
//! controller step by step.

use rig_link::RigState;
use virtual_rig::controller::transition::Change;
use virtual_rig::controller::{Challenge, Feed};

use super::line::Way;
use super::{Flaw, Parts, ToBench, ToRig};

/// Why it tripped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Cause {
    /// It did not.
    Nothing,
    /// Silence of the bench.
    Watchdog,
    /// A measured limit.
    Limit,
    /// The emergency-stop input.
    EmergencyStop,
}

/// The rig, and what is noted about it for the properties.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Rig {
    /// The state. Torque is possible in Armed alone: `Controller::output` says so.
    pub state: RigState,
    challenge: Challenge,
    feed: Feed,
    /// Whether the last feed is fresh; how long that lasts is the environment's to choose.
    pub fed: bool,
    /// Whether the brake acts.
    pub braking: bool,
    configured: bool,
    /// The emergency-stop input.
    pub closed: bool,
    /// Whether a measured limit is broken now.
    pub broken: bool,
    /// The latched cause.
    pub cause: Cause,
    /// Trips since boot.
    pub trips: u8,
    drawn: u8,
    /// Noted: whose limits are applied.
    pub configured_by: u8,
    /// Noted: whose request the newest challenge answers.
    asked_by: u8,
    /// Noted: who armed it, and whether to play.
    pub armed_by: (u8, bool),
    /// Noted, one bit a session: it tripped while that session's plan was played.
    tripped_of: u8,
    /// Noted: it armed without both steps of one session whose limits are applied.
    pub armed_wrongly: bool,
    /// Noted: it armed again for a session in whose plan it had tripped.
    pub armed_again: bool,
}

impl Rig {
    /// Just switched on.
    #[must_use]
    pub fn new() -> Self {
        Self {
            state: RigState::Idle,
            challenge: Challenge::default(),
            feed: Feed::default(),
            fed: false,
            braking: false,
            configured: false,
            closed: true,
            broken: false,
            cause: Cause::Nothing,
            trips: 0,
            drawn: 0,
            configured_by: 0,
            asked_by: 0,
            armed_by: (0, false),
            tripped_of: 0,
            armed_wrongly: false,
            armed_again: false,
        }
    }

    fn change(&mut self, parts: &Parts, change: Change) {
        let before = self.state;
        self.state = (parts.rig)(before, change);
        let arms = self.state == RigState::Armed && before != RigState::Armed;
        self.armed_wrongly |= arms && change != Change::Armed;
    }

    fn status(&self, out: &mut Way<ToBench>) {
        out.send(ToBench::Status {
            state: self.state,
            trips: self.trips,
        });
    }

    /// Whether arming is possible as far as the rig's own checks go.
    const fn may_arm(&self) -> bool {
        self.configured && self.closed && !self.broken
    }

    /// Carries out a frame.
    pub fn carry_out(&mut self, parts: &Parts, message: ToRig, out: &mut Way<ToBench>) {
        match message {
            ToRig::Hello { session } => out.send(ToBench::Identity { session }),
            ToRig::StatusRequest => self.status(out),
            ToRig::Configure { session } => {
                if !matches!(self.state, RigState::Idle | RigState::Ready) {
                    out.send(ToBench::Refused);
                    return;
                }
                self.change(parts, Change::Configured);
                self.challenge.void();
                self.feed = Feed::default();
                self.fed = false;
                self.configured = true;
                self.configured_by = session;
                out.send(ToBench::Configured);
            }
            ToRig::ArmRequest { session } => {
                if self.state != RigState::Ready || !self.may_arm() {
                    out.send(ToBench::Refused);
                    return;
                }
                self.drawn = self.drawn.wrapping_add(1);
                self.challenge.give(u32::from(self.drawn), 0);
                self.asked_by = session;
                out.send(ToBench::Challenge { number: self.drawn });
            }
            ToRig::ArmConfirm {
                number,
                session,
                to_play,
            } => self.confirm(parts, number, session, to_play, out),
            ToRig::KeepAlive { stamp } => {
                let before = self.feed;
                self.feed.take(u64::from(stamp), 0);
                self.fed |= self.feed != before;
            }
            ToRig::Stop => self.stop(parts, out),
            ToRig::ClearTrip { trips } => {
                if self.state != RigState::Tripped
                    || trips != self.trips
                    || self.braking
                    || self.cause_remains()
                {
                    out.send(ToBench::Refused);
                    return;
                }
                self.cause = Cause::Nothing;
                let change = if self.configured {
                    Change::TripCleared
                } else {
                    Change::TripClearedUnconfigured
                };
                self.change(parts, change);
                self.status(out);
            }
        }
    }

    fn confirm(&mut self, parts: &Parts, number: u8, session: u8, to_play: bool, out: &mut Way<ToBench>) {
        let valid = self.challenge.redeem(u32::from(number), 0) || parts.has(Flaw::AnyChallengeServes);
        if self.state != RigState::Ready || !valid || !self.may_arm() || !self.fed {
            out.send(ToBench::Refused);
            return;
        }
        self.change(parts, Change::Armed);
        self.armed_wrongly |= session != self.asked_by || session != self.configured_by;
        self.asked_by = 0; // each request arms once
        self.armed_again |= self.tripped_of & (1 << session) != 0;
        self.armed_by = (session, to_play);
        self.status(out);
    }

    fn stop(&mut self, parts: &Parts, out: &mut Way<ToBench>) {
        if !parts.has(Flaw::StopKeepsChallenge) {
            self.challenge.void();
        }
        if self.state == RigState::Armed {
            let change = if parts.brakes {
                Change::StoppedBraking
            } else {
                Change::StoppedCoasting
            };
            self.braking = parts.brakes;
            self.change(parts, change);
        }
        out.send(ToBench::Stopped { state: self.state });
    }

    const fn cause_remains(&self) -> bool {
        match self.cause {
            Cause::Watchdog => !self.fed,
            Cause::EmergencyStop => !self.closed,
            Cause::Limit => self.broken,
            Cause::Nothing => false,
        }
    }

    fn trip(&mut self, parts: &Parts, cause: Cause, out: &mut Way<ToBench>) {
        let was_armed = self.state == RigState::Armed;
        if was_armed && self.armed_by.1 {
            self.tripped_of |= 1 << self.armed_by.0;
        }
        self.braking |= was_armed && parts.brakes;
        self.challenge.void();
        self.change(parts, Change::Tripped);
        self.cause = cause;
        self.trips = self.trips.wrapping_add(1);
        out.send(ToBench::Tripped {
            watchdog: cause == Cause::Watchdog,
            trips: self.trips,
        });
    }

    /// The last feed is fresh no more.
    pub fn starve(&mut self, parts: &Parts, out: &mut Way<ToBench>) {
        self.fed = false;
        if self.state == RigState::Armed && !parts.has(Flaw::WatchdogSleeps) {
            self.trip(parts, Cause::Watchdog, out);
        }
    }

    /// A measured limit is broken, or holds again.
    pub fn set_broken(&mut self, parts: &Parts, broken: bool, out: &mut Way<ToBench>) {
        self.broken = broken;
        if broken && matches!(self.state, RigState::Armed | RigState::Stopping) {
            self.trip(parts, Cause::Limit, out);
        }
    }

    /// The emergency-stop input opens or closes.
    pub fn set_closed(&mut self, parts: &Parts, closed: bool, out: &mut Way<ToBench>) {
        self.closed = closed;
        if !closed {
            self.challenge.void();
            if matches!(self.state, RigState::Armed | RigState::Stopping) {
                self.trip(parts, Cause::EmergencyStop, out);
            }
        }
    }

    /// The brake's time is over, or the rim at rest.
    pub fn release_brake(&mut self, parts: &Parts, out: &mut Way<ToBench>) {
        self.braking = false;
        if self.state == RigState::Stopping {
            self.change(parts, Change::BrakeReleased);
            self.status(out);
        }
    }

    /// Nothing to play for ten seconds.
    pub fn idle(&mut self, parts: &Parts, out: &mut Way<ToBench>) {
        self.change(parts, Change::ArmIdle);
        self.status(out);
    }

    /// Two seconds since the challenge.
    pub fn expire_challenge(&mut self) {
        self.challenge.expire(u64::MAX);
    }

    /// Whether a challenge is outstanding.
    #[must_use]
    pub fn has_challenge(&self) -> bool {
        let mut without = self.challenge;
        without.void();
        without != self.challenge
    }

    /// A report by itself, if it samples.
    pub fn report(&self, out: &mut Way<ToBench>) {
        self.status(out);
    }

    /// Whether it reports by itself.
    #[must_use]
    pub const fn reports(&self) -> bool {
        self.configured
    }

    /// A reset: all is forgotten but the input and what is noted.
    pub fn reboot(&mut self, parts: &Parts, out: &mut Way<ToBench>) {
        self.change(parts, Change::Booted);
        *self = Self {
            state: self.state,
            closed: self.closed,
            broken: self.broken,
            drawn: self.drawn, // stands for numbers that cannot be foreseen: never one of before
            armed_by: self.armed_by,
            tripped_of: self.tripped_of,
            armed_wrongly: self.armed_wrongly,
            armed_again: self.armed_again,
            ..Self::new()
        };
        out.send(ToBench::Booted);
    }
}

impl Default for Rig {
    fn default() -> Self {
        Self::new()
    }
}
