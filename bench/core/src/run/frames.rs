//! What the rig says, frame by frame.

use rig_link::frame::Frame;
use rig_link::message::{Event as Report, MessageError, Samples};
use rig_link::{EventCode, MAX_CHANNELS, RefusalCode, RigMessage, RigState, TripCause};

use super::approach::Verdict;
use super::clock_watch::{ClockWatch, LIMIT_PPM, RoundTrip};
use super::phase::Phase;
use super::{EVENT_CAPACITY, Failure, ROW_CAPACITY, Run, RunEvent};
use crate::channels::{Reading, SampleRow};
use crate::interlock::Condition;
use crate::time::HostNs;

impl Run {
    /// A candidate that failed its checks. While armed nothing on the line may be in doubt.
    pub(super) fn on_bad_frame(&mut self, now: HostNs) {
        self.counters.bad_frames = self.counters.bad_frames.saturating_add(1);
        if self.is_armed() {
            self.raise(now, Condition::SequenceGap, 1.0, 0.0, "damaged frames");
        }
    }

    pub(super) fn on_frame(&mut self, now: HostNs, frame: Frame<'_>) {
        let (sequence, parsed) = (frame.sequence, RigMessage::parse(frame));
        // A rebooted rig counts from the start: no gap, but worse.
        let booted = matches!(parsed, Ok(RigMessage::Event(event)) if event.code == EventCode::Booted);
        let gap = match self.rig_sequence {
            Some(before) if !booted => sequence.wrapping_sub(before.wrapping_add(1)),
            _ => 0,
        };
        self.rig_sequence = Some(sequence);
        if gap != 0 {
            self.counters.frames_lost = self.counters.frames_lost.saturating_add(u32::from(gap));
            if self.is_armed() {
                self.raise(now, Condition::SequenceGap, f64::from(gap), 0.0, "frames");
            }
        }
        let message = match parsed {
            Ok(message) => message,
            // A later minor version may add kinds: counted, and no reason to stop.
            Err(MessageError::UnknownKind(_)) => {
                self.counters.unknown_frames = self.counters.unknown_frames.saturating_add(1);
                return;
            }
            Err(MessageError::Malformed { .. }) => {
                self.on_bad_frame(now);
                return;
            }
        };
        match message {
            RigMessage::Identity(identity) => self.on_identity(now, identity),
            RigMessage::Channel(channel) => self.on_channel(now, channel),
            RigMessage::Configured(configured) => self.on_configured(now, configured),
            RigMessage::ArmChallenge(challenge) => self.on_challenge(now, challenge),
            RigMessage::Status(status) => {
                self.known.status = Some(status);
                self.publish_if_roomy(RunEvent::Status(status));
                self.on_status(now, status);
            }
            RigMessage::Samples(samples) => self.on_samples(now, &samples),
            RigMessage::Echo(echo) => {
                self.fed_tick = Some(echo.received_tick);
                self.alive = now;
                self.watch_clock(RoundTrip {
                    sent: HostNs(echo.host_ns),
                    received: now,
                    rig_received: echo.received_tick,
                    rig_sent: echo.sent_tick,
                });
                self.publish_if_roomy(RunEvent::RoundTrip {
                    sent_ns: echo.host_ns,
                    received_ns: now.0,
                    rig_received_tick: echo.received_tick,
                    rig_sent_tick: echo.sent_tick,
                });
            }
            RigMessage::Event(event) => self.on_event(now, event),
            RigMessage::Refused(refused) => {
                let setpoints = refused.kind == 0x09;
                if let Some(pending) = self.sender.pending.filter(|p| p.sequence == refused.sequence) {
                    self.sender.answered();
                    if matches!(self.phase, Phase::Clearing { .. } | Phase::Settling { .. })
                        && refused.code == RefusalCode::CauseRemains
                    {
                        return; // the brake may still act; asked again until the phase's time is up
                    }
                    let failure = Failure::Refused {
                        asked: pending.asked,
                        code: refused.code,
                        detail: refused.detail,
                    };
                    self.fail(now, failure);
                } else if setpoints && self.is_armed() {
                    let code = f64::from(refused.code.code());
                    self.raise(now, Condition::SetpointsLost, code, 0.0, "refusal code");
                }
            }
            RigMessage::Stopped(stopped) => self.on_stopped(now, stopped),
        }
    }

