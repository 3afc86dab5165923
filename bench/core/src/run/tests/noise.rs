//! Anything may come over the line, in any phase: no panic, no setpoint outside armed, and an end in a stop.

use alloc::vec::Vec;

use proptest::prelude::*;
use rig_link::frame::encode_frame;
use rig_link::message::{RigMessage, SamplesBuilder};
use rig_link::{HostMessage, MAX_FRAME, RigState, Width, encode_rig};

use super::{Bench, PHASES};

/// What comes over the line.
#[derive(Debug, Clone)]
enum Noise {
    Bytes(Vec<u8>),
    /// A good frame of any kind with any payload.
    Frame(u8, Vec<u8>),
    /// A good batch at any tick and period, in any state.
    Batch(u64, u32, u8, [i32; 3]),
    /// Time goes on, µs.
    Time(u64),
}

fn noise() -> impl Strategy<Value = Noise> {
    let tick = prop_oneof![any::<u64>(), Just(u64::MAX), 0_u64..5_000_000];
    let counts = prop::array::uniform3(any::<i32>());
    prop_oneof![
        prop::collection::vec(any::<u8>(), 0..200).prop_map(Noise::Bytes),
        (0x80_u8..0x8d, prop::collection::vec(any::<u8>(), 0..80))
            .prop_map(|(kind, body)| Noise::Frame(kind, body)),
        (tick, any::<u32>(), 0_u8..5, counts)
            .prop_map(|(tick, period, state, row)| Noise::Batch(tick, period, state, row)),
        (0_u64..40_000).prop_map(Noise::Time),
    ]
}

fn feed(bench: &mut Bench, noise: &Noise) {
    let mut frame = [0; MAX_FRAME];
    let sequence = bench.peer.sequence;
    let length = match noise {
        Noise::Bytes(bytes) => {
            bench.run.receive(bench.now(), bytes);
            bench.take();
            return;
        }
        Noise::Time(us) => {
            bench.now_us += us;
            bench.wake_when_due();
            return;
        }
        Noise::Frame(kind, body) => encode_frame(*kind, sequence, body, &mut frame).unwrap(),
        Noise::Batch(tick, period, state, row) => {
            let mut batch = SamplesBuilder::new(*period);
            let widths = [Width::I16, Width::I16, Width::I32];
            for index in 0..4_u64 {
                let _ = batch.push(tick.saturating_add(index * u64::from(*period)), &widths, row);
            }
            let state = RigState::from_code(*state).unwrap_or(RigState::Armed);
            encode_rig(
                &RigMessage::Samples(batch.message(state, 1).unwrap()),
                sequence,
                &mut frame,
            )
            .unwrap()
        }
    };
    bench.peer.sequence = sequence.wrapping_add(1);
    bench.run.receive(bench.now(), &frame[..length]);
    bench.take();
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 512,
        rng_seed: proptest::test_runner::RngSeed::Fixed(20_260_302),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn anything_in_any_phase(phase in 0..PHASES.len(), mess in prop::collection::vec(noise(), 1..12)) {
        let mut bench = Bench::new();
        bench.reach(PHASES[phase]);
        for noise in &mess {
            feed(&mut bench, noise); // setpoints are looked at there: only out of an armed interlock
        }
        // From then on nobody says anything: it must find an end by itself, and a stop.
        bench.peer.dead = true;
        let until_us = bench.now_us + 4_000_000;
        while bench.run.outcome().is_none() && bench.now_us < until_us {
            bench.now_us += 250;
            bench.wake_when_due();
        }
        bench.take();
        prop_assert!(bench.run.outcome().is_some(), "stuck in {}", bench.phase());
        let last = bench.last_word();
        prop_assert!(matches!(last, HostMessage::Stop(_) | HostMessage::StopSampling(_)), "{last:?}");
        let limit = bench.run.rig.limits.torque_nm / 32.767 * 32_767.0;
        prop_assert!(f64::from(bench.greatest()) <= limit + 1e-6); // the limit is 6,000 counts but for its computation
    }
}
