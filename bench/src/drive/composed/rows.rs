//! Sample rows with the torque of a sensor of its own and the setpoint of a force-feedback device.

use bench_core::rig::Rig;
use bench_core::sensor::{Known, Reading, Resampler};
use bench_core::time_base::TimeBase;
use rig_link::message::{Channel, Identity, Name, Samples, SamplesBuilder};
use rig_link::{ChannelKind, MAX_CHANNELS, RigMessage, Unit, Width};

use super::held::{Held, Outbound};
use crate::drive::force::Player;

/// Torque of one count of the sensor's channel, N·m. Readings are text or numbers of any scale; this keeps a millionth of a newton metre.
const COUNT_NM: f64 = 1e-6;
/// Readings may lie apart by this many of their periods: one or two that cannot be read are bridged.
const PERIODS: f64 = 3.5;

/// What of the rows is the parts'.
pub(super) struct Rows {
    /// `None` where the rig controller measures the torque.
    torque: Option<Resampler>,
    torque_end: i32,
    identity: Option<Identity>,
    channels: Vec<Channel>,
    /// A row was whole once: from then on none may be missing.
    begun: bool,
    unknown: u64,
}

impl Rows {
    pub(super) fn new(rig: &Rig, own_torque: bool) -> Self {
        let declared = rig.sense.declared().zip(rig.sense.port()).filter(|_| own_torque);
        Self {
            torque: declared.map(|((rate_hz, _), port)| {
                Resampler::new((PERIODS / rate_hz * 1e9) as i64, port.time_bound_s * 1e9)
            }),
            torque_end: (rig.torque_sensor.range_nm / COUNT_NM).min(f64::from(i32::MAX)) as i32,
            identity: None,
            channels: Vec::with_capacity(MAX_CHANNELS),
            begun: false,
            unknown: 0,
        }
    }

    pub(super) fn push(&mut self, reading: Reading) {
        if let Some(torque) = &mut self.torque {
            torque.push(reading);
        }
    }

    /// Keeps what the rig says of its channels.
    pub(super) fn look(&mut self, message: &RigMessage<'_>) {
        match message {
            RigMessage::Identity(identity) => {
                self.identity = Some(*identity);
                self.channels.clear();
                self.begun = false;
            }
            RigMessage::Channel(channel) if usize::from(channel.index) == self.channels.len() => {
                self.channels.push(*channel);
            }
            _ => {}
        }
    }

    /// The channel of the sensor's own, behind those of the rig; with every place taken there is none, and the run misses it.
    pub(super) fn own_channel(&self, index: u8) -> Option<Channel> {
        let place = self.identity?.channels;
        self.torque.as_ref()?;
        (index == place && usize::from(place) < MAX_CHANNELS).then(|| Channel {
            index,
            kind: ChannelKind::Torque,
            width: Width::I32,
            unit: Unit::NewtonMetre,
            scale: COUNT_NM,
            offset: 0.0,
            raw_min: -self.torque_end,
            raw_max: self.torque_end,
            group_delay_ns: 0, // taken off already
            name: Name::new("torque"),
        })
    }

