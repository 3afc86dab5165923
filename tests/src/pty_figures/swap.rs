//! A line that changes sides in the middle of a run.
//!
//! Up to the playing of the plan it is the virtual rig in lock-step, so that greeting, limits, proofs and arming take
//! milliseconds and are what they always are. Then it is a serial port in real time, and the device on its far side
//! goes on where the rig stood: same channels, sequence and ticks. The run notices nothing: its clock goes on too.

use std::sync::mpsc::Sender;

use bench_core::time::HostNs;
use rig_link::message::SamplesBuilder;
use rig_link::{
    ChannelKind, HostMessage, MAX_CHANNELS, MAX_FRAME, RigMessage, RigState, Splitter, encode_rig,
};
use truerim::drive::clock::HostClock;
use truerim::drive::{Line, LineError, LockStep, SerialLine};
use virtual_rig::VirtualRig;

use super::device::{Answer, FRAME_US, Play};

/// Time between the first setpoints and the change of sides, µs: within the zero check, at zero torque, armed.
const DWELL_US: u64 = 20_000;
/// Rows in a frame.
const ROWS: u64 = 4;
/// Samples over which the bench takes a rim speed, and some more.
const SPEED_ROWS: f64 = 8.0;
/// Times the limit that the violating sample shows.
const EXCESS: f64 = 1.05;
/// Longest wait for the stop in real time, µs.
const PATIENCE_US: u64 = 1_000_000;

/// What the last sample breaks, with the limit that it breaks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Violation {
    /// Measured torque, N·m.
    SensorTorque(f64),
    /// Rim speed, rad/s.
    RimSpeed(f64),
}

/// What the virtual rig has said of itself so far.
struct Heard {
    splitter: Splitter,
    channels: Vec<rig_link::message::Channel>,
    sequence: u16,
    tick: u64,
    period_us: u32,
    credit: u16,
    counts: Vec<i32>,
}

impl Heard {
    fn listen(&mut self, bytes: &[u8]) {
        let Self {
            splitter,
            channels,
            sequence,
            tick,
            period_us,
            credit,
            counts,
        } = self;
        splitter.feed(bytes, |frame| {
            let Ok(frame) = frame else { return };
            *sequence = frame.sequence;
            match RigMessage::parse(frame) {
                Ok(RigMessage::Channel(channel)) => channels.push(channel),
                Ok(RigMessage::Samples(samples)) => {
                    let widths: Vec<_> = channels.iter().map(|channel| channel.width).collect();
                    let mut row = [0; MAX_CHANNELS];
                    let _ = samples.for_each_row(&widths, &mut row, |at, values| {
                        *tick = at;
                        counts.clear();
                        counts.extend_from_slice(values);
                    });
                    *period_us = samples.period_us;
                    *credit = samples.credit;
                }
                _ => {}
            }
        });
    }

    /// `quiet` frames that say what the last sample said, and one whose last sample breaks a limit.
    fn frames(&self, quiet: u16, violation: Violation) -> Option<Vec<Vec<u8>>> {
        let widths: Vec<_> = self.channels.iter().map(|channel| channel.width).collect();
        let loud = self.violating(violation)?;
        (0..=quiet)
            .map(|index| {
                let mut rows = SamplesBuilder::new(self.period_us);
                for row in 0..ROWS {
                    let after = (u64::from(index) * ROWS + row + 1) * u64::from(self.period_us);
                    let last = index == quiet && row + 1 == ROWS;
                    let counts = if last { &loud } else { &self.counts };
                    rows.push(self.tick + after, &widths, counts).ok()?;
                }
                let message = RigMessage::Samples(rows.message(RigState::Armed, self.credit)?);
                let mut frame = [0; MAX_FRAME];
                let sequence = self.sequence.wrapping_add(index).wrapping_add(1);
                let length = encode_rig(&message, sequence, &mut frame).ok()?;
                frame.get(..length).map(<[u8]>::to_vec)
            })
            .collect()
    }

    /// The last sample's counts with one channel beyond its limit.
    fn violating(&self, violation: Violation) -> Option<Vec<i32>> {
        let mut counts = self.counts.clone();
        let place_of = |kind| self.channels.iter().position(|channel| channel.kind == kind);
        let period_s = f64::from(self.period_us) * rig_link::TICK_S;
        let (place, physical, relative) = match violation {
            Violation::SensorTorque(limit_nm) => (place_of(ChannelKind::Torque)?, EXCESS * limit_nm, false),
            Violation::RimSpeed(limit_rad_s) => {
                let turned_rad = EXCESS * limit_rad_s * SPEED_ROWS * period_s;
                (place_of(ChannelKind::RimAngle)?, turned_rad, true)
            }
        };
        let channel = self.channels.get(place)?;
        let count = counts.get_mut(place)?;
        *count = if relative {
            *count + (physical / channel.scale).ceil() as i32
        } else {
            ((physical - channel.offset) / channel.scale).ceil() as i32
        };
        (*count > channel.raw_min && *count < channel.raw_max).then_some(counts)
    }
}

/// Which side the line is on.
enum Side {
    /// Up to the playing of the plan; then until this tick.
    LockStep {
        /// `None` before the first setpoints.
        until_tick: Option<u64>,
    },
    /// In real time since `since` of the port's clock, which is `from` of the run's.
    Port { from: HostNs, since: HostNs },
}

