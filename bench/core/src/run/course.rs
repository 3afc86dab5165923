//! From phase to phase: what answers lead to, and what time leads to.

use rig_link::message::{
    ArmChallenge, ArmConfirm, ArmRequest, Capabilities, Channel, ClearTrip, Configured, DescribeChannel,
    Hello, Identity, KeepAlive, Status, Stop, Stopped,
};
use rig_link::message::{Configuration, Empty};
use rig_link::{HostMessage, PROTOCOL_MAJOR, PROTOCOL_MINOR, RigState, StopMode, StopReason, TripCause};

use super::frames::trip_name;
use super::phase::{Phase, Purpose};
use super::sender::Retry;
use super::settings::{check_applied, configuration};
use super::{Course, End, Failure, Outcome, Run, RunEvent, Zeros};
use crate::channels::{ChannelMap, Reading};
use crate::interlock::{Condition, Event, State};
use crate::rig::Kind;
use crate::time::HostNs;

/// Time without torque over which zeros are taken, in ticks.
const ZERO_US: u64 = 300_000;
/// Time for the first samples after they were asked for, µs.
const START_US: u64 = 1_000_000;
/// Time between two tries to clear a trip whose cause remains, µs.
const CLEAR_AGAIN_US: u64 = 50_000;
/// Time between two tries of a stop, µs.
const STOP_RESEND_US: u64 = 10_000;
/// Time after which a stop that nobody confirmed is given up, µs.
const STOP_GIVE_UP_US: u64 = 500_000;
/// Time for which the rim is recorded after a stop for a cause, µs.
const WATCH_US: u64 = 300_000;
/// Share of the torque limit above which torque after a confirmed stop is no friction any more.
const AFTERMATH_SHARE: f64 = 0.2;
/// Longest round trip of a stop at zero torque, µs; the host's own delays included.
const STOP_PROOF_US: u64 = 100_000;
/// By how much the rig's watchdog may be later than its setting, µs.
const WATCHDOG_TOLERANCE_US: u64 = 2_000;

impl Run {
    pub(super) fn greet(&mut self, now: HostNs) {
        // The host's clock is as good a nonce as any: an answer to an earlier program's greeting is not taken for ours.
        let nonce = (now.0 as u32) ^ 0x7472_696d;
        self.enter(now, Phase::Greeting { nonce });
        let hello = Hello {
            major: PROTOCOL_MAJOR,
            minor: PROTOCOL_MINOR,
            nonce,
        };
        self.sender.ask("a greeting", HostMessage::Hello(hello), now);
    }

    pub(super) fn on_identity(&mut self, now: HostNs, identity: Identity) {
        if !matches!(self.phase, Phase::Greeting { nonce } if nonce == identity.nonce) {
            return;
        }
        self.sender.answered();
        if identity.major != PROTOCOL_MAJOR {
            self.fail(now, Failure::Version { rig: identity.major });
            return;
        }
        if self.rig.kind == Kind::Virtual && !identity.capabilities.has(Capabilities::SIMULATED) {
            self.fail(now, Failure::NotVirtual);
            return;
        }
        self.known.identity = Some(identity);
        self.known.channels.clear();
        self.describe(now, 0);
    }

    fn describe(&mut self, now: HostNs, index: u8) {
        self.enter(now, Phase::Describing { index });
        self.sender.ask(
            "a channel's description",
            HostMessage::DescribeChannel(DescribeChannel { index }),
            now,
        );
    }

    pub(super) fn on_channel(&mut self, now: HostNs, channel: Channel) {
        let Phase::Describing { index } = self.phase else {
            return;
        };
        let count = self.known.identity.map_or(0, |identity| identity.channels);
        if channel.index != index {
            return;
        }
        self.sender.answered();
        self.known.channels.push(channel);
        if index + 1 < count {
            self.describe(now, index + 1);
            return;
        }
        match ChannelMap::new(&self.known.channels) {
            Ok(map) => self.known.map = Some(map),
            Err(fault) => {
                self.fail(now, Failure::Channels(fault));
                return;
            }
        }
        match self.wanted_configuration() {
            Ok(wanted) => {
                self.enter(now, Phase::Configuring);
                self.sender.ask("its limits", HostMessage::Configure(wanted), now);
            }
            Err(failure) => self.fail(now, failure),
        }
    }

