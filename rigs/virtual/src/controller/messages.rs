//! Carrying out messages: what is dealt with before the state is looked at, and the simple ones (PROTOCOL.md 7.2–7.4).

use rig_link::message::{
    Configuration, Configured, HostMessage, MessageError, RigMessage, STOP_KIND, Setpoints,
};
use rig_link::{EventCode, Frame, PROTOCOL_MAJOR, RefusalCode, RigState, StopMode};

use super::Controller;
use super::arming::Feed;
use super::line::Arrived;
use super::sampling::Sampling;
use super::transition::Change;

/// Kinds from here on come from rigs.
const RIG_KINDS: u8 = 0x80;

impl Controller {
    /// Carries out one good frame.
    pub(super) fn carry_out(&mut self, frame: &Arrived) {
        if frame.kind >= RIG_KINDS {
            return self.count_bad_frame(); // looped back or miswired: an answer would feed an endless exchange
        }
        let parsed = HostMessage::parse(Frame {
            kind: frame.kind,
            sequence: frame.sequence,
            payload: &frame.payload,
        });
        let message = match parsed {
            Ok(message) => message,
            Err(_) if frame.kind == STOP_KIND => return self.stop(None),
            Err(MessageError::UnknownKind(kind)) => {
                return self.refuse(frame, RefusalCode::UnknownKind, i32::from(kind));
            }
            Err(MessageError::Malformed { length, .. }) => {
                return self.refuse(frame, RefusalCode::Malformed, length as i32);
            }
        };
        match message {
            HostMessage::Hello(hello) if hello.major != PROTOCOL_MAJOR => {
                self.refuse(frame, RefusalCode::Version, i32::from(PROTOCOL_MAJOR));
            }
            HostMessage::Hello(hello) => self.identity(hello.nonce),
            HostMessage::DescribeChannel(asked) => match self.wiring.channel(asked.index) {
                Some(channel) => {
                    self.line.write(&RigMessage::Channel(channel));
                }
                None => self.refuse(frame, RefusalCode::OutOfRange, 0),
            },
            HostMessage::Configure(configuration) => self.configure(frame, configuration),
            HostMessage::StartSampling(_) => self.start_sampling(frame),
            HostMessage::StopSampling(_) => self.stop_sampling(frame),
            HostMessage::ArmRequest(request) => self.arm_request(frame, request),
            HostMessage::ArmConfirm(confirm) => self.arm_confirm(frame, confirm),
            HostMessage::KeepAlive(keep_alive) => self.keep_alive(keep_alive),
            HostMessage::Setpoints(setpoints) => self.setpoints(frame, &setpoints),
            HostMessage::Stop(stop) => self.stop(Some(stop)),
            HostMessage::ClearTrip(clear) => self.clear_trip(frame, clear),
            HostMessage::StatusRequest(_) => self.status(),
        }
    }

    fn configure(&mut self, frame: &Arrived, asked: Configuration) {
        if !matches!(self.state, RigState::Idle | RigState::Ready) {
            return self.wrong_state(frame);
        }
        if let Some(field) = asked.first_out_of_range() {
            return self.refuse(frame, RefusalCode::OutOfRange, i32::from(field));
        }
        let applied = self.tightened(asked);
        let crc = applied.crc();
        self.configuration = Some((applied, crc));
        self.sampling = None;
        self.schedule_status();
        self.challenge.void();
        self.feed = Feed::default();
        self.change(Change::Configured);
        self.line
            .write(&RigMessage::Configured(Configured { applied, crc }));
    }

    /// What the rig applies: nothing wider than asked, and within what it allows by itself.
    fn tightened(&self, asked: Configuration) -> Configuration {
        let p = &self.parameters;
        let grid = p.step_us.max(1);
        let sensor_mnm = p.own_sensor_torque_nm * 1e3;
        let temperature_cdeg = (p.own_temperature_degc * 1e2).clamp(0.0, f64::from(i16::MAX));
        Configuration {
            sample_period_us: asked
                .sample_period_us
                .max(p.min_sample_period_us)
                .next_multiple_of(grid),
            rim_speed_limit_mrad_s: asked
                .rim_speed_limit_mrad_s
                .min((p.own_rim_speed_rad_s * 1e3) as u32),
            sensor_torque_limit_mnm: asked.sensor_torque_limit_mnm.min(sensor_mnm as u32),
            temperature_limit_cdeg: asked.temperature_limit_cdeg.min(temperature_cdeg as i16),
            stop_mode: if p.brake { asked.stop_mode } else { StopMode::Coast },
            ..asked
        }
    }

    fn start_sampling(&mut self, frame: &Arrived) {
        let Some((configuration, _)) = self.configuration else {
            return self.wrong_state(frame);
        };
        if self.sampling.is_none() {
            let period_us = configuration.sample_period_us;
            self.sampling = Some(Sampling::new(period_us, self.parameters.batch_rows, self.now));
            self.schedule_status();
        }
        self.status();
    }

    fn stop_sampling(&mut self, frame: &Arrived) {
        if self.state == RigState::Armed {
            return self.wrong_state(frame);
        }
        self.sampling = None;
        self.schedule_status();
        self.challenge.void();
        self.status();
    }

    fn setpoints(&mut self, frame: &Arrived, message: &Setpoints) {
        if self.state != RigState::Armed {
            return self.wrong_state(frame);
        }
        match self.player.arrive(message, self.now) {
            Err((code, detail)) => self.refuse(frame, code, detail),
            Ok((0, _)) => {}
            Ok((late, by_us)) => {
                self.counters.late_setpoints = self.counters.late_setpoints.wrapping_add(late);
                self.event(EventCode::LateSetpoint, i32::try_from(by_us).unwrap_or(i32::MAX));
            }
        }
    }
}
