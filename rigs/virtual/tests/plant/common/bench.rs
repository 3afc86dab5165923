//! A minimal bench: sends messages, takes the rig's answers apart.
#![allow(dead_code, clippy::unwrap_used, clippy::panic)] // helpers of tests may fail them

use rig_link::message::{
    ArmConfirm, ArmRequest, Configuration, Empty, Hello, KeepAlive, Setpoints, Stop, WindowReference,
};
use rig_link::{
    EventCode, HostMessage, MAX_FRAME, RefusalCode, RigMessage, RigState, Splitter, StopMode, StopReason,
    TripCause, Width, encode_host,
};
use virtual_rig::VirtualRig;
use virtual_rig::controller::WIDTHS;

/// One thing that the rig said.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Said {
    Identity(rig_link::message::Identity),
    Channel(rig_link::message::Channel),
    Configured(rig_link::message::Configured),
    Challenge(u32),
    Status(rig_link::message::Status),
    Row(u64, Vec<i32>),
    Echo(rig_link::message::Echo),
    Event(u64, EventCode, i32),
    Refused(u8, RefusalCode, i32),
    Stopped(u64, StopMode, RigState),
}

pub(crate) struct Bench {
    pub(crate) rig: VirtualRig,
    splitter: Splitter,
    sequence: u16,
    stamp: u64,
    pub(crate) bad: u32,
    /// Tick of `rig` at which the controller last booted.
    pub(crate) booted: u64,
}

pub(crate) fn configuration() -> Configuration {
    Configuration {
        sample_period_us: 250,
        torque_limit_raw: 28_000,
        slew_limit_raw_per_ms: u16::MAX,
        rim_speed_limit_mrad_s: 5_000,
        window_low_urad: -52_000,
        window_high_urad: 52_000,
        window_reference: WindowReference::Arming,
        sensor_torque_limit_mnm: 16_000,
        temperature_limit_cdeg: 9_000,
        watchdog_us: 20_000,
        setpoint_expiry_us: 20_000,
        stop_mode: StopMode::Brake,
        brake_us: 500_000,
    }
}

impl Bench {
    pub(crate) fn new(seed: u64) -> Self {
        Self::with(VirtualRig::new(super::rig(seed), seed))
    }

    pub(crate) fn with(rig: VirtualRig) -> Self {
        Self {
            rig,
            splitter: Splitter::new(),
            sequence: 0,
            stamp: 0,
            bad: 0,
            booted: 0,
        }
    }

    /// The message as bytes.
    pub(crate) fn bytes(&mut self, message: HostMessage) -> Vec<u8> {
        let mut frame = [0; MAX_FRAME];
        let length = encode_host(&message, self.sequence, &mut frame).unwrap();
        self.sequence = self.sequence.wrapping_add(1);
        frame[..length].to_vec()
    }

    /// Sends and returns what the rig says at once.
    pub(crate) fn send(&mut self, message: HostMessage) -> Vec<Said> {
        let bytes = self.bytes(message);
        self.rig.receive(&bytes);
        self.hear()
    }

    pub(crate) fn keep_alive(&mut self) -> Vec<Said> {
        self.stamp += 1;
        self.send(HostMessage::KeepAlive(KeepAlive { host_ns: self.stamp }))
    }

    pub(crate) fn status(&mut self) -> rig_link::message::Status {
        match self.send(HostMessage::StatusRequest(Empty)).last() {
            Some(Said::Status(status)) => *status,
            other => panic!("{other:?}"),
        }
    }

    pub(crate) fn stop(&mut self, mode: StopMode) -> Vec<Said> {
        self.send(HostMessage::Stop(Stop {
            mode,
            reason: StopReason::Test,
        }))
    }

    pub(crate) fn setpoints(&mut self, first: u64, period: u32, ends: bool, values: &[i16]) -> Vec<Said> {
        self.send(HostMessage::Setpoints(
            Setpoints::new(first, period, ends, values).unwrap(),
        ))
    }

    /// Lets time go on without a word from the bench.
    pub(crate) fn wait(&mut self, us: u64) -> Vec<Said> {
        let tick = self.rig.tick() + us;
        self.rig.advance_to(tick);
        self.hear()
    }

    /// Lets time go on with a keep-alive every 5 ms.
    pub(crate) fn live(&mut self, us: u64) -> Vec<Said> {
        let end = self.rig.tick() + us;
        let mut said = Vec::new();
        while self.rig.tick() < end {
            let next = (self.rig.tick() + 5_000).min(end);
            self.rig.advance_to(next);
            said.extend(self.hear());
            said.extend(self.keep_alive());
        }
        said
    }

