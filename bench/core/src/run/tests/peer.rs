//! A rig controller with little physics: it does what the rig link asks for, measures the setpoint as torque, and gives
//! under it.

use alloc::collections::VecDeque;
use alloc::vec::Vec;

use rig_link::message::{
    ArmChallenge, Capabilities, Channel, Configuration, Configured, Echo, Event, Identity, Name, Refused,
    SamplesBuilder, Status, Stopped,
};
use rig_link::{
    ChannelKind, EventCode, HostMessage, MAX_FRAME, RefusalCode, RigMessage, RigState, Splitter, StopMode,
    TripCause, Unit, Width, encode_rig,
};

const PERIOD_US: u64 = 250;
const ROWS: usize = 4;
const WIDTHS: [Width; 3] = [Width::I16, Width::I16, Width::I32];

#[derive(Debug)]
pub(super) struct Peer {
    /// Says and hears nothing any more.
    pub(super) dead: bool,
    /// Torque channel over setpoint channel.
    pub(super) gain: f64,
    /// Counts of the rim angle.
    pub(super) rim: i32,
    /// Torque that one count of the setpoint stands for at full scale, N·m.
    pub(super) full_scale_nm: f64,
    /// Says that it is a simulated rig.
    pub(super) simulated: bool,
    /// Places in the setpoint queue.
    pub(super) capacity: u16,
    /// Scale of the rim angle channel.
    pub(super) rim_scale: f64,
    /// Its own limits, put in place of what is asked for.
    pub(super) tighten: Option<fn(&mut Configuration)>,
    now: u64,
    state: RigState,
    cause: TripCause,
    configuration: Option<Configuration>,
    sampling: bool,
    fed: Option<u64>,
    trips: u32,
    events: u32,
    queue: VecDeque<(u64, i16)>,
    applied: i16,
    pub(super) sequence: u16,
    splitter: Splitter,
    batch: SamplesBuilder,
    out: Vec<u8>,
}

impl Peer {
    pub(super) fn new() -> Self {
        Self {
            dead: false,
            gain: 1.0,
            rim: 0,
            full_scale_nm: 32.767,
            simulated: true,
            capacity: 256,
            rim_scale: 1e-6,
            tighten: None,
            now: 0,
            state: RigState::Idle,
            cause: TripCause::None,
            configuration: None,
            sampling: false,
            fed: None,
            trips: 0,
            events: 0,
            queue: VecDeque::new(),
            applied: 0,
            sequence: 0,
            splitter: Splitter::new(),
            batch: SamplesBuilder::new(PERIOD_US as u32),
            out: Vec::new(),
        }
    }

    pub(super) fn state(&self) -> RigState {
        self.state
    }

    /// Most entries that were queued and not yet in force.
    pub(super) fn queued(&self) -> usize {
        self.queue.len()
    }

    pub(super) fn say(&mut self) -> Vec<u8> {
        core::mem::take(&mut self.out)
    }

    pub(super) fn write(&mut self, message: RigMessage<'_>) {
        let mut frame = [0; MAX_FRAME];
        let length = encode_rig(&message, self.sequence, &mut frame).unwrap();
        self.sequence = self.sequence.wrapping_add(1);
        self.out.extend_from_slice(&frame[..length]);
    }

    /// As an earlier program may have left it, configured and sampling.
    pub(super) fn left_behind(mut self, configuration: Configuration, state: RigState) -> Self {
        self.configuration = Some(configuration);
        (self.sampling, self.state) = (true, state);
        if state == RigState::Tripped {
            (self.cause, self.trips) = (TripCause::Watchdog, 3);
        }
        self
    }

    fn is_unfed(&self) -> bool {
        let watchdog_us = self.configuration.map_or(u64::MAX, |c| u64::from(c.watchdog_us));
        self.fed.is_none_or(|fed| self.now - fed > watchdog_us)
    }

