//! A look at a rig's torque sensor with the motor off.
//!
//! This never arms: it sends a greeting, asks for descriptions, limits with a greatest setpoint of zero, and samples, keep-alives
//! where a sensor has a clock of its own, and nothing else. It does not ask for torque, so it needs no permit.

use bench_core::rig::Sense;
use bench_core::time::HostNs;
use rig_link::message::{
    Configuration, DescribeChannel, Empty, Hello, Identity, KeepAlive, RigMessage, WindowReference,
};
use rig_link::{
    ChannelKind, HostMessage, MAX_CHANNELS, MAX_FRAME, PROTOCOL_MAJOR, PROTOCOL_MINOR, RigState, Splitter,
    StopMode, Width, encode_host, frame::DELIMITER,
};
use truerim_analysis::statistics::mean_sd;
use virtual_rig::VirtualRig;

use super::checkup::emergency::shown;
use super::{Bench, SessionError, Way};
use crate::drive::{Line, LockStep};

/// Sample period, µs.
const PERIOD_US: u32 = 1_000;
/// Time for the sensor's filter and a swinging weight before rows count, in samples.
const SETTLE: usize = 200;
/// A message is answered within this, or the rig is not there, µs.
const ANSWER_US: u64 = 1_000_000;
/// Time between two looks at the emergency-stop input, µs.
const LOOK_US: u64 = 20_000;
/// Time between two keep-alives, where they are sent, µs.
const KEEP_ALIVE_US: u64 = 5_000;
/// The greeting is sent again after this, for a controller that resets when its port is opened, µs.
const AGAIN_US: u64 = 300_000;

/// What the sensor said.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Look {
    /// Mean torque, N·m.
    pub mean_nm: f64,
    /// Standard deviation of the samples, N·m.
    pub sd_nm: f64,
    /// Samples in the mean.
    pub samples: usize,
}

/// Reads the torque sensor for `samples` milliseconds. On the virtual rig of this process a weight of `load_nm` hangs on
/// the sensor meanwhile, and `number` tells one look's noise from another's; a real rig is as it is.
///
/// # Errors
/// [`SessionError`] when the line cannot be opened, or the rig does not answer, refuses, or has torque permitted.
pub fn look(bench: &Bench, load_nm: f64, number: u64, samples: usize) -> Result<Look, SessionError> {
    let mut client = Client::over(line(bench, load_nm, number)?, bench);
    let (scale, offset, widths, place) = client.meet()?;
    let counts = client.sample(&widths, place, samples)?;
    let values: Vec<f64> = counts.into_iter().map(f64::from).collect();
    let found = mean_sd(&values).map_err(|refusal| SessionError::NotLookedAt {
        what: "samples",
        why: refusal.to_string(),
    })?;
    Ok(Look {
        mean_nm: found.mean * scale + offset,
        sd_nm: found.sd * scale.abs(),
        samples: found.n,
    })
}

fn line(bench: &Bench, load_nm: f64, number: u64) -> Result<Box<dyn Line>, SessionError> {
    match (&bench.way, &bench.simulated) {
        (Way::LockStep, Some(parameters)) => {
            let mut parameters = parameters.clone();
            parameters.sensors.torque.load_nm += load_nm;
            let seed = bench.seed.wrapping_mul(1_000_003).wrapping_add(number);
            Ok(Box::new(LockStep::new(VirtualRig::new(parameters, seed))))
        }
        _ => bench.line(),
    }
}

pub(super) struct Client {
    line: Box<dyn Line>,
    /// Whether the clocks of parts are to be told apart, which rests on keep-alives and their echoes.
    keep_alive: bool,
    splitter: Splitter,
    sequence: u16,
}

/// Scale and offset of the torque channel, widths of all, place of the torque channel.
type Met = (f64, f64, Vec<Width>, usize);

impl Client {
    /// Opens the line to a rig.
    pub(super) fn open(bench: &Bench) -> Result<Self, SessionError> {
        Ok(Self::over(bench.line()?, bench))
    }

    fn over(line: Box<dyn Line>, bench: &Bench) -> Self {
        Self {
            line,
            keep_alive: bench.rig.sense != Sense::Rig,
            splitter: Splitter::new(),
            sequence: 0,
        }
    }

    /// Whether the emergency-stop input is closed now.
    pub(super) fn status(&mut self) -> Result<bool, SessionError> {
        self.send(&HostMessage::StatusRequest(Empty))?;
        self.until("its state", ANSWER_US, shown)
    }

    /// Waits until the emergency-stop input is closed, or open; whether it came to be within the time.
    pub(super) fn wait_for_input(&mut self, closed: bool, within_us: u64) -> Result<bool, SessionError> {
        let until = self.line.now().plus_us(within_us);
        while self.line.now() < until {
            if self.status()? == closed {
                return Ok(true);
            }
            let next = self.line.now().plus_us(LOOK_US);
            while self.line.now() < next {
                self.line.wait(next, &mut Vec::new())?;
            }
        }
        Ok(false)
    }

    fn send(&mut self, message: &HostMessage) -> Result<(), SessionError> {
        let mut frame = [0; MAX_FRAME];
        // A message of the bench always fits its frame.
        let length = encode_host(message, self.sequence, &mut frame).unwrap_or(0);
        self.sequence = self.sequence.wrapping_add(1);
        Ok(self.line.write(frame.get(..length).unwrap_or_default(), false)?)
    }

