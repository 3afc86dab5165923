//! What the controller says of itself: identity, status, events, refusals; and how often it may.

use rig_link::frame::FrameError;
use rig_link::message::{Capabilities, Event, Identity, Name, Refused, RigMessage, Samples, Status, Stopped};
use rig_link::{EventCode, PROTOCOL_MAJOR, PROTOCOL_MINOR, RefusalCode, StopMode};

use super::line::Arrived;
use super::wiring::{Counts, row};
use super::{Controller, STATUS_US};

/// Counters since boot.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Counters {
    pub(super) events: u32,
    pub(super) trips: u32,
    pub(super) underruns: u32,
    pub(super) late_setpoints: u32,
    pub(super) expired: u32,
    pub(super) bad_frames: u32,
    pub(super) lost_batches: u32,
}

/// What the firmware's version begins with where faults are scripted.
const FAULTY: &str = "faults, ";

/// Shortest time between two reports of one rationed kind, µs.
const RATION_US: u64 = 100_000;

/// When the reports that could flood the line were last made.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Rationed {
    bad_frame: Option<u64>,
    version: Option<u64>,
    limited: Option<u64>,
}

/// Whether a report may be made at `now`, and if so notes it.
fn may(last: &mut Option<u64>, now: u64) -> bool {
    let may = last.is_none_or(|then| now.saturating_sub(then) >= RATION_US);
    if may {
        *last = Some(now);
    }
    may
}

impl Controller {
    pub(super) fn booted(&mut self) {
        self.event(EventCode::Booted, 0);
    }

    pub(super) fn identity(&mut self, nonce: u32) {
        let p = &self.parameters;
        let mut capabilities = if p.simulated { Capabilities::SIMULATED } else { 0 };
        if p.brake {
            capabilities |= Capabilities::BRAKE;
        }
        if p.emergency_stop_input {
            capabilities |= Capabilities::EMERGENCY_STOP_INPUT;
        }
        // Nobody is to take what it says for that of a sound rig.
        let firmware = if self.faulty {
            format!("{FAULTY}{}", p.firmware)
        } else {
            p.firmware.clone()
        };
        let identity = Identity {
            major: PROTOCOL_MAJOR,
            minor: PROTOCOL_MINOR,
            nonce,
            boot_id: self.boot_id,
            tick: self.now,
            capabilities: Capabilities(capabilities),
            channels: self.wiring.channels.len() as u8,
            queue_capacity: p.queue_capacity,
            min_sample_period_us: p.min_sample_period_us,
            full_scale_nm: p.full_scale_nm,
            model: Name::new(&p.model),
            serial: Name::new(&p.serial),
            firmware: Name::new(&firmware),
        };
        self.line.write(&RigMessage::Identity(identity));
    }

    pub(super) fn status(&mut self) {
        let status = Status {
            tick: self.now,
            state: self.state,
            trip: self.cause,
            sampling: self.sampling.is_some(),
            emergency_stop_closed: self.emergency_stop_closed,
            credit: self.player.credit(),
            trips: self.counters.trips,
            underruns: self.counters.underruns,
            late_setpoints: self.counters.late_setpoints,
            expired: self.counters.expired,
            bad_frames: self.counters.bad_frames,
            lost_batches: self.counters.lost_batches,
            armed_angle_urad: self.armed_angle_urad,
        };
        self.line.write(&RigMessage::Status(status));
    }

    pub(super) fn event(&mut self, code: EventCode, detail: i32) {
        self.counters.events = self.counters.events.wrapping_add(1);
        let event = Event {
            tick: self.now,
            number: self.counters.events,
            code,
            detail,
        };
        self.line.write(&RigMessage::Event(event));
    }

    pub(super) fn refuse(&mut self, frame: &Arrived, code: RefusalCode, detail: i32) {
        let refused = Refused {
            kind: frame.kind,
            sequence: frame.sequence,
            code,
            detail,
        };
        self.line.write(&RigMessage::Refused(refused));
    }

    pub(super) fn wrong_state(&mut self, frame: &Arrived) {
        self.refuse(frame, RefusalCode::WrongState, i32::from(self.state.code()));
    }

    pub(super) fn stopped(&mut self, mode: StopMode) {
        self.line.write(&RigMessage::Stopped(Stopped {
            tick: self.now,
            mode,
            state: self.state,
        }));
    }

    /// A candidate failed its checks.
    pub(super) fn bad_frame(&mut self, error: FrameError) {
        self.count_bad_frame();
        if matches!(error, FrameError::Version(_)) && may(&mut self.rationed.version, self.now) {
            let nobody = Arrived {
                kind: 0,
                sequence: 0,
                payload: Vec::new(),
            };
            self.refuse(&nobody, RefusalCode::Version, i32::from(PROTOCOL_MAJOR));
        }
    }

    pub(super) fn count_bad_frame(&mut self) {
        self.counters.bad_frames = self.counters.bad_frames.wrapping_add(1);
        if may(&mut self.rationed.bad_frame, self.now) {
            self.event(
                EventCode::BadFrame,
                (self.counters.bad_frames & 0x7FFF_FFFF) as i32,
            );
        }
    }

    pub(super) fn setpoint_limited(&mut self, asked: i16) {
        if may(&mut self.rationed.limited, self.now) {
            self.event(EventCode::SetpointLimited, i32::from(asked));
        }
    }

    /// Switches the regular status on or off with sampling.
    pub(super) fn schedule_status(&mut self) {
        self.next_status = if self.sampling.is_some() {
            self.now + STATUS_US
        } else {
            u64::MAX
        };
    }

    /// Takes the row that is due now, and sends the batch when it is full.
    pub(super) fn sample(&mut self, counts: &Counts) {
        let setpoint = match self.output() {
            super::Output::Torque(raw) => raw,
            super::Output::Off | super::Output::Brake => 0,
        };
        let Some(sampling) = &mut self.sampling else {
            return;
        };
        let (widths, row, length) = row(&self.wiring, setpoint, counts);
        let (widths, row) = (widths.get(..length), row.get(..length));
        if sampling.next_row == self.now && sampling.push(widths.unwrap_or_default(), row.unwrap_or_default())
        {
            self.send_batch();
        }
    }

    /// Sends the rows that have been gathered, if any.
    pub(super) fn send_batch(&mut self) {
        let Some(sampling) = &mut self.sampling else {
            return;
        };
        let message: Option<Samples<'_>> = sampling.builder.message(self.state, self.player.credit());
        let sent = match message {
            Some(samples) => self.frozen || self.line.write(&RigMessage::Samples(samples)),
            None => true,
        };
        sampling.builder.clear();
        if sent {
            sampling.last_batch = self.now;
        } else {
            self.counters.lost_batches = self.counters.lost_batches.wrapping_add(1);
        }
    }
}
