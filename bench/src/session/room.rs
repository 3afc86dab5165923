//! How much the recording takes of what a rig sends, and the room that ten seconds of it need.
//!
//! A queue of ten seconds is only that long if what goes into it has a greatest rate. Samples have one, their period. A
//! batch may hold one row or hundreds (PROTOCOL.md, chapter 8), and an echo may come twice, so arrivals and round trips
//! get theirs here: what comes closer together than its spacing is not kept.

use std::time::Duration;

use bench_core::run::keep_alive_us;

use crate::recording::Header;

/// Seconds for which the queue holds everything at the greatest rates, while the disk stands still.
const HELD_S: f64 = 10.0;
/// Longest stretch of samples in a block, s: with what the writer lets wait, well within 0.25 s.
const BLOCK_S: f64 = 0.025;
/// Gaps in the samples, each of which begins a new block, a second. An armed run ends with the first one.
const GAPS_PER_S: f64 = 20.0;
/// Least time between two arrivals that are kept: enough for the host's jitter, little beside the samples. Batches come
/// each millisecond, so that this takes every fourth, with half a millisecond for jitter.
const ARRIVAL_SPACING: Duration = Duration::from_micros(3_500);
/// Words of the rig, phases and verdicts, a second: a run has a few dozen in all.
const NOTES_PER_S: f64 = 20.0;
/// Most blocks made beforehand, whatever a header says.
const MOST_SPARE: f64 = 1e5;

/// Takes only what is far enough from what it took last.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spacing {
    least_ns: u64,
    last_ns: Option<u64>,
}

impl Spacing {
    fn of(least: Duration) -> Self {
        Self {
            least_ns: u64::try_from(least.as_nanos()).unwrap_or(u64::MAX),
            last_ns: None,
        }
    }

    /// Arrivals of batches.
    pub(super) fn arrivals() -> Self {
        Self::of(ARRIVAL_SPACING)
    }

    /// Round trips under the watchdog that is in force: half the time between two keep-alives passes every answer, late ones
    /// too.
    pub(super) fn round_trips(watchdog_us: u32) -> Self {
        Self::of(Duration::from_micros(keep_alive_us(watchdog_us) / 2))
    }

    /// Whether to take what comes at `now_ns` of the host's clock.
    pub(super) fn takes(&mut self, now_ns: u64) -> bool {
        let far = self
            .last_ns
            .is_none_or(|last| now_ns.saturating_sub(last) >= self.least_ns);
        if far {
            self.last_ns = Some(now_ns);
        }
        far
    }

    fn per_s(self) -> f64 {
        1e9 / self.least_ns.max(1) as f64
    }
}

/// Rows of a full block.
pub(super) fn block_rows(header: &Header) -> usize {
    ((BLOCK_S * header.sample_rate_hz()) as usize).max(1)
}

/// Room of one recording.
#[derive(Debug, Clone, Copy)]
pub(super) struct Room {
    /// Most messages a second.
    pub(super) messages_per_s: f64,
    /// Blocks made beforehand, of [`block_rows`] each.
    pub(super) spare_blocks: usize,
}

