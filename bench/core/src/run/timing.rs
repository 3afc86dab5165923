//! What time leads to: deadlines, silences, and the steps that wait for ticks.

use rig_link::{RigState, StopReason};

use super::phase::Phase;
use super::sender::Retry;
use super::{Failure, Run, Zeros};
use crate::interlock::Condition;
use crate::time::HostNs;

/// Time without torque over which zeros are taken, in ticks.
pub(super) const ZERO_US: u64 = 300_000;
/// Time for the first samples after they were asked for, µs.
const START_US: u64 = 1_000_000;
/// Time between two tries to clear a trip whose cause remains, µs.
pub(super) const CLEAR_AGAIN_US: u64 = 50_000;
/// Time between two tries of a stop, µs.
pub(super) const STOP_RESEND_US: u64 = 10_000;
/// Time after which a stop that nobody confirmed is given up, µs.
const STOP_GIVE_UP_US: u64 = 500_000;
/// Time for which the rim is recorded after a stop for a cause, µs.
pub(super) const WATCH_US: u64 = 300_000;
/// Longest round trip of a stop at zero torque, µs; the host's own delays included.
pub(super) const STOP_PROOF_US: u64 = 100_000;

impl Run {
    /// Instant at which the phase itself needs attention.
    pub(super) fn phase_deadline(&self) -> HostNs {
        match self.phase {
            Phase::Halting { since, resend } => resend.min(since.plus_us(STOP_GIVE_UP_US)),
            Phase::Watching {
                until,
                averaging: true,
            } => until,
            Phase::Watching {
                until,
                averaging: false,
            } => HostNs(until.0.saturating_sub(WATCH_US * 500)),
            Phase::Clearing { again } | Phase::Settling { again } if self.sender.pending.is_none() => again,
            Phase::Starting => self.phase_since.plus_us(START_US),
            Phase::ProvingStop { asked } => asked.plus_us(STOP_PROOF_US),
            Phase::ProvingWatchdog { since, .. } => since.plus_us(self.watchdog_limit_us() + STOP_PROOF_US),
            Phase::Ending => self.phase_since.plus_us(STOP_PROOF_US),
            Phase::Asking(_) if self.sender.pending.is_none() => self.phase_since.plus_us(START_US),
            _ => HostNs::NEVER,
        }
    }

    /// Instant at which a silent stream counts as stale.
    pub(super) fn stale_deadline(&self) -> HostNs {
        match self.clock.last_arrival() {
            Some(last) if self.phase.streams() => last.plus_us(self.silence_limit_us()),
            _ => HostNs::NEVER,
        }
    }

    /// Instant at which a rig that answers no keep-alive counts as gone.
    pub(super) fn echo_deadline(&self) -> HostNs {
        if self.is_armed() && !self.proves_watchdog() {
            self.alive.plus_us(self.options.stale_us)
        } else {
            HostNs::NEVER
        }
    }

    fn silence_limit_us(&self) -> u64 {
        if self.is_armed() {
            self.options.stale_us
        } else {
            START_US
        }
    }

    /// Does what time asks for.
    pub(super) fn advance(&mut self, now: HostNs) {
        if self.outcome.is_some() {
            return;
        }
        if let Retry::GivenUp { asked, waited_ms } = self.sender.retry(now) {
            self.fail(now, Failure::NoAnswer { asked, waited_ms });
        }
        if now >= self.stale_deadline() {
            self.on_silence(now);
        }
        if now >= self.echo_deadline() {
            let (silent, limit) = (now.us_since(self.alive), self.options.stale_us);
            let (silent_ms, limit_ms) = (silent as f64 * 1e-3, limit as f64 * 1e-3);
            self.raise(
                now,
                Condition::Watchdog,
                silent_ms,
                limit_ms,
                "ms without an echo",
            );
        }
        if now >= self.keep_alive_due {
            self.send_keep_alive(now);
        }
        self.advance_phase(now);
    }

    fn on_silence(&mut self, now: HostNs) {
        let silent_ms = self
            .clock
            .last_arrival()
            .map_or(0.0, |last| now.s_since(last) * 1e3);
        let limit_ms = self.silence_limit_us() as f64 * 1e-3;
        if self.is_armed() {
            self.raise(now, Condition::StaleSamples, silent_ms, limit_ms, "ms of silence");
        } else {
            self.fail(
                now,
                Failure::NoAnswer {
                    asked: "samples",
                    waited_ms: silent_ms as u64,
                },
            );
        }
    }