    fn event(&mut self, code: EventCode, detail: i32) {
        self.events += 1;
        let (tick, number) = (self.now, self.events);
        self.write(RigMessage::Event(Event {
            tick,
            number,
            code,
            detail,
        }));
    }

    pub(super) fn status(&mut self) {
        let status = Status {
            tick: self.now,
            state: self.state,
            trip: self.cause,
            sampling: self.sampling,
            emergency_stop_closed: true,
            credit: self.capacity.saturating_sub(self.queue.len() as u16),
            trips: self.trips,
            underruns: 0,
            late_setpoints: 0,
            expired: 0,
            bad_frames: 0,
            lost_batches: 0,
            armed_angle_urad: 0,
        };
        self.write(RigMessage::Status(status));
    }

    pub(super) fn take(&mut self, bytes: &[u8]) {
        if self.dead {
            return;
        }
        let mut heard = Vec::new();
        self.splitter.feed(bytes, |frame| {
            let frame = frame.unwrap();
            heard.push((frame.kind, frame.sequence, HostMessage::parse(frame).unwrap()));
        });
        for (kind, sequence, message) in heard {
            self.carry_out(kind, sequence, message);
        }
    }

    fn carry_out(&mut self, kind: u8, sequence: u16, message: HostMessage) {
        match message {
            HostMessage::Hello(hello) => self.write(RigMessage::Identity(Identity {
                major: 1,
                minor: 0,
                nonce: hello.nonce,
                boot_id: 7,
                tick: self.now,
                capabilities: Capabilities(if self.simulated {
                    Capabilities::SIMULATED
                } else {
                    0
                }),
                channels: 3,
                queue_capacity: self.capacity,
                min_sample_period_us: 250,
                full_scale_nm: self.full_scale_nm,
                model: Name::new("peer"),
                serial: Name::new("P-1"),
                firmware: Name::new("1"),
            })),
            HostMessage::DescribeChannel(describe) => {
                let channel = self.channel(describe.index);
                self.write(RigMessage::Channel(channel));
            }
            HostMessage::Configure(_) if !matches!(self.state, RigState::Idle | RigState::Ready) => {
                self.refuse(kind, sequence, RefusalCode::WrongState);
            }
            HostMessage::Configure(mut applied) => {
                applied.stop_mode = StopMode::Coast;
                if let Some(tighten) = self.tighten {
                    tighten(&mut applied);
                }
                self.configuration = Some(applied);
                (self.sampling, self.state, self.fed) = (false, RigState::Ready, None);
                self.batch = SamplesBuilder::new(PERIOD_US as u32);
                self.write(RigMessage::Configured(Configured {
                    applied,
                    crc: applied.crc(),
                }));
            }
            HostMessage::StartSampling(_) => {
                self.sampling = true;
                self.status();
            }
            HostMessage::StopSampling(_) => {
                self.sampling = false;
                self.status();
            }
            HostMessage::ArmRequest(_) => {
                self.write(RigMessage::ArmChallenge(ArmChallenge {
                    challenge: 99,
                    valid_us: 2_000_000,
                }));
            }
            HostMessage::ArmConfirm(confirm) if confirm.challenge == 99 => {
                self.state = RigState::Armed;
                self.status();
                self.event(EventCode::Armed, 0);
            }
            HostMessage::ArmConfirm(_) => self.refuse(kind, sequence, RefusalCode::WrongChallenge),
            HostMessage::KeepAlive(alive) => {
                self.fed = Some(self.now);
                let (received_tick, sent_tick) = (self.now, self.now);
                self.write(RigMessage::Echo(Echo {
                    host_ns: alive.host_ns,
                    received_tick,
                    sent_tick,
                }));
            }
            HostMessage::Setpoints(setpoints) => {
                let count = setpoints.values().len();
                if self.state != RigState::Armed {
                    self.refuse(kind, sequence, RefusalCode::WrongState);
                } else if self.queue.len() + count > usize::from(self.capacity) {
                    self.refuse(kind, sequence, RefusalCode::QueueFull);
                } else {
                    assert!(setpoints.first_tick() >= self.now, "late setpoints");
                    self.queue.extend(setpoints.entries());
                }
            }
            HostMessage::Stop(_) => {
                if self.state == RigState::Armed {
                    self.state = RigState::Ready;
                }
                self.queue.clear();
                self.applied = 0;
                let (tick, mode, state) = (self.now, StopMode::Coast, self.state);
                self.write(RigMessage::Stopped(Stopped { tick, mode, state }));
                self.status();
            }
            HostMessage::ClearTrip(clear) if clear.trips != self.trips || self.is_unfed() => {
                self.refuse(kind, sequence, RefusalCode::CauseRemains);
            }
            HostMessage::ClearTrip(_) => {
                self.state = RigState::Ready;
                self.cause = TripCause::None;
                self.status();
            }
            HostMessage::StatusRequest(_) => self.status(),
        }
    }