impl Room {
    pub(super) fn of(header: &Header, arrivals: Spacing, round_trips: Spacing) -> Self {
        let blocks_per_s = header.sample_rate_hz() / block_rows(header) as f64 + GAPS_PER_S;
        Self {
            messages_per_s: blocks_per_s + arrivals.per_s() + round_trips.per_s() + NOTES_PER_S,
            spare_blocks: (blocks_per_s * HELD_S).ceil().clamp(2.0, MOST_SPARE) as usize,
        }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use bench_core::channels::SampleRow;
    use bench_core::rig::Rig;
    use bench_core::run::RunEvent;
    use bench_core::time::HostNs;
    use rig_link::message::{Capabilities, Channel, Configuration, Identity, Name};
    use rig_link::{ChannelKind, StopMode, Unit, Width, WindowReference};

    use super::super::{RunRecorder, SettingsText, plan_for};
    use super::*;
    use crate::drive::Sink;
    use crate::recording::Recording;

    fn header(period_us: u32) -> Header {
        Header {
            sample_period_ticks: period_us,
            tick_s: 1e-6,
            ..Header::default()
        }
    }

    /// Messages that 10 s bring, by plain counting: batches of `rows` rows, each echo twice.
    fn brought(period_us: u64, rows: u64, watchdog_us: u32) -> (u64, u64) {
        let mut arrivals = Spacing::arrivals();
        let mut round_trips = Spacing::round_trips(watchdog_us);
        let full = block_rows(&header(period_us as u32)) as u64;
        let samples = 10_000_000 / period_us;
        let blocks = samples.div_ceil(full);
        let batches = samples / rows;
        let kept = (1..=batches).filter(|n| arrivals.takes(n * rows * period_us * 1_000));
        let kept = kept.count() as u64;
        let asked_us = u64::from(watchdog_us / 4).max(1_000);
        let echoes =
            (0..10_000_000 / asked_us).flat_map(|n| [n * asked_us * 1_000, n * asked_us * 1_000 + 400]);
        let trips = echoes.filter(|ns| round_trips.takes(*ns)).count() as u64;
        (blocks, blocks + kept + trips)
    }

    /// Sample rates of procedures are 100 Hz to 20 kHz in whole microseconds; a batch holds one row to as many counts of
    /// 16 bits as a payload has room for; the watchdog is 1 ms to 1 s (PROTOCOL.md, 7.4 and chapter 9).
    #[test]
    fn ten_seconds_find_room_at_every_rate_and_size_of_batches() {
        let most_rows = (rig_link::MAX_PAYLOAD / 2) as u64;
        for period_us in [
            50, 64, 80, 100, 125, 160, 200, 250, 400, 500, 1_000, 2_000, 4_000, 5_000, 10_000,
        ] {
            for watchdog_us in [1_000, 4_000, 20_000, 1_000_000] {
                let round_trips = Spacing::round_trips(watchdog_us);
                let room = Room::of(&header(period_us), Spacing::arrivals(), round_trips);
                // As the queue makes its capacity of it.
                let capacity = (room.messages_per_s * 10.0).ceil() as u64;
                let mut most = 0;
                for rows in [1, 2, 3, 4, 5, 7, 20, most_rows] {
                    let (blocks, messages) = brought(period_us.into(), rows, watchdog_us);
                    assert!(
                        blocks <= room.spare_blocks as u64 && messages <= capacity,
                        "{period_us} us, {rows} rows: {blocks} blocks, {messages} messages of {capacity}"
                    );
                    most = most.max(messages);
                }
                // And no more than twice as long, so that "ten seconds" says what it is.
                assert!(
                    capacity <= 2 * most + 2_000,
                    "{period_us} us: {capacity} for {most}"
                );
            }
        }
    }

    #[test]
    fn memory_of_the_blocks_is_bounded() {
        for period_us in [1, 50, 250, 10_000, 1_000_000] {
            let header = header(period_us);
            let room = Room::of(&header, Spacing::arrivals(), Spacing::round_trips(20_000));
            let rows = room.spare_blocks * block_rows(&header);
            let ten_seconds = 10.0 * header.sample_rate_hz();
            // Half as much again for gaps where blocks have many rows; where they have one, a row a gap.
            let most = (1.6 * ten_seconds).max(ten_seconds + 10.0 * GAPS_PER_S);
            assert!(
                (rows as f64) <= most + 2.0 * block_rows(&header) as f64,
                "{period_us} us: {rows} rows"
            );
        }
    }

    /// A rig of three channels, connected.
    fn connected(period_us: u32) -> RunEvent {
        let channel = |index| Channel {
            index,
            kind: ChannelKind::Other,
            width: Width::I32,
            unit: Unit::NewtonMetre,
            scale: 1.0,
            offset: 0.0,
            raw_min: -1_000,
            raw_max: 1_000,
            group_delay_ns: 0,
            name: Name::new(["setpoint", "torque", "rim_angle"][usize::from(index)]),
        };
        RunEvent::Connected {
            identity: Identity {
                major: 1,
                minor: 0,
                nonce: 1,
                boot_id: 1,
                tick: 0,
                capabilities: Capabilities(0),
                channels: 3,
                queue_capacity: 64,
                min_sample_period_us: 50,
                full_scale_nm: 20.0,
                model: Name::new("peer"),
                serial: Name::new("P-1"),
                firmware: Name::new("1"),
            },
            channels: (0..3).map(channel).collect(),
            configuration: Configuration {
                sample_period_us: period_us,
                torque_limit_raw: 1,
                slew_limit_raw_per_ms: 1,
                rim_speed_limit_mrad_s: 1,
                window_low_urad: -1,
                window_high_urad: 1,
                window_reference: WindowReference::Arming,
                sensor_torque_limit_mnm: 1,
                temperature_limit_cdeg: 1,
                watchdog_us: 20_000,
                setpoint_expiry_us: 2_000,
                stop_mode: StopMode::Coast,
                brake_us: 0,
            },
        }
    }

    /// Ten seconds at the fastest rate in the smallest batches, every echo doubled, while the disk stands still.
    #[test]
    fn ten_seconds_without_the_disk_do_not_end_a_run_in_real_time() {
        let directory = tempfile::tempdir().unwrap();
        let path = directory.path().join("run.h5");
        let rig = Rig::from_toml("belt.toml", include_str!("../../../rigs/belt.toml")).unwrap();
        let procedure = SettingsText {
            file: "quick.toml".to_owned(),
            text: include_str!("../../../procedures/quick.toml").to_owned(),
        };
        let plan = plan_for(&procedure, &rig, 1).unwrap();
        let mut declared = header(50);
        (declared.run_id, declared.created) = ("1".to_owned(), "2026-03-02T10:00:00+01:00".to_owned());
        let mut recorder = RunRecorder::new(&path, declared, plan, true);
        recorder.event(HostNs(0), &connected(50)).unwrap();
        let safe = Arc::clone(recorder.safe().unwrap());
        {
            // While this is held no HDF5 call of another thread goes on, as if the disk were stuck.
            let _stuck = hdf5_metno_sys::LOCK.lock();
            for row in 0..200_000_u64 {
                let (tick, host_ns) = (row * 50, row * 50_000);
                let mut counts = [0; rig_link::MAX_CHANNELS];
                counts[1] = (row % 1_000) as i32;
                recorder
                    .event(HostNs(host_ns), &RunEvent::Arrival { tick, host_ns })
                    .unwrap();
                recorder.row(&SampleRow { tick, counts }).unwrap();
                if row % 100 == 0 {
                    for sent_ns in [host_ns, host_ns] {
                        let trip = RunEvent::RoundTrip {
                            sent_ns,
                            received_ns: host_ns + 1,
                            rig_received_tick: tick,
                            rig_sent_tick: tick,
                        };
                        recorder.event(HostNs(host_ns), &trip).unwrap();
                    }
                }
            }
            assert_eq!(safe.rows(), 0, "nothing was written meanwhile");
        }
        drop(recorder);
        let recording = Recording::open(&path).unwrap();
        assert_eq!(recording.rows(), 199_500, "all but the block under way");
        let kept = (recording.host().len(), recording.round_trips().len());
        assert_eq!(kept, (2_858, 2_000), "every 3.5 ms; one of each two echoes");
    }
}
