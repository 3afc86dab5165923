//! A rig put together of parts: torque from a sensor of its own, torque onto a force-feedback device, or both.
//!
//! To the run this is one line to one rig controller, so the run, its interlock and its recording are the same as for any other rig. Here
//! the frames of the real one pass through, and of its sample rows
//!
//! - the **torque** is that of the sensor: resampled at the row's tick, through the time base of the rig's keep-alives and the sensor's own,
//!   its declared group delay taken off. A row waits until the readings around it have come. It is resampled rather than kept as a channel with a time
//!   of its own because every condition of the interlock and every fit looks at torque, angle and setpoint of one moment; a second
//!   time axis would be a second way to be wrong. What the rig controller itself calls torque stays in the row, as a channel of no kind.
//! - the **setpoint** is the level that the force-feedback device was given last before the row's tick; a channel
//!   [`setpoint_age`](bench_core::rig::SETPOINT_AGE) says how long before.
//! - a channel [`clock_bound`](bench_core::rig::CLOCK_BOUND) says how far setpoint and torque of the row may be apart in time, by what is
//!   known of the clocks.
//!
//! A row whose torque is not known within [`LATEST_S`], or is known to be known never, goes on with a torque that says
//! so ([`NOT_MEASURED`](bench_core::channels::NOT_MEASURED)): what is late stops the motor. Everything but echoes keeps its order behind rows that wait.

mod held;
mod rows;

use std::collections::VecDeque;

use bench_core::rig::{LATEST_S, Rig};
use bench_core::time::HostNs;
use bench_core::time_base::{RoundTrip, Settings, TimeBase};
use rig_link::frame::DELIMITER;
use rig_link::message::STOP_KIND;
use rig_link::{HostMessage, RigMessage, Splitter};

use super::force::Player;
use super::sense::{Sense, ns};
use super::{Line, LineError, Said};
use held::{Held, Outbound};
use rows::Rows;

/// Longest wait while rows wait for their torque, µs.
const NUDGE_US: u64 = 500;
/// Time that a row waits at most, µs.
const LATEST_US: u64 = (LATEST_S * 1e6) as u64;

/// A line to a rig controller with other parts around it. See the module's text.
pub struct Composed {
    inner: Box<dyn Line>,
    sense: Option<Box<dyn Sense>>,
    player: Option<Player>,
    base: TimeBase,
    rows: Rows,
    incoming: Splitter,
    outgoing: Splitter,
    held: VecDeque<Held>,
    outbound: Outbound,
    sequence: Option<u16>,
    bytes: Vec<u8>,
    forward: Vec<u8>,
    candidate: Vec<u8>,
}

impl Composed {
    /// Puts parts around the line to a rig controller. All of them stamp with the clock of that line.
    #[must_use]
    pub fn new(
        inner: Box<dyn Line>,
        sense: Option<Box<dyn Sense>>,
        player: Option<Player>,
        rig: &Rig,
    ) -> Self {
        Self {
            inner,
            rows: Rows::new(rig, sense.is_some(), player.is_some()),
            sense,
            player,
            base: TimeBase::new(Settings::CRYSTAL),
            incoming: Splitter::new(),
            outgoing: Splitter::new(),
            held: VecDeque::with_capacity(256),
            outbound: Outbound::default(),
            sequence: None,
            bytes: Vec::with_capacity(16 * 1024),
            forward: Vec::with_capacity(16 * 1024),
            candidate: Vec::with_capacity(1_024),
        }
    }

    /// Takes what the rig controller sent.
    fn take(&mut self, now: HostNs) -> Result<(), LineError> {
        let bytes = std::mem::take(&mut self.bytes);
        let mut incoming = std::mem::take(&mut self.incoming);
        let mut outcome = Ok(());
        for &byte in &bytes {
            match incoming.push(byte) {
                None => {}
                Some(Err(_)) => self.held.push_back(Held::bad()),
                Some(Ok(frame)) => {
                    let (kind, sequence) = (frame.kind, frame.sequence);
                    let gap = self
                        .sequence
                        .map_or(0, |before| sequence.wrapping_sub(before.wrapping_add(1)));
                    self.sequence = Some(sequence);
                    let held = Held::frame(kind, gap, frame.payload, now);
                    let Ok(message) = RigMessage::parse(frame) else {
                        self.held.push_back(held);
                        continue;
                    };
                    outcome = outcome.and(self.look(&message, now));
                    if let RigMessage::Echo(_) = message {
                        self.outbound.put(&held, gap); // judged by when it comes
                    } else {
                        self.held.push_back(held);
                    }
                }
            }
        }
        self.incoming = incoming;
        self.bytes = bytes;
        self.bytes.clear();
        outcome
    }

