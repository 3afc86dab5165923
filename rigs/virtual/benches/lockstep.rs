//! Speed of the whole rig in lock-step: plant, sensors, controller and frames, 4,000 samples a second, armed and
//! playing a sine of setpoints at 1 kHz, for each unit in each mounting. One iteration is 100 ms of rig time, so
//! `100 ms / time` is the speed over real time.
#![allow(missing_docs, clippy::panic)] // a file that is wrong ends a benchmark

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use virtual_rig::plant::{Plant, PowerStage};
use virtual_rig::random::{Stream, generator};
use virtual_rig::{Mounting, VirtualRig};

#[path = "../tests/plant/common/mod.rs"]
mod common;

use common::bench::{Bench, configuration};

const MS: u64 = 1_000;
const UNITS: [(&str, &str); 3] = [
    ("belt", common::BELT),
    ("geared", common::GEARED),
    ("direct", common::DIRECT),
];
const MOUNTINGS: [(&str, Mounting); 3] = [
    ("clamped", Mounting::Clamped),
    ("free", Mounting::Free),
    ("back-driven", Mounting::BackDriven),
];

fn whole_rig(criterion: &mut Criterion) {
    for ((unit, text), (word, mounting)) in UNITS
        .into_iter()
        .flat_map(|unit| MOUNTINGS.map(|mounting| (unit, mounting)))
    {
        let name = format!("{unit}, {word}");
        // A push with a mean would turn a free rim out of its window.
        let mean = if mounting == Mounting::Free { 0.0 } else { 6_000.0 };
        let rig = VirtualRig::mounted("rig.toml", text, 1, Some(mounting)).unwrap_or_else(|e| panic!("{e}"));
        let mut bench = Bench::with(rig);
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
                        (mean + 5_700.0 * (std::f64::consts::TAU * 40.0 * t).sin()) as i16
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
    for (name, text) in UNITS {
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
