//! The belt unit's bytes stay what they are: truths that were computed from this unit hold as long as they do.
//!
//! The hash is of everything that the rig wrote in lock-step under fixed stimuli, taken when the plant's steps became of second
//! order; that brought it sixty times nearer to the integrations the truths come from (`reference.rs`, `response.rs`). Sines and exponentials are the platform's: on another one the last bits, and with them the
//! hash, may differ; the whole comparison is therefore made on the platform it was taken on.

#![cfg(all(target_os = "linux", target_arch = "x86_64", target_env = "gnu"))]
#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers count as production code

use crate::common::bench::{Bench, configuration};
use rig_link::StopMode;

/// FNV-1a, 64 bits.
fn hash(bytes: &[u8]) -> u64 {
    bytes.iter().fold(0xcbf2_9ce4_8422_2325, |hash, &byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}

/// Arms, plays a sine on a preload and steps for two seconds, brakes; all that the rig writes meanwhile.
fn bytes(seed: u64) -> Vec<u8> {
    let mut bench = Bench::new(seed);
    bench.arm(configuration());
    let mut written = Vec::new();
    let mut greatest_nm = 0.0_f64;
    let mut next = bench.rig.tick() + 5_000;
    let end = next + 2_000_000;
    while next < end {
        let values: [i16; 5] = std::array::from_fn(|k| {
            let ms = next / 1_000 + k as u64;
            if ms % 1_000 < 500 {
                let t = ms as f64 * 1e-3;
                (6_000.0 + 5_700.0 * (std::f64::consts::TAU * 40.0 * t).sin()) as i16
            } else if ms % 250 < 125 {
                -9_000
            } else {
                14_000
            }
        });
        bench.setpoints(next, 1_000, false, &values);
        next += 5_000;
        bench.rig.advance_to(next - 5_000);
        bench.rig.transmit(&mut written);
        greatest_nm = greatest_nm.max(bench.rig.motor_torque_nm().abs());
        bench.keep_alive();
    }
    assert!(greatest_nm > 2.5, "it did not play: {greatest_nm} N·m");
    let message = rig_link::HostMessage::Stop(rig_link::message::Stop {
        mode: StopMode::Brake,
        reason: rig_link::StopReason::Test,
    });
    let stop = bench.bytes(message);
    bench.rig.receive(&stop);
    bench.rig.advance_to(end + 100_000);
    bench.rig.transmit(&mut written);
    written
}

#[test]
fn the_belt_unit_writes_what_it_wrote() {
    for (seed, expected) in [(1, 0x6db8_3858_e00b_4d63), (42, 0x30a2_c8b3_311b_d0cb)] {
        let bytes = bytes(seed);
        assert!(bytes.len() > 100_000, "{}", bytes.len());
        assert_eq!(hash(&bytes), expected, "seed {seed}: {:#018x}", hash(&bytes));
    }
}
