//! The ways out: the planned end, a stop for a cause, and what the sensor says of it.

use rig_link::message::Empty;
use rig_link::{HostMessage, RigState, StopReason};

use super::phase::Phase;
use super::timing::STOP_RESEND_US;
use super::{End, Failure, Outcome, Run, RunEvent};
use crate::interlock::Event;
use crate::time::HostNs;

/// Share of the peak torque above which torque after a confirmed stop is neither friction nor, on a rim that a drive
/// still turns, a motor that brakes.
const AFTERMATH_SHARE: f64 = 0.2;

impl Run {
    /// Ends with zero torque for a cause; the first cause stays.
    pub(super) fn halt(&mut self, now: HostNs, end: End, reason: StopReason) {
        if self.end.is_none() {
            self.end = Some(end);
        }
        if matches!(
            self.phase,
            Phase::Halting { .. } | Phase::Watching { .. } | Phase::Finished
        ) {
            return;
        }
        self.next_entry_us = None;
        self.zero_confirmed = false;
        // Nothing feeds the rig's watchdog any more: should no stop get through, it ends the torque.
        self.keep_alive_due = HostNs::NEVER;
        self.sender.stop_now(self.stop_mode(), reason);
        self.enter(
            now,
            Phase::Halting {
                since: now,
                resend: now.plus_us(STOP_RESEND_US),
            },
        );
    }

    /// The rig confirmed zero torque: the sensor must agree once the ringing is over, or the confirmation is worth
    /// nothing.
    pub(super) fn judge_aftermath(&mut self) {
        if self.zeros.count == 0 {
            return;
        }
        let torque_nm = self.zeros.torque / f64::from(self.zeros.count) - self.baseline_nm;
        self.torque_after_nm = Some(torque_nm);
        if !torque_nm.is_finite() || torque_nm.abs() > self.aftermath_limit_nm() {
            self.zero_confirmed = false;
        }
    }

    fn aftermath_limit_nm(&self) -> f64 {
        AFTERMATH_SHARE * self.rig.wheelbase.peak_torque_nm
    }

    /// The planned end: a stop, then the zeros once more.
    pub(super) fn end_run(&mut self, now: HostNs) {
        self.interlock.apply(Event::StopAsked);
        self.sender.stop_now(self.stop_mode(), StopReason::Finished);
        self.enter(now, Phase::Ending);
    }

    /// The zeros after the planned end were taken: only a sensor that shows no torque makes it a completed run.
    pub(super) fn leave_after(&mut self, now: HostNs) {
        self.judge_aftermath();
        if self.zero_confirmed {
            self.end = Some(End::Completed);
            self.finish();
            return;
        }
        let failure = Failure::TorqueRemains {
            measured_nm: self.torque_after_nm.unwrap_or(f64::NAN),
            limit_nm: self.aftermath_limit_nm(),
        };
        self.fail(now, failure);
    }

    /// Whether a rig that is armed contradicts what it said before, or was never asked to be. Then it is stopped; a
    /// rig that contradicted its own confirmation is not believed a second one.
    pub(super) fn is_armed_unasked(&mut self, now: HostNs) -> bool {
        match self.phase {
            Phase::Clearing { .. } | Phase::Baseline { .. } => {
                self.fail(now, Failure::NotReady(RigState::Armed));
                true
            }
            Phase::After { .. } | Phase::Watching { .. } => {
                self.contradicted = true;
                self.zero_confirmed = false;
                self.phase = Phase::Ending; // neither confirmed nor watched any more
                self.fail(now, Failure::NotReady(RigState::Armed));
                true
            }
            _ => false,
        }
    }

    pub(super) fn finish(&mut self) {
        let tick = self.newest_tick();
        self.publish(RunEvent::Phase {
            name: Phase::Finished.name(),
            tick,
        });
        if self.phase != Phase::Finished && self.end == Some(End::Completed) {
            self.sender.send(&HostMessage::StopSampling(Empty)); // leaves the line quiet
        }
        self.phase = Phase::Finished;
        self.keep_alive_due = HostNs::NEVER;
        self.outcome = Some(Outcome {
            end: self.end.clone().unwrap_or(End::Completed),
            zero_confirmed: self.zero_confirmed,
            was_armed: self.was_armed,
            torque_after_nm: self.torque_after_nm,
            proofs: self.proofs,
            counters: self.counters,
        });
    }
}