    /// From the limits being agreed to the last stop; what comes after makes no torque.
    fn watch_clock(&mut self, trip: RoundTrip) {
        let over = matches!(self.phase, Phase::Ending | Phase::After { .. }) || !self.phase.streams();
        if over || self.known.configuration.is_none() {
            return;
        }
        if let Some(ppm) = self.clock_watch.look(trip) {
            self.raise(trip.received, Condition::ClockDrift, ppm, LIMIT_PPM, "ppm");
        }
    }

    /// Statistics may be dropped when the queue is nearly full; what ends a run may not.
    fn publish_if_roomy(&mut self, event: RunEvent) {
        if self.events.len() < EVENT_CAPACITY / 2 {
            self.publish(event);
        }
    }

    fn on_samples(&mut self, now: HostNs, samples: &Samples<'_>) {
        if self.phase == Phase::Finished || self.known.configuration.is_none() {
            return; // left over from an earlier program
        }
        let Some(map) = self.known.map.take() else {
            return;
        };
        let newest = samples.tick(samples.rows() - 1);
        if let Some(seen) = self.clock.newest_tick()
            && newest <= seen
        {
            // Nothing that was agreed with the rig holds any more, armed or not.
            let back = seen as f64 - newest as f64;
            self.raise(now, Condition::ClockJump, back, 0.0, "us back");
            self.clock.reset();
            self.next_row_tick = None;
        }
        self.clock.observe(newest, now);
        if self.is_armed() && !self.proves_watchdog() && samples.state != RigState::Armed {
            self.raise_rig_stop(now, None, "it is not armed any more");
        }
        if samples.state == RigState::Armed {
            self.is_armed_unasked(now);
        }
        let period_us = self.known.configuration.map_or(0, |c| c.sample_period_us);
        if self.is_armed() && samples.period_us != period_us {
            let (got, agreed) = (f64::from(samples.period_us), f64::from(period_us));
            self.raise(now, Condition::ClockJump, got, agreed, "us between rows");
        }
        let mut counts = [0; MAX_CHANNELS];
        let wide = samples.for_each_row(map.widths(), &mut counts, |tick, row| {
            let mut own = SampleRow {
                tick,
                counts: [0; MAX_CHANNELS],
            };
            for (place, &count) in own.counts.iter_mut().zip(row) {
                *place = count;
            }
            let reading = map.reading(&own);
            self.on_row(now, own, &reading, samples.period_us);
        });
        self.known.map = Some(map);
        if wide.is_none() {
            self.on_bad_frame(now);
            return;
        }
        let late_us = self.clock.delay_us();
        if self.is_armed() && late_us > self.options.stale_us {
            let (late, limit) = (late_us as f64 * 1e-3, self.options.stale_us as f64 * 1e-3);
            self.raise(now, Condition::StaleSamples, late, limit, "ms late");
        }
        self.publish_if_roomy(RunEvent::Arrival {
            tick: newest,
            host_ns: now.0,
        });
    }

    /// Judges one row first; then everything else may look at it.
    fn on_row(&mut self, now: HostNs, row: SampleRow, reading: &Reading, period_us: u32) {
        if let Some(trip) = self.interlock.judge(reading, self.phase.at_rest()) {
            self.trip(now, trip);
        }
        if let Some(expected) = self.next_row_tick
            && row.tick != expected
        {
            let missing = row.tick.saturating_sub(expected) / u64::from(period_us.max(1));
            self.counters.rows_lost = self.counters.rows_lost.saturating_add(missing);
            if self.is_armed() {
                self.raise(now, Condition::SequenceGap, missing as f64, 0.0, "samples");
            }
        }
        self.next_row_tick = Some(row.tick.saturating_add(u64::from(period_us)));
        self.counters.rows = self.counters.rows.saturating_add(1);
        // Whoever takes rows may rely on rising ticks, even from a rig whose clock went back.
        if self.last_row_tick.is_some_and(|last| row.tick <= last) {
            self.counters.rows_out_of_order = self.counters.rows_out_of_order.saturating_add(1);
        } else if self.rows.len() < ROW_CAPACITY {
            self.last_row_tick = Some(row.tick);
            self.rows.push_back(row);
        }
        self.take_zeros(reading);
        if self.is_armed() && !self.approach_passed {
            match self.approach.as_mut().and_then(|judge| judge.look(reading)) {
                Some(Verdict::Passed(gain)) => {
                    self.approach_passed = true;
                    self.publish(RunEvent::ApproachPassed {
                        gain,
                        tick: reading.tick,
                    });
                }
                Some(Verdict::Failed(trip)) => {
                    self.latch(now, trip);
                }
                None => {}
            }
        }
    }