    fn advance_phase(&mut self, now: HostNs) {
        match self.phase {
            Phase::Starting => {
                // After a proof the newest status may be older than the trip it is to show.
                let fresh = self
                    .known
                    .status
                    .filter(|status| status.sampling && self.settled(status));
                match (fresh, self.clock.newest_tick()) {
                    (Some(status), Some(_)) if self.sender.pending.is_none() => {
                        self.leave_starting(now, status)
                    }
                    _ if now >= self.phase_since.plus_us(START_US) => {
                        let waited_ms = now.us_since(self.phase_since) / 1_000;
                        self.fail(
                            now,
                            Failure::NoAnswer {
                                asked: "samples",
                                waited_ms,
                            },
                        );
                    }
                    _ => {}
                }
            }
            Phase::Settling { again } if self.sender.pending.is_none() && now >= again => {
                let state = self.known.status.map_or(RigState::Idle, |status| status.state);
                if now >= self.phase_since.plus_us(START_US) {
                    self.fail(now, Failure::NotReady(state));
                } else {
                    self.ask_state(now);
                }
            }
            Phase::Baseline { until_tick: None } => {
                let until_tick = Some(self.newest_tick().saturating_add(ZERO_US));
                self.enter(now, Phase::Baseline { until_tick });
            }
            Phase::Baseline {
                until_tick: Some(until),
            } if self.newest_tick() >= until => self.leave_baseline(now),
            Phase::Asking(purpose) if self.sender.pending.is_none() => {
                if self
                    .known
                    .status
                    .is_some_and(|status| status.state == RigState::Ready)
                {
                    self.arm(now, purpose);
                } else if now >= self.phase_since.plus_us(START_US) {
                    let state = self.known.status.map_or(RigState::Idle, |status| status.state);
                    self.fail(now, Failure::NotReady(state));
                }
            }
            Phase::ProvingStop { asked } if now >= asked.plus_us(STOP_PROOF_US) => {
                self.fail(
                    now,
                    Failure::ProofFailed {
                        what: "stop",
                        measured_us: None,
                        limit_us: STOP_PROOF_US,
                    },
                );
            }
            Phase::ProvingWatchdog { since, .. }
                if now >= since.plus_us(self.watchdog_limit_us() + STOP_PROOF_US) =>
            {
                let limit_us = self.watchdog_limit_us();
                self.fail(
                    now,
                    Failure::ProofFailed {
                        what: "watchdog",
                        measured_us: None,
                        limit_us,
                    },
                );
            }
            Phase::Playing => self.play(now),
            Phase::Ending if now >= self.phase_since.plus_us(STOP_PROOF_US) => {
                let (asked, waited_ms) = ("the stop at the end", STOP_PROOF_US / 1_000);
                self.fail(now, Failure::NoAnswer { asked, waited_ms });
            }
            Phase::After { until_tick } if self.newest_tick() >= until_tick => self.leave_after(now),
            Phase::Halting { since, resend } => {
                if now >= since.plus_us(STOP_GIVE_UP_US) {
                    self.finish();
                } else if now >= resend {
                    self.sender.stop_now(self.stop_mode(), StopReason::Failure);
                    self.enter(
                        now,
                        Phase::Halting {
                            since,
                            resend: now.plus_us(STOP_RESEND_US),
                        },
                    );
                }
            }
            Phase::Watching {
                until,
                averaging: true,
            } if now >= until => {
                self.judge_aftermath();
                self.finish();
            }
            Phase::Watching {
                until,
                averaging: false,
            } if now >= HostNs(until.0.saturating_sub(WATCH_US * 500)) => {
                self.zeros = Zeros::default();
                self.phase = Phase::Watching {
                    until,
                    averaging: true,
                };
            }
            Phase::Clearing { again } if self.sender.pending.is_none() && now >= again => {
                let status = self.known.status;
                if now >= self.phase_since.plus_us(START_US) {
                    self.fail(now, Failure::NotReady(RigState::Tripped));
                } else {
                    self.clear_trip(now, status.map_or(0, |status| status.trips));
                }
            }
            _ => {}
        }
    }
}