    /// A message as the run is to see it, where that is another one.
    pub(super) fn edited<'a>(&self, message: &RigMessage<'a>) -> Option<RigMessage<'a>> {
        self.torque.as_ref()?;
        match message {
            RigMessage::Identity(identity) => {
                let channels = (identity.channels + 1).min(MAX_CHANNELS as u8);
                Some(RigMessage::Identity(Identity {
                    channels,
                    ..*identity
                }))
            }
            RigMessage::Channel(channel) if channel.kind == ChannelKind::Torque => {
                Some(RigMessage::Channel(Channel {
                    kind: ChannelKind::Other,
                    name: Name::new("rig_torque"),
                    ..*channel
                }))
            }
            _ => None,
        }
    }

    /// Puts a batch out with what the parts know of its rows; false when it has to wait for them.
    pub(super) fn release(
        &mut self,
        held: &Held,
        base: &TimeBase,
        player: Option<&Player>,
        late: bool,
        out: &mut Outbound,
    ) -> bool {
        let Some(RigMessage::Samples(samples)) = held.message() else {
            out.put(held, held.gap());
            return true;
        };
        let complete = self
            .identity
            .is_some_and(|identity| usize::from(identity.channels) == self.channels.len());
        if !complete {
            return true; // of before the greeting
        }
        let known = self.known(&samples, base, player.is_some());
        if known == Known::NotYet && !late {
            return false;
        }
        let whole = matches!(known, Known::Torque(_));
        if !self.begun && !whole {
            return true; // both clocks are not known yet: sampling begins a little later
        }
        self.begun = true;
        self.unknown += u64::from(!whole) * samples.rows() as u64;
        self.write(&samples, base, player, held.gap(), out);
        true
    }

    /// Whether every row of a batch is known; the torque of the last one stands for all.
    fn known(&self, samples: &Samples<'_>, base: &TimeBase, played: bool) -> Known {
        let mut all = Known::Torque(0.0);
        if self.torque.is_none() && !played {
            return all;
        }
        for row in 0..samples.rows() {
            match self.at(samples.tick(row), base) {
                Known::Torque(torque) => all = Known::Torque(torque),
                Known::NotYet => return Known::NotYet,
                Known::Never => all = Known::Never,
            }
            if all == Known::Never {
                break;
            }
        }
        all
    }

    /// Torque at a tick.
    fn at(&self, tick: u64, base: &TimeBase) -> Known {
        let second_ns = i64::try_from(tick)
            .unwrap_or(i64::MAX / 1_000)
            .saturating_mul(1_000);
        let Some((host_ns, bound_ns)) = base.host_of(second_ns) else {
            return Known::NotYet;
        };
        match &self.torque {
            Some(torque) => torque.at(host_ns, bound_ns),
            None => Known::Torque(0.0),
        }
    }

    fn write(
        &self,
        samples: &Samples<'_>,
        base: &TimeBase,
        player: Option<&Player>,
        gap: u16,
        out: &mut Outbound,
    ) {
        let mut widths = [Width::I32; MAX_CHANNELS];
        for (width, channel) in widths.iter_mut().zip(&self.channels) {
            *width = channel.width;
        }
        let count = self.channels.len();
        let own = usize::from(self.torque.is_some() && count < MAX_CHANNELS);
        let (theirs, all) = (
            widths.get(..count).unwrap_or_default(),
            widths.get(..count + own).unwrap_or_default(),
        );
        let setpoint = self
            .channels
            .iter()
            .position(|channel| channel.kind == ChannelKind::Setpoint);
        let mut builder = SamplesBuilder::new(samples.period_us);
        let mut gap = gap;
        let mut counts = [0; MAX_CHANNELS];
        let mut send = |builder: &mut SamplesBuilder| {
            if let Some(batch) = builder.message(samples.state, samples.credit) {
                out.message(&RigMessage::Samples(batch), std::mem::take(&mut gap));
            }
            builder.clear();
        };
        let read = samples.for_each_row(theirs, &mut counts, |tick, row| {
            let mut whole = [0; MAX_CHANNELS];
            for (place, &value) in whole.iter_mut().zip(row) {
                *place = value;
            }
            if let (Some(player), Some(place)) = (player, setpoint.and_then(|at| whole.get_mut(at))) {
                let second_ns = i64::try_from(tick)
                    .unwrap_or(i64::MAX / 1_000)
                    .saturating_mul(1_000);
                *place = base
                    .host_of(second_ns)
                    .map_or(0, |(host_ns, _)| i32::from(player.applied_at(host_ns)));
            }
            if let (1, Some(place)) = (own, whole.get_mut(count)) {
                *place = match self.at(tick, base) {
                    Known::Torque(torque_nm) => counts_of(torque_nm, self.torque_end),
                    Known::NotYet | Known::Never => self.torque_end,
                };
            }
            let row = whole.get(..count + own).unwrap_or_default();
            if builder.push(tick, all, row).is_err() {
                send(&mut builder);
                let _ = builder.push(tick, all, row); // an empty batch takes any row
            }
        });
        if read.is_none() {
            out.message(&RigMessage::Samples(*samples), 0); // as narrow as it came: the run refuses it
            return;
        }
        send(&mut builder);
    }

    /// For people.
    pub(super) fn account(&self) -> Option<String> {
        (self.unknown > 0).then(|| {
            format!(
                "{} samples without a torque: no reading in time, or one that is placed worse than rig.sense.time_bound",
                self.unknown
            )
        })
    }
}

fn counts_of(torque_nm: f64, end: i32) -> i32 {
    ((torque_nm / COUNT_NM).round() as i32).clamp(-end, end)
}
