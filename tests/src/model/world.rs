//! Bench, line and rig together, and what can happen next.

use bench_core::interlock::State;
use rig_link::RigState;

use super::bench::{Bench, Phase};
use super::line::Way;
use super::rig::Rig;
use super::{Flaw, Parts, ToBench, ToRig};

/// Everything at one moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct World {
    /// The bench.
    pub bench: Bench,
    /// The rig.
    pub rig: Rig,
    /// Frames under way to the rig.
    pub to_rig: Way<ToRig>,
    /// Frames under way to the bench.
    pub to_bench: Way<ToBench>,
    /// Whether the line carries anything.
    pub up: bool,
    losses: Option<u8>,
    doubles: u8,
    reboots: u8,
    cuts: u8,
}

/// What can happen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Action {
    /// The oldest frame reaches the rig.
    ReachRig,
    /// The oldest frame reaches the bench.
    ReachBench,
    /// A stop that lies behind others is carried out before them (PROTOCOL.md 7.8).
    StopOvertakes,
    /// The rig reports by itself.
    Report,
    /// The last feed is not fresh any more: the watchdog, if armed.
    Starve,
    /// The rig's brake is released.
    ReleaseBrake,
    /// Time limit of the bench: an answer is overdue.
    Overdue,
    /// The bench asks for the rig's state once more.
    AskState,
    /// The bench sends its stop again.
    ResendStop,
    /// The bench gives up waiting for the confirmation.
    GiveUpStop,
    /// What follows a confirmed stop is over.
    WatchOver,
    /// While armed the bench hears nothing of the rig for too long.
    Silence,
    /// The plan is played.
    PlanOver,
    /// The rig has had nothing to play for ten seconds.
    ArmIdle,
    /// The challenge is too old.
    ChallengeExpires,
    /// The oldest frame to the rig is lost.
    LoseToRig,
    /// The oldest frame to the bench is lost.
    LoseToBench,
    /// The oldest frame to the rig is delivered and comes once more.
    DoubleToRig,
    /// The oldest frame to the bench is delivered and comes once more.
    DoubleToBench,
    /// The line is cut, with all that is on it.
    Cut,
    /// The line comes back.
    Mend,
    /// The operator stops.
    Operator,
    /// A condition of the bench fires.
    Condition,
    /// A limit of the rig is broken.
    LimitBreaks,
    /// It holds again.
    LimitHolds,
    /// The emergency stop opens.
    StopOpens,
    /// It closes.
    StopCloses,
    /// The rig reboots.
    Reboot,
    /// The program dies without a word.
    Crash,
    /// The program is started again.
    Restart,
}

use Action as A;

/// All of them.
pub const ACTIONS: [Action; 30] = [
    A::ReachRig,
    A::ReachBench,
    A::StopOvertakes,
    A::Report,
    A::Starve,
    A::ReleaseBrake,
    A::Overdue,
    A::AskState,
    A::ResendStop,
    A::GiveUpStop,
    A::WatchOver,
    A::Silence,
    A::PlanOver,
    A::ArmIdle,
    A::ChallengeExpires,
    A::LoseToRig,
    A::LoseToBench,
    A::DoubleToRig,
    A::DoubleToBench,
    A::Cut,
    A::Mend,
    A::Operator,
    A::Condition,
    A::LimitBreaks,
    A::LimitHolds,
    A::StopOpens,
    A::StopCloses,
    A::Reboot,
    A::Crash,
    A::Restart,
];

impl Action {
    /// Whether it belongs to what goes on by itself once nothing more goes wrong.
    #[must_use]
    pub const fn goes_on(self) -> bool {
        matches!(
            self,
            A::ReachRig
                | A::ReachBench
                | A::StopOvertakes
                | A::Report
                | A::Starve
                | A::ReleaseBrake
                | A::Overdue
                | A::AskState
                | A::ResendStop
                | A::GiveUpStop
                | A::WatchOver
                | A::Silence
                | A::PlanOver
        )
    }

    /// Whether it must happen at some time if it is possible all the time in `world`. What may happen but need not is
    /// not counted on: that the watchdog fires while keep-alives come, that a frame is late for no reason.
    #[must_use]
    pub const fn is_due(self, world: &World) -> bool {
        match self {
            A::ReachRig
            | A::ReachBench
            | A::Report
            | A::ReleaseBrake
            | A::Overdue
            | A::AskState
            | A::ResendStop
            | A::GiveUpStop
            | A::WatchOver => true,
            A::Starve => !world.up || !world.bench.feeds(),
            A::Silence => !world.up || !world.rig.reports(),
            _ => false,
        }
    }
}

impl World {
    /// A rig just switched on and a program just started.
    #[must_use]
    pub fn new(parts: &Parts) -> Self {
        let mut to_rig = Way::new();
        let bench = Bench::begin(1, 0, &mut to_rig);
        Self {
            bench,
            rig: Rig::new(),
            to_rig,
            to_bench: Way::new(),
            up: true,
            losses: parts.losses,
            doubles: parts.doubles,
            reboots: parts.reboots,
            cuts: 2 * parts.cuts,
        }
    }

    fn stop_behind(&self) -> bool {
        !matches!(self.to_rig.first(), Some(ToRig::Stop))
            && self.to_rig.iter().any(|message| message == ToRig::Stop)
    }