    /// What a message of the rig means to the parts.
    fn look(&mut self, message: &RigMessage<'_>, now: HostNs) -> Result<(), LineError> {
        if let RigMessage::Echo(echo) = message {
            let ticks = [echo.received_tick, echo.sent_tick];
            self.base
                .round_trip(&RoundTrip::of_ticks(echo.host_ns, ticks, now.0));
        }
        self.rows.look(message);
        let Some(player) = &mut self.player else {
            return Ok(());
        };
        let now_ns = ns(now);
        let done = match message {
            RigMessage::Identity(identity) => {
                player.identified(identity);
                Ok(())
            }
            RigMessage::Configured(configured) => {
                player.configured(&configured.applied);
                Ok(())
            }
            RigMessage::Samples(samples) => player.heard(samples.state, now_ns),
            RigMessage::Status(status) => player.heard(status.state, now_ns),
            RigMessage::Stopped(stopped) => player.heard(stopped.state, now_ns),
            _ => Ok(()),
        };
        done.map_err(|source| LineError::Released {
            why: format!("the force-feedback device could not be told to stop: {source}; cut its supply"),
        })
    }

    /// Lets frames go on, in their order, as far as their rows are known.
    fn release(&mut self, now: HostNs) {
        if let Some(sense) = &mut self.sense {
            let rows = &mut self.rows;
            sense.poll(&mut |reading| rows.push(reading));
        }
        while let Some(held) = self.held.front() {
            let late = now.us_since(held.since) >= LATEST_US;
            let gone = if held.is_samples() {
                self.rows
                    .release(held, &self.base, self.player.as_ref(), late, &mut self.outbound)
            } else {
                self.outbound.put_edited(held, &self.rows);
                true
            };
            if !gone {
                return;
            }
            self.held.pop_front();
        }
    }

    /// Plays what is due on the force-feedback device.
    fn play(&mut self) -> Result<(), LineError> {
        let Some(player) = &mut self.player else {
            return Ok(());
        };
        let inner = &self.inner;
        player
            .play(&self.base, &|| ns(inner.now()))
            .map_err(|why| LineError::Released { why })
    }

    /// Looks at what the run sends: keeps back what only the parts can answer, and tells them what concerns them.
    fn overhear(&mut self, bytes: &[u8]) -> Result<(), LineError> {
        let mut outgoing = std::mem::take(&mut self.outgoing);
        let mut outcome = Ok(());
        for &byte in bytes {
            self.candidate.push(byte);
            let frame = outgoing.push(byte);
            if byte != DELIMITER {
                continue;
            }
            let mut keep_back = false;
            if let Some(Ok(frame)) = frame {
                let is_stop = frame.kind == STOP_KIND;
                let message = HostMessage::parse(frame).ok();
                if let Some(HostMessage::DescribeChannel(asked)) = message
                    && let Some(own) = self.rows.own_channel(asked.index)
                {
                    self.held.push_back(Held::channel(&own, self.inner.now()));
                    keep_back = true;
                }
                if let Some(player) = &mut self.player {
                    let now_ns = ns(self.inner.now());
                    match message {
                        _ if is_stop => {
                            outcome = outcome.and(player.stop(now_ns));
                        }
                        Some(HostMessage::ArmConfirm(_)) => player.arming(),
                        Some(HostMessage::Setpoints(setpoints)) => player.queue(&setpoints),
                        _ => {}
                    }
                }
            }
            if !keep_back {
                self.forward.extend_from_slice(&self.candidate);
            }
            self.candidate.clear();
        }
        // Half a frame is never kept back.
        self.forward.append(&mut self.candidate);
        self.outgoing = outgoing;
        outcome.map_err(|source| LineError::Released {
            why: format!("the force-feedback device could not be told to stop: {source}; cut its supply"),
        })
    }
}

impl Line for Composed {
    fn now(&self) -> HostNs {
        self.inner.now()
    }

    fn wait(&mut self, until: HostNs, inbox: &mut Vec<u8>) -> Result<(), LineError> {
        loop {
            self.play()?;
            self.release(self.inner.now());
            if self.outbound.take(inbox) {
                return Ok(());
            }
            let mut next = until;
            if !self.held.is_empty() {
                next = next.min(self.inner.now().plus_us(NUDGE_US));
            }
            if let Some(player) = &self.player {
                next = next.min(HostNs(u64::try_from(player.due_ns()).unwrap_or(0)));
            }
            self.inner.wait(next, &mut self.bytes)?;
            let now = self.inner.now();
            self.take(now)?;
            self.play()?;
            self.release(now);
            if self.outbound.take(inbox) || now >= until {
                return Ok(());
            }
        }
    }

    fn write(&mut self, bytes: &[u8], discard_first: bool) -> Result<(), LineError> {
        let heard = self.overhear(bytes);
        let forward = std::mem::take(&mut self.forward);
        let sent = self.inner.write(&forward, discard_first);
        self.forward = forward;
        self.forward.clear();
        sent.and(heard)
    }

    fn account(&self) -> Vec<Said> {
        let mut lines = self.inner.account();
        lines.extend(self.sense.iter().flat_map(|sense| sense.account()));
        lines.extend(self.player.as_ref().map(|player| Said::fact(player.account())));
        lines.extend(self.rows.account().map(Said::amiss));
        let now = ns(self.inner.now());
        if let (Some(offset), Some((drift, bound))) = (self.base.at(now), self.base.drift()) {
            lines.push(Said::fact(format!(
                "rig's clock against this computer's: known to {:.3} ms, drift {:.1} ± {:.1} ppm",
                offset.bound_ns * 1e-6,
                drift * 1e6,
                bound * 1e6
            )));
        }
        lines
    }
}