    /// Hands messages of the rig to `take` until it returns something.
    fn until<T>(
        &mut self,
        what: &'static str,
        within_us: u64,
        mut take: impl FnMut(&RigMessage<'_>) -> Option<T>,
    ) -> Result<T, SessionError> {
        let until = self.line.now().plus_us(within_us);
        let mut fed = HostNs(0);
        let mut inbox = Vec::new();
        let mut refused = None;
        while self.line.now() < until {
            let now = self.line.now();
            if self.keep_alive && now >= fed {
                fed = now.plus_us(KEEP_ALIVE_US);
                self.send(&HostMessage::KeepAlive(KeepAlive { host_ns: now.0 }))?;
            }
            inbox.clear();
            let next = if self.keep_alive { until.min(fed) } else { until };
            self.line.wait(next, &mut inbox)?;
            let mut found = None;
            self.splitter.feed(&inbox, |result| {
                let Some(message) = result.ok().and_then(|frame| RigMessage::parse(frame).ok()) else {
                    return;
                };
                if let RigMessage::Refused(refusal) = &message {
                    refused = Some(format!("{:?}, detail {}", refusal.code, refusal.detail));
                }
                if found.is_none() {
                    found = take(&message);
                }
            });
            if let Some(found) = found {
                return Ok(found);
            }
            if let Some(why) = refused {
                return Err(SessionError::NotLookedAt {
                    what,
                    why: format!("refused: {why}"),
                });
            }
        }
        Err(SessionError::NotLookedAt {
            what,
            why: format!("no answer within {} ms", within_us / 1_000),
        })
    }

    /// Greets the rig.
    pub(super) fn greet(&mut self) -> Result<Identity, SessionError> {
        self.line.write(&[DELIMITER], false)?;
        let hello = HostMessage::Hello(Hello {
            major: PROTOCOL_MAJOR,
            minor: PROTOCOL_MINOR,
            nonce: self.line.now().0 as u32,
        });
        let mut identity = Err(SessionError::NotLookedAt {
            what: "a greeting",
            why: "no answer".to_owned(),
        });
        for _ in 0..10 {
            self.send(&hello)?;
            identity = self.until("a greeting", AGAIN_US, |message| match message {
                RigMessage::Identity(identity) => Some(*identity),
                _ => None,
            });
            if identity.is_ok() {
                break;
            }
        }
        identity
    }

    fn meet(&mut self) -> Result<Met, SessionError> {
        let identity = self.greet()?;
        let (mut widths, mut torque) = (Vec::new(), None);
        for index in 0..identity.channels {
            self.send(&HostMessage::DescribeChannel(DescribeChannel { index }))?;
            let channel = self.until("a channel's description", ANSWER_US, |message| match message {
                RigMessage::Channel(channel) if channel.index == index => Some(*channel),
                _ => None,
            })?;
            if channel.kind == ChannelKind::Torque {
                torque = Some((channel.scale, channel.offset, widths.len()));
            }
            widths.push(channel.width);
        }
        let (scale, offset, place) = torque.ok_or_else(|| SessionError::NotLookedAt {
            what: "its channels",
            why: "none of them is a torque".to_owned(),
        })?;
        Ok((scale, offset, widths, place))
    }

    /// Counts of the torque channel, after it has settled.
    fn sample(&mut self, widths: &[Width], place: usize, samples: usize) -> Result<Vec<i32>, SessionError> {
        self.send(&HostMessage::Configure(without_torque()))?;
        self.until("limits without torque", ANSWER_US, |message| {
            matches!(message, RigMessage::Configured(_)).then_some(())
        })?;
        self.send(&HostMessage::StartSampling(Empty))?;
        let (mut skipped, mut counts, mut armed) = (0, Vec::with_capacity(samples), false);
        let within_us = u64::from(PERIOD_US) * (samples + SETTLE) as u64 * 2 + ANSWER_US;
        self.until("samples", within_us, |message| {
            let RigMessage::Samples(batch) = message else {
                return None;
            };
            armed |= batch.state == RigState::Armed;
            let mut row = [0; MAX_CHANNELS];
            let read = batch.for_each_row(widths, &mut row, |_, row| {
                if skipped < SETTLE {
                    skipped += 1;
                } else if counts.len() < samples {
                    counts.extend(row.get(place));
                }
            });
            (read.is_none() || armed || counts.len() >= samples).then_some(())
        })?;
        self.send(&HostMessage::StopSampling(Empty))?;
        if armed || counts.len() < samples {
            return Err(SessionError::NotLookedAt {
                what: "samples",
                why: if armed {
                    "torque is permitted on it: somebody else drives it".to_owned()
                } else {
                    "their rows are not as wide as its channels".to_owned()
                },
            });
        }
        Ok(counts)
    }
}

/// Limits for a rig that is only looked at: no setpoint above zero.
const fn without_torque() -> Configuration {
    Configuration {
        sample_period_us: PERIOD_US,
        torque_limit_raw: 0,
        slew_limit_raw_per_ms: 1,
        rim_speed_limit_mrad_s: 1_000,
        window_low_urad: -100_000,
        window_high_urad: 100_000,
        window_reference: WindowReference::Arming,
        sensor_torque_limit_mnm: u32::MAX,
        temperature_limit_cdeg: 6_000,
        watchdog_us: 5_000,
        setpoint_expiry_us: 500,
        stop_mode: StopMode::Coast,
        brake_us: 0,
    }
}