    pub(crate) fn configure(&mut self, configuration: Configuration) -> u32 {
        self.send(HostMessage::Hello(Hello {
            major: 1,
            minor: 0,
            nonce: 5,
        }));
        match self.send(HostMessage::Configure(configuration)).as_slice() {
            [Said::Configured(configured)] => configured.crc,
            other => panic!("{other:?}"),
        }
    }

    pub(crate) fn challenge(&mut self, crc: u32) -> u32 {
        match self
            .send(HostMessage::ArmRequest(ArmRequest {
                configuration_crc: crc,
            }))
            .as_slice()
        {
            [Said::Challenge(challenge)] => *challenge,
            other => panic!("{other:?}"),
        }
    }

    pub(crate) fn confirm(&mut self, challenge: u32, crc: u32) -> Vec<Said> {
        self.send(HostMessage::ArmConfirm(ArmConfirm {
            challenge,
            configuration_crc: crc,
        }))
    }

    /// From power-up to armed.
    pub(crate) fn arm(&mut self, configuration: Configuration) -> u32 {
        let crc = self.configure(configuration);
        self.send(HostMessage::StartSampling(Empty));
        self.live(10_000);
        let challenge = self.challenge(crc);
        let said = self.confirm(challenge, crc);
        assert!(
            matches!(said.as_slice(), [Said::Status(status), Said::Event(_, EventCode::Armed, 0)]
            if status.state == RigState::Armed),
            "{said:?}"
        );
        crc
    }

    /// Armed and holding `raw` for `us`, streamed in messages of 5 ms.
    pub(crate) fn hold(&mut self, raw: i16, us: u64) -> Vec<Said> {
        let end = self.rig.tick() + us;
        let mut said = Vec::new();
        let mut next = self.rig.tick() - self.booted + 2_000;
        while self.rig.tick() < end {
            said.extend(self.setpoints(next, 1_000, false, &[raw; 5]));
            next += 5_000;
            said.extend(self.live(5_000));
        }
        said
    }

    pub(crate) fn hear(&mut self) -> Vec<Said> {
        let mut bytes = Vec::new();
        self.rig.transmit(&mut bytes);
        let mut said = Vec::new();
        let mut bad = 0;
        self.splitter
            .feed(&bytes, |result| match result.map(RigMessage::parse) {
                Ok(Ok(message)) => understand(message, &mut said),
                Ok(Err(_)) | Err(_) => bad += 1,
            });
        self.bad += bad;
        said
    }
}

fn understand(message: RigMessage<'_>, said: &mut Vec<Said>) {
    match message {
        RigMessage::Identity(m) => said.push(Said::Identity(m)),
        RigMessage::Channel(m) => said.push(Said::Channel(m)),
        RigMessage::Configured(m) => said.push(Said::Configured(m)),
        RigMessage::ArmChallenge(m) => said.push(Said::Challenge(m.challenge)),
        RigMessage::Status(m) => said.push(Said::Status(m)),
        RigMessage::Echo(m) => said.push(Said::Echo(m)),
        RigMessage::Event(m) => said.push(Said::Event(m.tick, m.code, m.detail)),
        RigMessage::Refused(m) => said.push(Said::Refused(m.kind, m.code, m.detail)),
        RigMessage::Stopped(m) => said.push(Said::Stopped(m.tick, m.mode, m.state)),
        RigMessage::Samples(m) => {
            let mut row = [0; WIDTHS.len()];
            m.for_each_row(&WIDTHS as &[Width], &mut row, |tick, row| {
                said.push(Said::Row(tick, row.to_vec()))
            })
            .unwrap();
        }
    }
}

/// Rows only.
pub(crate) fn rows(said: &[Said]) -> Vec<(u64, Vec<i32>)> {
    said.iter()
        .filter_map(|said| match said {
            Said::Row(tick, row) => Some((*tick, row.clone())),
            _ => None,
        })
        .collect()
}

/// The first trip: when and why.
pub(crate) fn tripped(said: &[Said]) -> Option<(u64, TripCause)> {
    said.iter().find_map(|said| match said {
        Said::Event(tick, EventCode::Tripped, detail) => Some((
            *tick,
            TripCause::from_code(u8::try_from(*detail).unwrap()).unwrap(),
        )),
        _ => None,
    })
}

/// The only thing said: a refusal.
pub(crate) fn refused(said: &[Said]) -> (RefusalCode, i32) {
    match said {
        [Said::Refused(_, code, detail)] => (*code, *detail),
        other => panic!("not one refusal: {other:?}"),
    }
}
