//! A model of bench and rig controller on a lossy line, small enough that every state it can reach is looked at.
//!
//! - [`mod@bench`] is a run with the real table of the interlock; [`rig`] is the controller with its real table of states,
//!   its real challenge and its real memory of keep-alives; [`mod@line`] is what lies between them.
//! - [`world`] puts them together and says what can happen next: a frame is delivered, lost or doubled, the line is cut
//!   and comes back, a time limit ends, the watchdog fires, the operator stops, a limit is broken on either side, the
//!   emergency stop opens or closes, the rig reboots, the program dies and is started again.
//! - [`search`] visits all of it, and finds out what is inevitable.
//!
//! Time is left out: whatever takes time may take any time, so that every order of events occurs. Numbers are left out
//! where they decide nothing. A frame may be lost without a trace (the real bench notices by its sequence, and stops
//! sooner). Frames never overtake each other, as bytes on a line do not; the doubling stands for a sender or an adapter
//! that repeats itself.
//!
//! A library for model checking that is well kept would have been taken, but the one considered documents that its
//! check of what happens eventually is right on acyclic graphs alone, and this one is full of cycles: tries are
//! repeated, reports come by themselves. What is needed instead is a hundred lines in [`search`].

pub mod bench;
pub mod line;
pub mod rig;
pub mod search;
pub mod world;

use bench_core::interlock::{Event, State};
use rig_link::RigState;
use virtual_rig::controller::transition::{self, Change};

/// From the bench to the rig. `session` is not on the wire: it notes who sent it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ToRig {
    /// Who is there? The session stands for the nonce.
    Hello {
        /// Whose.
        session: u8,
    },
    /// Asks for a status.
    StatusRequest,
    /// Limits; sampling begins with them.
    Configure {
        /// Whose.
        session: u8,
    },
    /// First step.
    ArmRequest {
        /// Whose.
        session: u8,
    },
    /// Second step.
    ArmConfirm {
        /// The challenge.
        number: u8,
        /// Whose.
        session: u8,
        /// Noted: to play, or to prove something.
        to_play: bool,
    },
    /// Feeds the watchdog.
    KeepAlive {
        /// Rises.
        stamp: u8,
    },
    /// Stop.
    Stop,
    /// Opens the latch.
    ClearTrip {
        /// The count that was told.
        trips: u8,
    },
}

/// From the rig to the bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ToBench {
    /// Answers a greeting.
    Identity {
        /// The nonce.
        session: u8,
    },
    /// Limits are applied.
    Configured,
    /// Answers the first step.
    Challenge {
        /// To be sent back.
        number: u8,
    },
    /// State and count of trips; stands for samples too, which carry the state.
    Status {
        /// The state.
        state: RigState,
        /// Trips since boot.
        trips: u8,
    },
    /// Answers a stop.
    Stopped {
        /// The state.
        state: RigState,
    },
    /// The event of a trip.
    Tripped {
        /// Whether it was the watchdog.
        watchdog: bool,
        /// Trips since boot.
        trips: u8,
    },
    /// The event of a boot.
    Booted,
    /// Answers what cannot be done.
    Refused,
}

/// Something broken on purpose: each is found by one of the properties, or the property is worth nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Flaw {
    /// A stop leaves the challenge valid.
    StopKeepsChallenge,
    /// The challenge is not compared.
    AnyChallengeServes,
    /// The rig's watchdog never fires.
    WatchdogSleeps,
    /// The bench takes its own wish to stop for the rig's confirmation.
    AskingIsBelieved,
    /// While it plays the bench does not look at the state in the rig's reports.
    ReportsAreNotRead,
    /// Silence of the rig is not noticed.
    SilenceIsNotNoticed,
    /// The bench takes a trip in the plan for the one that it wanted to see, clears it and arms again.
    TripIsTakenForProof,
    /// A condition is noted and nothing is done.
    ConditionStopsNothing,
}

/// The tables under test, and how much may go wrong.
#[derive(Clone, Copy)]
pub struct Parts {
    /// The interlock's table.
    pub bench: fn(State, Event) -> State,
    /// The rig's table.
    pub rig: fn(RigState, Change) -> RigState,
    /// What is broken on purpose.
    pub flaw: Option<Flaw>,
    /// Whether stop and watchdog are proved first (`RunOptions::prove`).
    pub proves: bool,
    /// Whether the rig stops with its brake.
    pub brakes: bool,
    /// Programs that may be started one after the other.
    pub sessions: u8,
    /// Times that the line may lose a frame; `None`: always.
    pub losses: Option<u8>,
    /// Times that the line may double a frame.
    pub doubles: u8,
    /// Times that the rig may reboot.
    pub reboots: u8,
    /// Times that the line may be cut, and may come back.
    pub cuts: u8,
    /// Whether limits and emergency stop of the rig may change.
    pub inputs: bool,
}

impl Parts {
    /// The real tables, with nothing that goes wrong.
    #[must_use]
    pub const fn real() -> Self {
        Self {
            bench: State::after,
            rig: transition::after,
            flaw: None,
            proves: true,
            brakes: false,
            sessions: 1,
            losses: None,
            doubles: 0,
            reboots: 0,
            cuts: 0,
            inputs: false,
        }
    }

    /// Whether `flaw` is there.
    #[must_use]
    pub fn has(&self, flaw: Flaw) -> bool {
        self.flaw == Some(flaw)
    }
}