    /// Whether `action` is possible.
    #[must_use]
    pub fn can(&self, parts: &Parts, action: Action) -> bool {
        let (bench, rig) = (&self.bench, &self.rig);
        match action {
            A::ReachRig => !self.to_rig.is_empty(),
            A::ReachBench => !self.to_bench.is_empty(),
            A::LoseToRig => self.losses != Some(0) && !self.to_rig.is_empty(),
            A::LoseToBench => self.losses != Some(0) && !self.to_bench.is_empty(),
            A::DoubleToRig => self.doubles > 0 && !self.to_rig.is_empty(),
            A::DoubleToBench => self.doubles > 0 && !self.to_bench.is_empty(),
            A::StopOvertakes => self.stop_behind(),
            A::Report => rig.reports() && self.up && self.to_bench.is_empty(),
            A::Starve => rig.fed,
            A::ReleaseBrake => rig.braking,
            A::Overdue => !bench.is_over() && bench.waits(),
            A::AskState => bench.may_ask_state() && self.to_rig.is_empty(),
            A::ResendStop => bench.phase == Phase::Halting && self.up && self.to_rig.is_empty(),
            A::GiveUpStop => bench.phase == Phase::Halting,
            A::WatchOver => matches!(bench.phase, Phase::Watching | Phase::After),
            A::Silence => {
                bench.armed()
                    && bench.phase != Phase::ProvingWatchdog
                    && !parts.has(Flaw::SilenceIsNotNoticed)
            }
            A::PlanOver => bench.phase == Phase::Playing && bench.interlock == State::Armed,
            A::ArmIdle => rig.state == RigState::Armed,
            A::ChallengeExpires => rig.has_challenge(),
            A::Cut => self.up && self.cuts > 0,
            A::Mend => !self.up && self.cuts > 0,
            A::Operator => !bench.is_over() && !matches!(bench.phase, Phase::Halting | Phase::Watching),
            A::Condition => bench.armed(),
            A::LimitBreaks => parts.inputs && !rig.broken,
            A::LimitHolds => parts.inputs && rig.broken,
            A::StopOpens => parts.inputs && rig.closed,
            A::StopCloses => parts.inputs && !rig.closed,
            A::Reboot => self.reboots > 0,
            // At the moments when something of it may still arm the rig, or hold it armed.
            A::Crash => {
                matches!(
                    bench.phase,
                    Phase::Confirming(_) | Phase::Playing | Phase::Halting
                ) && bench.session < parts.sessions
            }
            // One that ended by itself is followed by one that finds the same: only a dead one leaves something behind.
            A::Restart => bench.phase == Phase::Dead && bench.session < parts.sessions,
        }
    }

    /// What comes of `action`; it must be possible.
    #[must_use]
    pub fn after(&self, parts: &Parts, action: Action) -> Self {
        let mut next = *self;
        next.act(parts, action);
        if !next.up {
            next.to_rig.clear();
            next.to_bench.clear();
        }
        next
    }

    fn act(&mut self, parts: &Parts, action: Action) {
        let Self {
            bench,
            rig,
            to_rig,
            to_bench,
            ..
        } = self;
        match action {
            A::ReachRig => {
                if let Some(message) = to_rig.take() {
                    rig.carry_out(parts, message, to_bench);
                }
            }
            A::DoubleToRig => {
                self.doubles -= 1;
                if let Some(message) = to_rig.first() {
                    rig.carry_out(parts, message, to_bench);
                }
            }
            A::ReachBench => {
                if let Some(message) = to_bench.take() {
                    bench.take(parts, message, to_rig);
                }
            }
            A::DoubleToBench => {
                self.doubles -= 1;
                if let Some(message) = to_bench.first() {
                    bench.take(parts, message, to_rig);
                }
            }
            A::StopOvertakes => {
                let mut rest = Way::new();
                let mut taken = false;
                for message in to_rig.iter() {
                    if message == ToRig::Stop && !taken {
                        taken = true;
                    } else {
                        rest.send(message);
                    }
                }
                *to_rig = rest;
                rig.carry_out(parts, ToRig::Stop, to_bench);
            }
            A::LoseToRig => {
                self.losses = self.losses.map(|left| left - 1);
                to_rig.take();
            }
            A::LoseToBench => {
                self.losses = self.losses.map(|left| left - 1);
                to_bench.take();
            }
            A::Report => rig.report(to_bench),
            A::Starve => rig.starve(parts, to_bench),
            A::ReleaseBrake => rig.release_brake(parts, to_bench),
            A::Overdue => bench.overdue(parts, to_rig),
            A::AskState => bench.ask_state(to_rig),
            A::ResendStop => bench.resend_stop(to_rig),
            A::GiveUpStop | A::WatchOver => bench.finish(),
            A::Silence | A::Condition => bench.trip(parts, to_rig),
            A::PlanOver => bench.end(parts, to_rig),
            A::ArmIdle => rig.idle(parts, to_bench),
            A::ChallengeExpires => rig.expire_challenge(),
            A::Cut | A::Mend => {
                self.cuts -= 1;
                self.up = !self.up;
            }
            A::Operator => bench.fail(parts, to_rig),
            A::LimitBreaks => rig.set_broken(parts, true, to_bench),
            A::LimitHolds => rig.set_broken(parts, false, to_bench),
            A::StopOpens => rig.set_closed(parts, false, to_bench),
            A::StopCloses => rig.set_closed(parts, true, to_bench),
            A::Reboot => {
                self.reboots -= 1;
                rig.reboot(parts, to_bench);
            }
            A::Crash => bench.die(),
            A::Restart => *bench = Bench::begin(bench.session + 1, bench.stamp(), to_rig),
        }
    }
}
