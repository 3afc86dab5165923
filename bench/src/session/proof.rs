//! A rig opened, identified, and its stop and watchdog proved at zero torque.

use bench_core::channels::SampleRow;
use bench_core::rig::Rig;
use bench_core::run::{Course, Outcome, Permit, Run, RunEvent, RunOptions};
use bench_core::time::HostNs;
use rig_link::message::{Capabilities, Channel, Configuration, Identity, Status};

use super::checkup::noise::Noise;
use super::{Bench, SessionError};
use crate::drive::schedule::{Granted, ask_for_real_time};
use crate::drive::{Sink, StopFlag, conduct};

/// Sample period while proving, µs.
const PERIOD_US: u32 = 250;

/// What a check of a rig showed.
#[derive(Debug)]
pub struct Checked {
    /// How it ended, with the proofs.
    pub outcome: Outcome,
    /// What the system granted to the driving thread; `None` in lock-step.
    pub granted: Option<Granted>,
    /// What the parts of a rig have to say of themselves.
    pub account: Vec<String>,
    seen: Seen,
}

#[derive(Debug, Default)]
struct Seen {
    identity: Option<Identity>,
    channels: Vec<Channel>,
    configuration: Option<Configuration>,
    status: Option<Status>,
    round_trips_ns: Vec<u64>,
    noise: Noise,
}

impl Sink for Seen {
    fn row(&mut self, row: &SampleRow) -> Result<(), String> {
        self.noise.row(row);
        Ok(())
    }

    fn event(&mut self, _: HostNs, event: &RunEvent) -> Result<(), String> {
        match event {
            RunEvent::Connected {
                identity,
                channels,
                configuration,
            } => {
                self.identity = Some(*identity);
                self.channels.clone_from(channels);
                self.configuration = Some(*configuration);
            }
            RunEvent::Status(status) => self.status = Some(*status),
            RunEvent::RoundTrip {
                sent_ns, received_ns, ..
            } => {
                self.round_trips_ns.push(received_ns.saturating_sub(*sent_ns));
            }
            _ => {}
        }
        Ok(())
    }
}

/// Opens a rig, identifies it, and proves stop and watchdog at zero torque. No setpoint is sent.
///
/// # Errors
/// [`SessionError`] when the line cannot be opened. What the rig did or did not do is in [`Checked::outcome`].
pub fn check(bench: &Bench, permit: Permit, stop: &StopFlag) -> Result<Checked, SessionError> {
    let mut line = bench.line()?;
    let granted = bench.in_real_time().then(ask_for_real_time);
    let mut run = Run::new(
        bench.rig.clone(),
        Course::Prove(PERIOD_US),
        Some(permit),
        RunOptions::default(),
    );
    let mut seen = Seen::default();
    let outcome = conduct(&mut run, line.as_mut(), &mut seen, stop);
    seen.round_trips_ns.sort_unstable();
    Ok(Checked {
        outcome,
        granted,
        account: line.account(),
        seen,
    })
}

impl Checked {
    /// Every channel at zero torque.
    #[must_use]
    pub fn noise(&self) -> &Noise {
        &self.seen.noise
    }

    /// What the rig says of its channels.
    #[must_use]
    pub fn channels(&self) -> &[Channel] {
        &self.seen.channels
    }

    /// Who the rig says that it is.
    #[must_use]
    pub const fn identity(&self) -> Option<&Identity> {
        self.seen.identity.as_ref()
    }

    /// The limits that the rig applied.
    #[must_use]
    pub fn configuration(&self) -> Option<&Configuration> {
        self.seen.configuration.as_ref()
    }

    /// Least, median and greatest round trip of the keep-alives, µs.
    #[must_use]
    pub fn round_trips_us(&self) -> Option<[f64; 3]> {
        let all = &self.seen.round_trips_ns;
        let (first, middle, last) = (all.first()?, all.get(all.len() / 2)?, all.last()?);
        Some([*first as f64 * 1e-3, *middle as f64 * 1e-3, *last as f64 * 1e-3])
    }

    /// What was found, a line each.
    #[must_use]
    pub fn lines(&self, rig: &Rig) -> Vec<String> {
        let mut lines = Vec::new();
        let mut add = |what: &str, text: String| lines.push(format!("{what:<22} {text}"));
        if let Some(identity) = &self.seen.identity {
            let brake = if identity.capabilities.has(Capabilities::BRAKE) {
                "can brake"
            } else {
                "cannot brake"
            };
            let stop = if identity.capabilities.has(Capabilities::EMERGENCY_STOP_INPUT) {
                "reads the emergency stop"
            } else {
                "does not read the emergency stop"
            };
            add(
                "rig controller",
                format!(
                    "{} {} firmware {}, rig link {}.{}, {brake}, {stop}",
                    identity.model.as_str(),
                    identity.serial.as_str(),
                    identity.firmware.as_str(),
                    identity.major,
                    identity.minor
                ),
            );
            add(
                "full scale",
                format!(
                    "{:.3} N·m; this rig file allows {:.3} N·m",
                    identity.full_scale_nm, rig.limits.torque_nm
                ),
            );
        }
        for channel in &self.seen.channels {
            let delay_us = f64::from(channel.group_delay_ns) * 1e-3;
            add(
                &format!("channel {}", channel.index),
                format!(
                    "{} in {}, {:.3e} a count, declared delay {delay_us:.0} us",
                    channel.name.as_str(),
                    channel.unit.udunits(),
                    channel.scale
                ),
            );
        }
        if let Some([least, median, greatest]) = self.round_trips_us() {
            add(
                "keep-alive round trip",
                format!("{least:.0} us least, {median:.0} us median, {greatest:.0} us greatest"),
            );
        }
        if let Some(granted) = self.granted {
            add(
                "host",
                format!(
                    "{granted}; latest wake {} us",
                    self.outcome.counters.latest_wake_us
                ),
            );
        }
        if let Some(micros) = self.outcome.proofs.stop_round_trip_us {
            add(
                "stop",
                format!("confirmed {:.1} ms after it was sent", micros as f64 * 1e-3),
            );
        }
        if let Some(micros) = self.outcome.proofs.watchdog_us {
            let set = self
                .seen
                .configuration
                .map_or(0, |configuration| configuration.watchdog_us);
            add(
                "watchdog",
                format!(
                    "fired {:.1} ms after the last keep-alive (set to {:.1} ms)",
                    micros as f64 * 1e-3,
                    f64::from(set) * 1e-3
                ),
            );
        }
        lines
    }
}
