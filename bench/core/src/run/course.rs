//! From the greeting to the zeros before arming: who is there, what it measures, within which limits it may move.

use rig_link::message::{
    Capabilities, Channel, ClearTrip, Configuration, Configured, DescribeChannel, Empty, Hello, Identity,
    Status,
};
use rig_link::{HostMessage, PROTOCOL_MAJOR, PROTOCOL_MINOR, RigState, StopMode, StopReason};

use super::frames::trip_name;
use super::phase::{Phase, Purpose};
use super::settings::{check_applied, check_serves, configuration};
use super::timing::{CLEAR_AGAIN_US, ZERO_US};
use super::{Failure, Run, RunEvent, Zeros};
use crate::channels::{ChannelMap, Reading};
use crate::interlock::Rest;
use crate::rig::Kind;
use crate::time::HostNs;

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
        self.sender.close_candidate(); // what an earlier program left unfinished is not to swallow the greeting
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
        self.enter(now, Phase::Settling { again: now });
        self.ask_state(now);
    }

    pub(super) fn ask_state(&mut self, now: HostNs) {
        self.sender
            .ask("its state", HostMessage::StatusRequest(Empty), now);
    }

    fn configure(&mut self, now: HostNs) {
        match self.wanted_configuration() {
            Ok(wanted) => {
                self.enter(now, Phase::Configuring);
                self.sender.ask("its limits", HostMessage::Configure(wanted), now);
            }
            Err(failure) => self.fail(now, failure),
        }
    }

    /// Before its configuration: an earlier program may have left the rig in any state, and limits are taken in two
    /// of them only.
    fn settle(&mut self, now: HostNs, status: Status) {
        self.sender.answered();
        match status.state {
            RigState::Idle | RigState::Ready => {
                self.configure(now);
                return;
            }
            RigState::Tripped => {
                self.send_keep_alive(now); // a trip of the watchdog is cleared only while somebody feeds it
                let clear = HostMessage::ClearTrip(ClearTrip { trips: status.trips });
                self.sender.ask("to clear a trip", clear, now);
            }
            RigState::Armed => self.sender.stop_now(StopMode::Coast, StopReason::Failure),
            RigState::Stopping => {}
        }
        let again = now.plus_us(CLEAR_AGAIN_US);
        self.phase = Phase::Settling { again }; // all tries together have one time limit
    }

    fn wanted_configuration(&self) -> Result<Configuration, Failure> {
        let full_scale_nm = self.known.identity.map_or(0.0, |identity| identity.full_scale_nm);
        let mut wanted = configuration(&self.bounds, self.sample_period_us(), full_scale_nm)?;
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

    pub(super) fn stop_mode(&self) -> StopMode {
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
        let full_scale_nm = self.known.identity.map_or(0.0, |identity| identity.full_scale_nm);
        let checked = self
            .wanted_configuration()
            .and_then(|wanted| check_applied(&wanted, &applied))
            .and_then(|()| check_serves(&self.bounds, &applied, full_scale_nm));
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
            self.raise_rig_stop(now, Some(status.trip), trip_name(Some(status.trip)));
            return;
        }
        if status.state == RigState::Armed && self.is_armed_unasked(now) {
            return;
        }
        match self.phase {
            Phase::Settling { .. } => self.settle(now, status),
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
    pub(super) fn leave_starting(&mut self, now: HostNs, status: Status) {
        match status.state {
            RigState::Ready if !status.emergency_stop_closed => self.fail(now, Failure::EmergencyStopOpen),
            RigState::Ready => self.take_baseline(now),
            RigState::Tripped => self.clear_trip(now, status.trips),
            other => self.fail(now, Failure::NotReady(other)),
        }
    }

    pub(super) fn clear_trip(&mut self, now: HostNs, trips: u32) {
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
    pub(super) fn leave_baseline(&mut self, now: HostNs) {
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
        // A motion that is not a number is no rest.
        if turned.is_nan() || turned > resting_rad {
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
        if self
            .known
            .status
            .is_some_and(|status| !status.emergency_stop_closed)
        {
            self.fail(now, Failure::EmergencyStopOpen);
            return;
        }
        self.baseline_nm = torque;
        self.interlock.begin(Rest {
            torque_nm: torque,
            rim_angle_rad: angle,
            window_from_rad: match self.known.configuration.map(|c| c.window_reference) {
                Some(rig_link::message::WindowReference::Zero) => 0.0,
                _ => angle,
            },
            rim_step_rad: self.known.map.as_ref().map_or(0.0, ChannelMap::rim_step_rad),
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
}