/// The line of one trial.
pub struct SwapLine<'a> {
    rig: LockStep,
    port: &'a mut SerialLine,
    side: Side,
    heard: Heard,
    to_rig: Splitter,
    clock: HostClock,
    quiet: u16,
    violation: Violation,
    device: &'a Sender<Play>,
    stop_written: Option<HostNs>,
    loud_length: usize,
    stop_length: usize,
}

impl<'a> SwapLine<'a> {
    /// A trial on `rig`, then on `port`, whose far side `device` plays: `quiet` frames, then a `violation`.
    pub fn new(
        rig: VirtualRig,
        port: &'a mut SerialLine,
        device: &'a Sender<Play>,
        clock: HostClock,
        quiet: u16,
        violation: Violation,
    ) -> Self {
        Self {
            rig: LockStep::new(rig),
            port,
            side: Side::LockStep { until_tick: None },
            heard: Heard {
                splitter: Splitter::new(),
                channels: Vec::new(),
                sequence: 0,
                tick: 0,
                period_us: 0,
                credit: 0,
                counts: Vec::new(),
            },
            to_rig: Splitter::new(),
            clock,
            quiet,
            violation,
            device,
            stop_written: None,
            loud_length: 0,
            stop_length: 0,
        }
    }

    /// Whether the device was set going.
    #[must_use]
    pub const fn swapped(&self) -> bool {
        matches!(self.side, Side::Port { .. })
    }

    /// When the write of the first stop on the port had returned.
    #[must_use]
    pub const fn stop_written(&self) -> Option<HostNs> {
        self.stop_written
    }

    /// Bytes of the violating frame, and of the write that held the first stop.
    #[must_use]
    pub const fn lengths(&self) -> [usize; 2] {
        [self.loud_length, self.stop_length]
    }

    /// Ends the trial for the run.
    fn over(doing: &'static str) -> LineError {
        LineError::Io {
            port: "the trial's line".to_owned(),
            doing,
            source: std::io::ErrorKind::Other.into(),
        }
    }

    /// Changes sides when nothing of the rig is on its way any more.
    fn swap(&mut self) -> Result<(), LineError> {
        let frames = self
            .heard
            .frames(self.quiet, self.violation)
            .ok_or_else(|| Self::over("making the device's frames"))?;
        self.loud_length = frames.last().map_or(0, Vec::len);
        let from = self.rig.now();
        let play = Play {
            frames,
            answer: Answer::Stop,
        };
        self.device
            .send(play)
            .map_err(|_| Self::over("setting the device going"))?;
        self.side = Side::Port {
            from,
            since: self.port.now(),
        };
        Ok(())
    }

    /// Looks at what was written, after the time was taken.
    fn note(&mut self, bytes: &[u8], now: HostNs) {
        let (mut setpoints, mut stop) = (false, false);
        self.to_rig
            .feed(bytes, |frame| match frame.map(HostMessage::parse) {
                Ok(Ok(HostMessage::Setpoints(_))) => setpoints = true,
                Ok(Ok(HostMessage::Stop(_))) => stop = true,
                _ => {}
            });
        match &mut self.side {
            Side::LockStep { until_tick } if setpoints && until_tick.is_none() => {
                *until_tick = Some(self.rig.rig().tick() + DWELL_US);
            }
            Side::Port { .. } if stop && self.stop_written.is_none() => {
                self.stop_written = Some(now);
                self.stop_length = bytes.len();
            }
            _ => {}
        }
    }
}

impl Line for SwapLine<'_> {
    fn now(&self) -> HostNs {
        match self.side {
            Side::LockStep { .. } => self.rig.now(),
            Side::Port { from, since } => HostNs(from.0 + self.port.now().0.saturating_sub(since.0)),
        }
    }

    fn wait(&mut self, until: HostNs, inbox: &mut Vec<u8>) -> Result<(), LineError> {
        if let Side::LockStep { until_tick } = self.side {
            let due = until_tick.is_some_and(|tick| self.rig.rig().tick() >= tick);
            let before = inbox.len();
            if due {
                self.rig.rig_mut().transmit(inbox);
            } else {
                self.rig.wait(until, inbox)?;
            }
            self.heard.listen(inbox.get(before..).unwrap_or_default());
            if due && inbox.len() == before {
                self.swap()?;
            }
            return Ok(());
        }
        let Side::Port { from, since } = self.side else {
            return Ok(());
        };
        let limit_us = PATIENCE_US + u64::from(self.quiet) * FRAME_US;
        if self.stop_written.is_some() || self.now() > from.plus_us(limit_us) {
            return Err(Self::over("the trial, which is over"));
        }
        let until = HostNs(until.0.saturating_sub(from.0).saturating_add(since.0));
        self.port.wait(until, inbox)
    }

    fn write(&mut self, bytes: &[u8], discard_first: bool) -> Result<(), LineError> {
        match self.side {
            Side::LockStep { .. } => self.rig.write(bytes, discard_first)?,
            Side::Port { .. } => self.port.write(bytes, discard_first)?,
        }
        self.note(bytes, self.clock.now());
        Ok(())
    }
}