    fn wanted_configuration(&self) -> Result<Configuration, Failure> {
        let full_scale_nm = self.known.identity.map_or(0.0, |identity| identity.full_scale_nm);
        let mut wanted = configuration(&self.rig, self.sample_period_us(), full_scale_nm)?;
        if !self.rig_can_brake() {
            wanted.stop_mode = StopMode::Coast;
        }
        Ok(wanted)
    }

    fn rig_can_brake(&self) -> bool {
        self.known
            .identity
            .is_some_and(|identity| identity.capabilities.has(Capabilities::BRAKE))
    }

    fn stop_mode(&self) -> StopMode {
        if self.rig_can_brake() {
            self.rig.limits.stop
        } else {
            StopMode::Coast
        }
    }

    pub(super) fn on_configured(&mut self, now: HostNs, configured: Configured) {
        if self.phase != Phase::Configuring {
            return;
        }
        self.sender.answered();
        let applied = configured.applied;
        let checked = self
            .wanted_configuration()
            .and_then(|wanted| check_applied(&wanted, &applied));
        if let Err(failure) = checked {
            self.fail(now, failure);
            return;
        }
        if applied.crc() != configured.crc {
            let (asked, got) = (i64::from(applied.crc()), i64::from(configured.crc));
            self.fail(
                now,
                Failure::Configuration {
                    field: "CRC of the limits",
                    asked,
                    applied: got,
                },
            );
            return;
        }
        self.known.configuration = Some(applied);
        if let Some(identity) = self.known.identity {
            let channels = self.known.channels.clone();
            self.publish(RunEvent::Connected {
                identity,
                channels,
                configuration: applied,
            });
        }
        self.keep_alive_due = now;
        self.enter(now, Phase::Starting);
        self.sender.ask("samples", HostMessage::StartSampling(Empty), now);
    }

    pub(super) fn on_status(&mut self, now: HostNs, status: Status) {
        if self.is_armed() && !self.proves_watchdog() && status.state != RigState::Armed {
            self.raise_rig_stop(now, trip_name(Some(status.trip)));
            return;
        }
        match self.phase {
            Phase::Starting if status.sampling => self.sender.answered(),
            Phase::Clearing { .. } if status.state == RigState::Ready => {
                self.sender.answered();
                self.take_baseline(now);
            }
            Phase::Confirming(purpose) if status.state == RigState::Armed => {
                self.sender.answered();
                self.on_armed(now, purpose);
            }
            _ => {}
        }
    }

    /// Starting → what the rig's state asks for.
    fn leave_starting(&mut self, now: HostNs, status: Status) {
        match status.state {
            RigState::Ready if !status.emergency_stop_closed => self.fail(now, Failure::EmergencyStopOpen),
            RigState::Ready => self.take_baseline(now),
            RigState::Tripped => self.clear_trip(now, status.trips),
            other => self.fail(now, Failure::NotReady(other)),
        }
    }

    fn clear_trip(&mut self, now: HostNs, trips: u32) {
        let again = now.plus_us(CLEAR_AGAIN_US);
        let since = self.phase_since;
        let clearing = matches!(self.phase, Phase::Clearing { .. });
        self.enter(now, Phase::Clearing { again });
        if clearing {
            self.phase_since = since; // all tries together have one time limit
        }
        self.sender.ask(
            "to clear a trip",
            HostMessage::ClearTrip(ClearTrip { trips }),
            now,
        );
    }

    fn take_baseline(&mut self, now: HostNs) {
        self.zeros = Zeros::default();
        self.enter(now, Phase::Baseline { until_tick: None });
    }

    /// Sums for the zeros; only phases that look at them begin by resetting them.
    pub(super) fn take_zeros(&mut self, reading: &Reading) {
        let zeros = &mut self.zeros;
        let angle = reading.rim_angle_rad;
        if zeros.count == 0 {
            (zeros.angle_low, zeros.angle_high) = (angle, angle);
        }
        zeros.count = zeros.count.saturating_add(1);
        zeros.torque += reading.torque_nm;
        zeros.angle += angle;
        zeros.angle_low = zeros.angle_low.min(angle);
        zeros.angle_high = zeros.angle_high.max(angle);
    }

