//! Speed of the whole rig in lock-step: plant, sensors, controller and frames, 4,000 samples a second, armed and
//! playing a sine of setpoints at 1 kHz, for each unit clamped and for one on a drive. One iteration is 100 ms of rig time, so `100 ms / time` is the speed over
//! real time.
#![allow(missing_docs)]

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use virtual_rig::VirtualRig;
use virtual_rig::plant::{Plant, PowerStage};
use virtual_rig::random::{Stream, generator};

#[path = "../tests/common/mod.rs"]
#[allow(clippy::unwrap_used, clippy::panic)] // as in the tests
mod common;

use common::bench::{Bench, configuration};

const MS: u64 = 1_000;

fn whole_rig(criterion: &mut Criterion) {
    let driven = common::back_driven(
        common::GEARED,
        "speeds = [\"0.5 rad/s\", \"-0.5 rad/s\"]\nangle = \"360 deg\"\nacceleration = \"5 rad/s²\"\nrepeats = true",
    );
    for (name, text) in [
        ("belt", common::BELT),
        ("geared", common::GEARED),
        ("direct", common::DIRECT),
        ("geared, back-driven", &driven),
    ] {
        let mut bench = Bench::with(VirtualRig::new(common::read(text, 1), 1));
        let mut limits = configuration();
        limits.sensor_torque_limit_mnm = 19_000;
        limits.window_low_urad = -8_000_000;
        limits.window_high_urad = 8_000_000;
        bench.arm(limits);
        let mut next = bench.rig.tick() + 5 * MS;
        criterion.bench_function(&format!("{name}: whole rig, 100 ms"), |b| {
            b.iter(|| {
                let mut rows = 0;
                for _ in 0..20 {
                    let values: [i16; 5] = std::array::from_fn(|k| {
                        let t = (next + k as u64 * MS) as f64 * 1e-6;
                        (6_000.0 + 5_700.0 * (std::f64::consts::TAU * 40.0 * t).sin()) as i16
                    });
                    bench.setpoints(next, 1_000, false, &values);
                    next += 5 * MS;
                    rows += bench.live(5 * MS).len();
                }
                assert!(rows > 400);
                black_box(rows)
            });
        });
        assert_eq!(bench.rig.truth().state, rig_link::RigState::Armed, "{name}");
    }
}

fn plant_alone(criterion: &mut Criterion) {
    for (name, text) in [
        ("belt", common::BELT),
        ("geared", common::GEARED),
        ("direct", common::DIRECT),
    ] {
        let mut plant = Plant::new(common::unit(text), 25e-6, generator(1, Stream::Firmware));
        plant.set_stage(PowerStage::On);
        plant.set_setpoint_nm(2.0);
        criterion.bench_function(&format!("{name}: plant alone, 100 ms"), |b| {
            b.iter(|| {
                for _ in 0..4_000 {
                    plant.step();
                }
                black_box(plant.rim_torque_nm())
            });
        });
    }
}

criterion_group!(benches, whole_rig, plant_alone);
criterion_main!(benches);
