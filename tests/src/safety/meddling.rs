//! Someone between bench and rig who changes what is said: to switch one side's limits off, or to lie about samples.

use rig_link::message::{Configuration, Configured, Samples, SamplesBuilder};
use rig_link::{HostMessage, MAX_CHANNELS, MAX_FRAME, RigMessage, Splitter, encode_host, encode_rig};
use virtual_rig::controller::WIDTHS;

use super::line::Moment;

/// Takes a message and hands on what is to arrive instead.
pub type ToRig = Box<dyn FnMut(Moment, HostMessage, &mut dyn FnMut(HostMessage))>;
/// As [`ToRig`]; what it returns is how many frames are to seem lost (their sequence numbers are used up).
pub type ToBench = Box<dyn FnMut(Moment, &RigMessage<'_>, &mut dyn FnMut(RigMessage<'_>)) -> u16>;
/// Changes bytes on their way to the rig.
pub type Noise = Box<dyn FnMut(Moment, &mut [u8])>;
/// Delay of what the rig says, µs.
pub type Delay = Box<dyn Fn(Moment) -> u64>;

/// Changes the configuration on its way to the rig, and hides it from the bench.
struct Loosen {
    change: fn(&mut Configuration),
    asked: Option<Configuration>,
    rig_crc: u32,
}

/// Without anything set, bytes pass as they are.
#[derive(Default)]
pub struct Meddler {
    loosen: Option<Loosen>,
    to_rig: Option<ToRig>,
    to_bench: Option<ToBench>,
    noise: Option<Noise>,
    delay: Option<Delay>,
    from_bench: Splitter,
    from_rig: Splitter,
    sequence: u16,
}

impl Meddler {
    /// The rig gets a configuration that was changed so; the bench believes it is its own. What the rig allows by
    /// itself at most still holds.
    #[must_use]
    pub fn loosen(mut self, change: fn(&mut Configuration)) -> Self {
        self.loosen = Some(Loosen {
            change,
            asked: None,
            rig_crc: 0,
        });
        self
    }

    /// Changes what the bench says.
    #[must_use]
    pub fn to_rig_by(mut self, change: ToRig) -> Self {
        self.to_rig = Some(change);
        self
    }

    /// Changes what the rig says.
    #[must_use]
    pub fn to_bench_by(mut self, change: ToBench) -> Self {
        self.to_bench = Some(change);
        self
    }

    /// Damages what the bench says.
    #[must_use]
    pub fn noise_to_rig(mut self, noise: Noise) -> Self {
        self.noise = Some(noise);
        self
    }

    /// Delays what the rig says.
    #[must_use]
    pub fn delayed_by(mut self, delay: Delay) -> Self {
        self.delay = Some(delay);
        self
    }

    pub(super) fn delay_us(&self, moment: Moment) -> u64 {
        self.delay.as_ref().map_or(0, |delay| delay(moment))
    }

    pub(super) fn pass_to_rig(&mut self, moment: Moment, bytes: &[u8]) -> Vec<u8> {
        if self.loosen.is_none() && self.to_rig.is_none() {
            let mut bytes = bytes.to_vec();
            if let Some(noise) = &mut self.noise {
                noise(moment, &mut bytes);
            }
            return bytes;
        }
        let mut out = Vec::new();
        let Self {
            loosen,
            to_rig,
            from_bench,
            ..
        } = self;
        from_bench.feed(bytes, |frame| {
            let Ok(frame) = frame else { return };
            let sequence = frame.sequence; // refusals name it
            let Ok(mut message) = HostMessage::parse(frame) else {
                return;
            };
            if let Some(loosen) = loosen {
                message = loosen.on_the_way_out(message);
            }
            let mut pass = |message: HostMessage| {
                let mut frame = [0; MAX_FRAME];
                let length = encode_host(&message, sequence, &mut frame).unwrap();
                out.extend_from_slice(&frame[..length]);
            };
            match to_rig {
                Some(change) => change(moment, message, &mut pass),
                None => pass(message),
            }
        });
        out
    }

    pub(super) fn pass_to_bench(&mut self, moment: Moment, bytes: &[u8]) -> Vec<u8> {
        if self.loosen.is_none() && self.to_bench.is_none() {
            return bytes.to_vec();
        }
        let mut out = Vec::new();
        let Self {
            loosen,
            to_bench,
            from_rig,
            sequence,
            ..
        } = self;
        from_rig.feed(bytes, |frame| {
            let Ok(mut message) = RigMessage::parse(frame.unwrap()) else {
                panic!("the rig talks nonsense")
            };
            if let (Some(loosen), RigMessage::Configured(configured)) = (loosen.as_mut(), &message) {
                message = RigMessage::Configured(loosen.on_the_way_back(*configured));
            }
            let mut used = 0_u16;
            let first = *sequence;
            let mut pass = |message: RigMessage<'_>| {
                let mut frame = [0; MAX_FRAME];
                let length = encode_rig(&message, first.wrapping_add(used), &mut frame).unwrap();
                used += 1;
                out.extend_from_slice(&frame[..length]);
            };
            let lost = match to_bench {
                Some(change) => change(moment, &message, &mut pass),
                None => {
                    pass(message);
                    0
                }
            };
            *sequence = first.wrapping_add(used).wrapping_add(lost);
        });
        out
    }
}

impl Loosen {
    fn on_the_way_out(&mut self, message: HostMessage) -> HostMessage {
        match message {
            HostMessage::Configure(mut configuration) => {
                self.asked = Some(configuration);
                (self.change)(&mut configuration);
                HostMessage::Configure(configuration)
            }
            HostMessage::ArmRequest(mut request) => {
                request.configuration_crc = self.rig_crc;
                HostMessage::ArmRequest(request)
            }
            HostMessage::ArmConfirm(mut confirm) => {
                confirm.configuration_crc = self.rig_crc;
                HostMessage::ArmConfirm(confirm)
            }
            other => other,
        }
    }

    fn on_the_way_back(&mut self, configured: Configured) -> Configured {
        self.rig_crc = configured.crc;
        let applied = self.asked.unwrap_or(configured.applied);
        Configured {
            applied,
            crc: applied.crc(),
        }
    }
}

/// A batch with its rows changed: `row` gets tick and counts.
pub fn with_rows(samples: &Samples<'_>, mut row: impl FnMut(u64, &mut [i32])) -> SamplesBuilder {
    let mut builder = SamplesBuilder::new(samples.period_us);
    let mut counts = [0; MAX_CHANNELS];
    samples
        .for_each_row(&WIDTHS, &mut counts, |tick, counts| {
            let mut own = counts.to_vec();
            row(tick, &mut own);
            builder.push(tick, &WIDTHS, &own).unwrap();
        })
        .unwrap();
    builder
}
