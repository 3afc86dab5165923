//! The units' plants without chance, and other common ground of the tests.
#![allow(dead_code, missing_docs, clippy::unwrap_used, clippy::panic)] // helpers of tests may fail them

pub(crate) mod bench;

use rand_chacha::ChaCha8Rng;
use virtual_rig::RigParameters;
use virtual_rig::plant::{Plant, PlantParameters};
use virtual_rig::random::{Stream, generator};

/// The shipped files.
pub(crate) const BELT: &str = include_str!("../../../../belt.toml");
pub(crate) const GEARED: &str = include_str!("../../../../geared.toml");
pub(crate) const DIRECT: &str = include_str!("../../../../direct.toml");

pub(crate) fn read(text: &str, seed: u64) -> RigParameters {
    RigParameters::from_toml("rig.toml", text, seed).unwrap_or_else(|findings| panic!("{findings}"))
}

pub(crate) fn rig(seed: u64) -> RigParameters {
    read(BELT, seed)
}

/// The file with the rim held so, the table of that far side replaced by `far_side`. What `[rig]` says of that mounting
/// is taken out: it is the bench's, and made for the shipped far side.
pub(crate) fn mounted(text: &str, kind: &str, far_side: &str) -> String {
    let table = |text: &str, name: &str, body: &str| {
        let from = text.find(name).unwrap();
        let to = from + 1 + text[from + 1..].find("\n[").unwrap();
        format!("{}{body}{}", &text[..from], &text[to..])
    };
    let text = text.replacen("mounting = \"clamped\"", &format!("mounting = \"{kind}\""), 1);
    let text = table(&text, &format!("[rig.mountings.{kind}]"), "");
    let name = format!("[virtual.mountings.{kind}]");
    table(&text, &name, &format!("{name}\n{far_side}\n"))
}

/// On a disc that turns freely.
pub(crate) fn free(text: &str, disc_kg_m2: f64) -> String {
    mounted(text, "free", &format!("disc = \"{disc_kg_m2} kg·m²\""))
}

/// Turned by a drive, `script` being its table.
pub(crate) fn back_driven(text: &str, script: &str) -> String {
    mounted(text, "back-driven", script)
}

pub(crate) fn belt() -> PlantParameters {
    unit(BELT)
}

/// A unit with the firmware's clock as the reference scripts have it: phase 0.4, no error.
pub(crate) fn unit(text: &str) -> PlantParameters {
    let mut plant = read(text, 1).plant;
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
