//! The belt unit's plant without chance, and other common ground of the tests.
#![allow(dead_code, missing_docs)]

pub(crate) mod bench;

use rand_chacha::ChaCha8Rng;
use virtual_rig::RigParameters;
use virtual_rig::plant::{Plant, PlantParameters};
use virtual_rig::random::{Stream, generator};

/// The shipped file.
pub(crate) const BELT: &str = include_str!("../../../belt.toml");

pub(crate) fn rig(seed: u64) -> RigParameters {
    RigParameters::from_toml("belt.toml", BELT, seed).unwrap_or_else(|findings| panic!("{findings}"))
}

/// The belt unit with the firmware's clock as the reference scripts have it: phase 0.4, no error.
pub(crate) fn belt() -> PlantParameters {
    let mut plant = rig(1).plant;
    plant.firmware.phase = 0.4;
    plant.firmware.clock_error = 0.0;
    plant
}

pub(crate) fn random() -> ChaCha8Rng {
    generator(7, Stream::Firmware)
}

pub(crate) fn plant(parameters: PlantParameters, step_s: f64) -> Plant {
    Plant::new(parameters, step_s, random())
}

pub(crate) fn close(got: f64, expected: f64, tolerance: f64, what: &str) {
    assert!(
        (got - expected).abs() <= tolerance,
        "{what}: {got} is not {expected} within {tolerance}"
    );
}