    fn on_event(&mut self, now: HostNs, event: Report) {
        self.publish(RunEvent::Rig(event));
        let lost = match self.rig_event {
            Some(before) => event.number.wrapping_sub(before.wrapping_add(1)),
            None => 0,
        };
        self.rig_event = Some(event.number);
        if event.code == EventCode::Booted && self.known.identity.is_some() {
            self.raise(now, Condition::Rebooted, 1.0, 0.0, "reboots");
            self.clock.reset();
            self.clock_watch = ClockWatch::default();
            self.next_row_tick = None;
            return;
        }
        if self.watchdog_proven(now, &event) || !self.is_armed() {
            return;
        }
        match event.code {
            EventCode::Tripped => {
                let cause = u8::try_from(event.detail).ok().and_then(TripCause::from_code);
                self.raise_rig_stop(now, cause, trip_name(cause));
            }
            EventCode::Disarmed | EventCode::ArmIdle => {
                self.raise_rig_stop(now, None, "it disarmed itself");
            }
            EventCode::Underrun => self.raise(now, Condition::Underrun, 0.0, 1.0, "setpoints left"),
            EventCode::LateSetpoint => {
                self.raise(
                    now,
                    Condition::SetpointsLost,
                    f64::from(event.detail),
                    0.0,
                    "us late",
                );
            }
            EventCode::EmergencyStopInput if event.detail == 0 => {
                self.raise_rig_stop(now, Some(TripCause::EmergencyStop), "its input opened");
            }
            // What was damaged may have been setpoints: the torque is not the one that was planned.
            EventCode::BadFrame => {
                self.raise(now, Condition::SequenceGap, 1.0, 0.0, "damaged frames at the rig");
            }
            _ if lost != 0 => {
                self.raise(now, Condition::SequenceGap, f64::from(lost), 0.0, "events");
            }
            _ => {}
        }
    }

    /// The trip of the watchdog while it is being proved is what was wanted.
    fn watchdog_proven(&mut self, now: HostNs, event: &Report) -> bool {
        let Phase::ProvingWatchdog { .. } = self.phase else {
            return false;
        };
        if event.code == EventCode::Disarmed {
            return true; // comes with the trip
        }
        if event.code != EventCode::Tripped {
            return false;
        }
        if event.detail != i32::from(TripCause::Watchdog.code()) {
            return false;
        }
        // The echo of a keep-alive that was on its way when the silence began has come before the trip.
        let fed_tick = self.fed_tick.unwrap_or(0);
        self.on_watchdog_trip(now, event.tick.saturating_sub(fed_tick));
        true
    }

    /// Whether the rig's own trip is what is waited for.
    pub(super) const fn proves_watchdog(&self) -> bool {
        matches!(self.phase, Phase::ProvingWatchdog { .. })
    }
}

/// What the rig says it tripped on.
pub(super) const fn trip_name(cause: Option<TripCause>) -> &'static str {
    match cause {
        Some(TripCause::Watchdog) => "its watchdog",
        Some(TripCause::SetpointExpired) => "a setpoint expired",
        Some(TripCause::RimSpeed) => "rim speed",
        Some(TripCause::RimWindow) => "rim window",
        Some(TripCause::SensorTorque) => "sensor torque",
        Some(TripCause::Temperature) => "temperature",
        Some(TripCause::EmergencyStop) => "emergency stop",
        Some(TripCause::SensorFault) => "sensor fault",
        Some(TripCause::Supply) => "supply voltage",
        Some(TripCause::Internal) => "internal fault",
        Some(TripCause::None) | None => "a cause without a name",
    }
}
