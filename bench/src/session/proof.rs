//! A rig opened, identified, and its stop and watchdog proved at zero torque.

use bench_core::channels::SampleRow;
use bench_core::run::{Course, Outcome, Permit, Run, RunEvent, RunOptions};
use bench_core::time::HostNs;
use bench_core::time_base::RoundTrip;
use rig_link::message::{Channel, Configuration, Identity};

use super::checkup::clock::{self, Rate};
use super::checkup::noise::Noise;
use super::{Bench, SessionError};
use crate::drive::schedule::{Granted, ask_for_real_time};
use crate::drive::{Line, Said, Sink, StopFlag, conduct};

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
    pub account: Vec<Said>,
    seen: Seen,
}

#[derive(Debug, Default)]
struct Seen {
    identity: Option<Identity>,
    channels: Vec<Channel>,
    configuration: Option<Configuration>,
    trips: Vec<RoundTrip>,
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
            RunEvent::RoundTrip {
                sent_ns,
                received_ns,
                rig_received_tick,
                rig_sent_tick,
            } => self.trips.push(RoundTrip::of_ticks(
                *sent_ns,
                [*rig_received_tick, *rig_sent_tick],
                *received_ns,
            )),
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
    let line = bench.line()?;
    let granted = bench.in_real_time().then(ask_for_real_time);
    Ok(check_over(bench, line, granted, permit, stop))
}

/// [`check`] over a line that is open already; `granted` is what the system granted to this thread, if it was asked.
pub fn check_over(
    bench: &Bench,
    mut line: Box<dyn Line + '_>,
    granted: Option<Granted>,
    permit: Permit,
    stop: &StopFlag,
) -> Checked {
    let mut run = Run::new(
        bench.rig.clone(),
        Course::Prove(PERIOD_US),
        Some(permit),
        RunOptions::default(),
    );
    let mut seen = Seen::default();
    let outcome = conduct(&mut run, line.as_mut(), &mut seen, stop);
    Checked {
        outcome,
        granted,
        account: line.account(),
        seen,
    }
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

    /// The rig's clock against this computer's.
    #[must_use]
    pub fn clock(&self) -> Option<Rate> {
        clock::rate(&self.seen.trips)
    }

    /// The limits that the rig applied.
    #[must_use]
    pub fn configuration(&self) -> Option<&Configuration> {
        self.seen.configuration.as_ref()
    }

    /// Least, median and greatest round trip of the keep-alives, µs.
    #[must_use]
    pub fn round_trips_us(&self) -> Option<[f64; 3]> {
        let took = |trip: &RoundTrip| (trip.returned_ns - trip.sent_ns) as f64 * 1e-3;
        let mut all: Vec<f64> = self.seen.trips.iter().map(took).collect();
        all.sort_unstable_by(f64::total_cmp);
        Some([*all.first()?, *all.get(all.len() / 2)?, *all.last()?])
    }
}