    fn refuse(&mut self, kind: u8, sequence: u16, code: RefusalCode) {
        self.write(RigMessage::Refused(Refused {
            kind,
            sequence,
            code,
            detail: 0,
        }));
    }

    fn channel(&self, index: u8) -> Channel {
        let (kind, width, unit, scale, name) = match index {
            0 => (
                ChannelKind::Setpoint,
                Width::I16,
                Unit::NewtonMetre,
                self.full_scale_nm / 32_767.0,
                "setpoint",
            ),
            1 => (
                ChannelKind::Torque,
                Width::I16,
                Unit::NewtonMetre,
                self.full_scale_nm / 32_767.0,
                "torque",
            ),
            _ => (
                ChannelKind::RimAngle,
                Width::I32,
                Unit::Radian,
                self.rim_scale,
                "rim",
            ),
        };
        let (raw_min, raw_max) = match width {
            Width::I16 => (i32::from(i16::MIN), i32::from(i16::MAX)),
            Width::I32 => (i32::MIN, i32::MAX),
        };
        let name = Name::new(name);
        Channel {
            index,
            kind,
            width,
            unit,
            scale,
            offset: 0.0,
            raw_min,
            raw_max,
            group_delay_ns: 0,
            name,
        }
    }

    /// Goes on in steps of a sample period.
    pub(super) fn advance_to(&mut self, tick: u64) {
        while self.now + PERIOD_US <= tick {
            self.now += PERIOD_US;
            if !self.dead {
                self.step();
            }
        }
    }

    fn step(&mut self) {
        while self.queue.front().is_some_and(|(tick, _)| *tick <= self.now) {
            self.applied = self.queue.pop_front().map_or(0, |(_, raw)| raw);
        }
        if self.state == RigState::Armed && self.is_unfed() {
            self.state = RigState::Tripped;
            self.cause = TripCause::Watchdog;
            self.trips += 1;
            self.queue.clear();
            self.applied = 0;
            self.event(EventCode::Tripped, i32::from(TripCause::Watchdog.code()));
            self.status();
        }
        if !self.sampling {
            return;
        }
        let torque = (f64::from(self.applied) * self.gain) as i32;
        // Sensor and fixture of the fixture file give 1 rad for 3,333 N·m.
        let give_rad = f64::from(torque) * self.full_scale_nm / 32_767.0 / 3_333.0;
        let row = [
            i32::from(self.applied),
            torque,
            self.rim + (give_rad * 1e6) as i32,
        ];
        self.batch.push(self.now, &WIDTHS, &row).unwrap();
        if self.batch.rows() == ROWS {
            let batch = core::mem::replace(&mut self.batch, SamplesBuilder::new(PERIOD_US as u32));
            self.write(RigMessage::Samples(batch.message(self.state, 200).unwrap()));
        }
        if self.now.is_multiple_of(50_000) {
            self.status();
        }
    }
}
