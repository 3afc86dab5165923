//! Sample rows with the torque of a sensor of its own and the setpoint of a force-feedback device.

use bench_core::channels::NOT_MEASURED;
use bench_core::rig::{CLOCK_BOUND, Rig, SETPOINT_AGE};
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

/// A channel behind those of the rig controller.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Own {
    /// The sensor's torque.
    Torque,
    /// [`SETPOINT_AGE`], counted in us.
    Age,
    /// [`CLOCK_BOUND`], counted in ns.
    Bound,
}

impl Own {
    fn channel(self, index: u8, torque_end: i32) -> Channel {
        let (kind, unit, scale, name) = match self {
            Self::Torque => (ChannelKind::Torque, Unit::NewtonMetre, COUNT_NM, "torque"),
            // The link has no unit of time; the recording says seconds.
            Self::Age => (ChannelKind::Other, Unit::One, 1e-6, SETPOINT_AGE),
            Self::Bound => (ChannelKind::Other, Unit::One, 1e-9, CLOCK_BOUND),
        };
        let (raw_min, raw_max) = match self {
            Self::Torque => (-torque_end, torque_end),
            Self::Age | Self::Bound => (0, i32::MAX - 1),
        };
        Channel {
            index,
            kind,
            width: Width::I32,
            unit,
            scale,
            offset: 0.0,
            raw_min,
            raw_max,
            group_delay_ns: 0, // taken off already
            name: Name::new(name),
        }
    }
}

/// What the parts know of a row.
#[derive(Debug, Clone, Copy, Default)]
struct Told {
    /// `None`: not measured.
    torque_nm: Option<f64>,
    bound_ns: Option<f64>,
    setpoint: i16,
    age_ns: Option<i64>,
}

/// What of the rows is the parts'.
pub(super) struct Rows {
    own: Vec<Own>,
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
    pub(super) fn new(rig: &Rig, own_torque: bool, own_drive: bool) -> Self {
        let declared = rig.sense.declared().zip(rig.sense.port()).filter(|_| own_torque);
        let all = [
            (own_torque, Own::Torque),
            (own_drive, Own::Age),
            (own_torque || own_drive, Own::Bound),
        ];
        Self {
            own: all
                .into_iter()
                .filter(|(there, _)| *there)
                .map(|(_, own)| own)
                .collect(),
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

    /// A channel of the parts, behind those of the rig; with every place taken there is none, and the run misses it.
    pub(super) fn own_channel(&self, index: u8) -> Option<Channel> {
        let place = index.checked_sub(self.identity?.channels)?;
        let own = self.own.get(usize::from(place))?;
        (usize::from(index) < MAX_CHANNELS).then(|| own.channel(index, self.torque_end))
    }

    /// How many there are beside the rig's.
    fn own_count(&self, theirs: usize) -> usize {
        self.own.len().min(MAX_CHANNELS.saturating_sub(theirs))
    }

    /// A message as the run is to see it, where that is another one.
    pub(super) fn edited<'a>(&self, message: &RigMessage<'a>) -> Option<RigMessage<'a>> {
        match message {
            RigMessage::Identity(identity) => {
                let channels = identity.channels + self.own_count(usize::from(identity.channels)) as u8;
                Some(RigMessage::Identity(Identity {
                    channels,
                    ..*identity
                }))
            }
            RigMessage::Channel(channel) if channel.kind == ChannelKind::Torque && self.torque.is_some() => {
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
        let whole = matches!(known, Known::Torque { .. });
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
        let mut last = Known::Torque {
            nm: 0.0,
            bound_ns: 0.0,
        };
        if self.torque.is_none() && !played {
            return last;
        }
        for row in 0..samples.rows() {
            last = self.at(samples.tick(row), base).1;
            if !matches!(last, Known::Torque { .. }) {
                break;
            }
        }
        last
    }

    /// This computer's time at a tick with its bound, ns, and the torque then.
    fn at(&self, tick: u64, base: &TimeBase) -> (Option<(i64, f64)>, Known) {
        let second_ns = i64::try_from(tick)
            .unwrap_or(i64::MAX / 1_000)
            .saturating_mul(1_000);
        let Some((host_ns, bound_ns)) = base.host_of(second_ns) else {
            return (None, Known::NotYet);
        };
        let known = match &self.torque {
            Some(torque) => torque.at(host_ns, bound_ns),
            None => Known::Torque { nm: 0.0, bound_ns },
        };
        (Some((host_ns, bound_ns)), known)
    }

    /// All that is known of a row.
    fn told(&self, tick: u64, base: &TimeBase, player: Option<&Player>) -> Told {
        let (host, known) = self.at(tick, base);
        let mut told = Told::default();
        if let Known::Torque { nm, bound_ns } = known {
            told.torque_nm = Some(nm);
            told.bound_ns = Some(bound_ns);
        }
        let (Some(player), Some((host_ns, tick_bound_ns))) = (player, host) else {
            return told;
        };
        (told.setpoint, told.age_ns) = player.applied_at(host_ns);
        if self.torque.is_some() {
            // Readings and levels are both placed on this computer's clock: where the rig's is against it moves both alike.
            told.bound_ns = told.bound_ns.map(|bound_ns| bound_ns - tick_bound_ns);
        }
        told
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
        let own = self.own_count(count);
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
            let told = self.told(tick, base, player);
            if let (true, Some(place)) = (player.is_some(), setpoint.and_then(|at| whole.get_mut(at))) {
                *place = i32::from(told.setpoint);
            }
            let places = whole.get_mut(count..count + own).unwrap_or_default();
            for (place, own) in places.iter_mut().zip(&self.own) {
                *place = match own {
                    Own::Torque => told
                        .torque_nm
                        .map_or(NOT_MEASURED, |nm| counts_of(nm, self.torque_end)),
                    Own::Age => counted(told.age_ns.map_or(i64::MAX, |ns| ns.div_euclid(1_000))),
                    Own::Bound => counted(told.bound_ns.map_or(i64::MAX, |ns| ns.ceil() as i64)),
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

/// A time in counts; the last that there is stands for all that is longer, and for what is not known.
fn counted(amount: i64) -> i32 {
    amount.clamp(0, i64::from(i32::MAX - 1)) as i32
}

fn counts_of(torque_nm: f64, end: i32) -> i32 {
    ((torque_nm / COUNT_NM).round() as i32).clamp(-end, end)
}
