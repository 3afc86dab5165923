//! Arming, and the proofs at zero torque that stop and watchdog work.

use rig_link::message::{ArmChallenge, ArmConfirm, ArmRequest, KeepAlive, Status, Stop, Stopped};
use rig_link::{HostMessage, RigState, StopReason, TripCause};

use super::phase::{Phase, Purpose};
use super::timing::{STOP_PROOF_US, WATCH_US, ZERO_US};
use super::{Course, Failure, Run, Zeros};
use crate::interlock::{Event, State};
use crate::time::HostNs;

/// By how much the rig's watchdog may be later than its setting, µs.
const WATCHDOG_TOLERANCE_US: u64 = 2_000;

/// Time between two keep-alives under a watchdog, µs: a quarter of it, and not more often than once in a millisecond.
#[must_use]
pub fn keep_alive_us(watchdog_us: u32) -> u64 {
    u64::from(watchdog_us / 4).max(1_000)
}

impl Run {
    /// Asks for permission: the first of two steps.
    pub(super) fn arm(&mut self, now: HostNs, purpose: Purpose) {
        let Some(configuration) = self.known.configuration else {
            return;
        };
        self.interlock.apply(Event::ArmAsked);
        self.enter(now, Phase::Asking(purpose));
        self.send_keep_alive(now); // confirming needs a fresh one
        let request = ArmRequest {
            configuration_crc: configuration.crc(),
        };
        self.sender.ask("to arm", HostMessage::ArmRequest(request), now);
    }

    pub(super) fn on_challenge(&mut self, now: HostNs, challenge: ArmChallenge) {
        let (Phase::Asking(purpose), Some(configuration)) = (self.phase, self.known.configuration) else {
            return;
        };
        self.sender.answered();
        self.enter(now, Phase::Confirming(purpose));
        let confirm = ArmConfirm {
            challenge: challenge.challenge,
            configuration_crc: configuration.crc(),
        };
        // Never sent again by itself: without an answer the run stops, and says so to the rig.
        self.sender
            .ask_once("to confirm arming", HostMessage::ArmConfirm(confirm), now);
    }

    pub(super) fn on_armed(&mut self, now: HostNs, purpose: Purpose) {
        self.was_armed = true;
        self.alive = now;
        if self.interlock.apply(Event::ArmGranted) != State::Armed {
            self.fail(now, Failure::NotReady(RigState::Armed));
            return;
        }
        match purpose {
            Purpose::ProveStop => {
                self.enter(now, Phase::ProvingStop { asked: now });
                self.interlock.apply(Event::StopAsked);
                let stop = Stop {
                    mode: self.stop_mode(),
                    reason: StopReason::Test,
                };
                self.sender.send(&HostMessage::Stop(stop));
            }
            Purpose::ProveWatchdog => {
                self.keep_alive_due = HostNs::NEVER;
                self.enter(now, Phase::ProvingWatchdog { since: now });
            }
            Purpose::Play => self.begin_plan(now),
        }
    }

    pub(super) fn on_stopped(&mut self, now: HostNs, stopped: Stopped) {
        let at_zero = stopped.state != RigState::Armed;
        match self.phase {
            Phase::ProvingStop { asked } => {
                let took_us = now.us_since(asked);
                self.proofs.stop_round_trip_us = Some(took_us);
                if !at_zero || took_us > STOP_PROOF_US {
                    let measured_us = at_zero.then_some(took_us);
                    self.fail(
                        now,
                        Failure::ProofFailed {
                            what: "stop",
                            measured_us,
                            limit_us: STOP_PROOF_US,
                        },
                    );
                    return;
                }
                self.interlock.apply(Event::StopConfirmed);
                // A brake may still act; the next arming waits for Ready in `advance`.
                self.enter(now, Phase::Asking(Purpose::ProveWatchdog));
            }
            Phase::Ending if at_zero => {
                self.interlock.apply(Event::StopConfirmed);
                self.zero_confirmed = true;
                self.zeros = Zeros::default();
                let until_tick = self.newest_tick().saturating_add(ZERO_US);
                self.enter(now, Phase::After { until_tick });
            }
            Phase::Halting { .. } if at_zero && !self.contradicted => {
                self.interlock.apply(Event::StopConfirmed);
                self.zero_confirmed = true;
                self.enter(
                    now,
                    Phase::Watching {
                        until: now.plus_us(WATCH_US),
                        averaging: false,
                    },
                );
            }
            _ => {}
        }
    }

    /// The watchdog fired while it was being proved, `took_us` after it was last fed.
    pub(super) fn on_watchdog_trip(&mut self, now: HostNs, took_us: u64) {
        self.proofs.watchdog_us = Some(took_us);
        self.interlock.apply(Event::StopAsked);
        self.interlock.apply(Event::StopConfirmed);
        let limit_us = self.watchdog_limit_us();
        if took_us > limit_us {
            let failure = Failure::ProofFailed {
                what: "watchdog",
                measured_us: Some(took_us),
                limit_us,
            };
            self.fail(now, failure);
            return;
        }
        self.keep_alive_due = now;
        self.enter(now, Phase::Starting); // a status shows the trip, which is then cleared; zeros follow
        self.options.prove = false;
    }

    pub(super) fn watchdog_limit_us(&self) -> u64 {
        u64::from(self.known.configuration.map_or(0, |c| c.watchdog_us)) + WATCHDOG_TOLERANCE_US
    }

    pub(super) fn send_keep_alive(&mut self, now: HostNs) {
        self.sender
            .send(&HostMessage::KeepAlive(KeepAlive { host_ns: now.0 }));
        let watchdog_us = self.known.configuration.map_or(20_000, |c| c.watchdog_us);
        self.keep_alive_due = now.plus_us(keep_alive_us(watchdog_us));
    }

    /// Whether a status belongs to what has been asked for so far: after the watchdog's proof it must show the trip.
    pub(super) fn settled(&self, status: &Status) -> bool {
        match self.proofs.watchdog_us {
            Some(_) => status.state == RigState::Tripped && status.trip == TripCause::Watchdog,
            None => true,
        }
    }

    /// After the last proof, or when nothing is to be played.
    fn begin_plan(&mut self, now: HostNs) {
        match self.course {
            Course::Measure(_) => self.start_playing(now),
            Course::Prove(_) => self.end_run(now),
        }
    }
}