    /// The zeros before: at rest and without torque, or no arming.
    fn leave_baseline(&mut self, now: HostNs) {
        let count = f64::from(self.zeros.count.max(1));
        let (torque, angle) = (self.zeros.torque / count, self.zeros.angle / count);
        let turned = self.zeros.angle_high - self.zeros.angle_low;
        let resting_rad = 0.05 * self.rig.limits.rim_speed_rad_s * ZERO_US as f64 * rig_link::TICK_S;
        let torque_limit = 0.1 * self.rig.limits.sensor_torque_nm;
        if self.zeros.count == 0 || !torque.is_finite() || torque.abs() > torque_limit {
            let what = "the torque at rest";
            self.fail(
                now,
                Failure::NotAtRest {
                    what,
                    measured: torque,
                    limit: torque_limit,
                    unit: "N.m",
                },
            );
            return;
        }
        if turned > resting_rad {
            let what = "the rim's motion at rest";
            self.fail(
                now,
                Failure::NotAtRest {
                    what,
                    measured: turned,
                    limit: resting_rad,
                    unit: "rad",
                },
            );
            return;
        }
        self.baseline_nm = torque;
        self.interlock
            .set_reference(match self.known.configuration.map(|c| c.window_reference) {
                Some(rig_link::message::WindowReference::Zero) => 0.0,
                _ => angle,
            });
        if self.permit.is_none() {
            self.fail(now, Failure::NoPermit);
            return;
        }
        self.arm(
            now,
            if self.options.prove {
                Purpose::ProveStop
            } else {
                Purpose::Play
            },
        );
    }

    fn arm(&mut self, now: HostNs, purpose: Purpose) {
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
        self.sender
            .ask("to confirm arming", HostMessage::ArmConfirm(confirm), now);
    }

    fn on_armed(&mut self, now: HostNs, purpose: Purpose) {
        self.was_armed = true;
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
                let fed_tick = self.last_echo.map_or(0, |(_, tick)| tick);
                self.enter(now, Phase::ProvingWatchdog { fed_tick, since: now });
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
                self.sender.answered();
                self.zeros = Zeros::default();
                let until_tick = self.newest_tick().saturating_add(ZERO_US);
                self.enter(now, Phase::After { until_tick });
            }
            Phase::Halting { .. } if at_zero => {
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

    fn watchdog_limit_us(&self) -> u64 {
        u64::from(self.known.configuration.map_or(0, |c| c.watchdog_us)) + WATCHDOG_TOLERANCE_US
    }

    fn send_keep_alive(&mut self, now: HostNs) {
        self.sender
            .send(&HostMessage::KeepAlive(KeepAlive { host_ns: now.0 }));
        let watchdog_us = u64::from(self.known.configuration.map_or(20_000, |c| c.watchdog_us));
        self.keep_alive_due = now.plus_us((watchdog_us / 4).max(1_000));
    }

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
        self.sender.stop_now(self.stop_mode(), reason);
        self.enter(
            now,
            Phase::Halting {
                since: now,
                resend: now.plus_us(STOP_RESEND_US),
            },
        );
    }

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
            Phase::Clearing { again } if self.sender.pending.is_none() => again,
            Phase::Starting => self.phase_since.plus_us(START_US),
            Phase::ProvingStop { asked } => asked.plus_us(STOP_PROOF_US),
            Phase::ProvingWatchdog { since, .. } => since.plus_us(self.watchdog_limit_us() + STOP_PROOF_US),
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
            Phase::After { until_tick } if self.newest_tick() >= until_tick => {
                self.end = Some(End::Completed);
                self.finish();
            }
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

    /// The rig confirmed zero torque: the sensor must agree once the ringing is over, or the confirmation is worth
    /// nothing.
    fn judge_aftermath(&mut self) {
        if self.zeros.count == 0 {
            return;
        }
        let torque_nm = self.zeros.torque / f64::from(self.zeros.count) - self.baseline_nm;
        self.torque_after_nm = Some(torque_nm);
        if !torque_nm.is_finite() || torque_nm.abs() > AFTERMATH_SHARE * self.rig.limits.torque_nm {
            self.zero_confirmed = false;
        }
    }

    /// Whether a status belongs to what has been asked for so far: after the watchdog's proof it must show the trip.
    fn settled(&self, status: &Status) -> bool {
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

    /// The planned end: a stop, then the zeros once more.
    pub(super) fn end_run(&mut self, now: HostNs) {
        self.interlock.apply(Event::StopAsked);
        self.enter(now, Phase::Ending);
        let stop = Stop {
            mode: self.stop_mode(),
            reason: StopReason::Finished,
        };
        self.sender
            .ask("the stop at the end", HostMessage::Stop(stop), now);
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
