//! Everything about a virtual rig as checked values, read from the `[virtual]` table of a rig file.
//!
//! The table's keys are described where they are shipped, in `rigs/belt.toml`, `rigs/geared.toml` and
//! `rigs/direct.toml`. Each block has its own reader beside
//! the structs that it fills.

mod agreement;
mod controller;
mod faults;
mod mounting;
mod plant;
mod sensors;

pub use controller::ControllerParameters;
pub use mounting::Mounting;

use settings_file::{Findings, Section, Settings, Time};

use crate::faults::Fault;
use crate::plant::PlantParameters;
use crate::random::{Stream, generator};
use crate::sensors::SensorParameters;

/// A virtual rig, checked.
#[derive(Debug, Clone, PartialEq)]
pub struct RigParameters {
    /// How the rim is held.
    pub mounting: Mounting,
    /// Physics step in ticks (µs); divides the controller's period.
    pub step_us: u32,
    /// Wheelbase and mounting.
    pub plant: PlantParameters,
    /// Sensors.
    pub sensors: SensorParameters,
    /// Rig controller.
    pub controller: ControllerParameters,
    /// What goes wrong, and when.
    pub faults: Vec<Fault>,
}

impl RigParameters {
    /// Reads the `[virtual]` table of a rig file. `[rig]` is left to the bench, except that it says how the rim is held,
    /// and that the two must not contradict each other (far sides, peak torque, stiffnesses, the sensor's range); any
    /// other top-level key is an error. What the file leaves to chance (the phase of the firmware's clock, say) is
    /// drawn from `seed`.
    ///
    /// # Errors
    /// All findings, each with file, line, key, value, allowed range and what to do.
    pub fn from_toml(file: &str, text: &str, seed: u64) -> Result<Self, Findings> {
        Self::mounted(file, text, seed, None)
    }

    /// As [`Self::from_toml`], with the rim held in another of the mountings that the file describes.
    ///
    /// # Errors
    /// As [`Self::from_toml`], and a mounting that the file does not describe.
    pub fn mounted(file: &str, text: &str, seed: u64, mounting: Option<Mounting>) -> Result<Self, Findings> {
        let settings = Settings::parse(file, text)?;
        let root = settings.root();
        root.leave_to_others("rig");
        let table = root.section("virtual");
        let mounting = mounting
            .or_else(|| agreement::declared_mounting(file, text))
            .unwrap_or(Mounting::Clamped);
        let parameters = read(&table, mounting, seed);
        // A contradiction with a placeholder would only confuse.
        if !settings.has_findings() {
            agreement::with_rig(file, text, &table, &parameters);
            agreement::with_itself(&table, &parameters);
        }
        settings.finish(parameters)
    }

    /// Physics step, s.
    pub fn step_s(&self) -> f64 {
        f64::from(self.step_us) * 1e-6
    }
}

fn read(table: &Section<'_>, mounting: Mounting, seed: u64) -> RigParameters {
    let mut setup = generator(seed, Stream::Setup);
    let mut controller = controller::read(&table.section("controller"));
    let step_s = table.quantity::<Time>("step", 1e-6..=50e-6);
    let step_us = (step_s * 1e6).round() as u32;
    let whole = (step_s * 1e6 - f64::from(step_us)).abs() < 1e-6;
    if !whole || step_us == 0 || !controller.period_us.is_multiple_of(step_us.max(1)) {
        table.report(
            "step",
            format!(
                "does not divide the controller's period of {} us into whole microseconds",
                controller.period_us
            ),
            None,
            "take 5, 10 or 25 us with a period of 250 us, 20 us with one of 200 us",
        );
    }
    controller.step_us = step_us.max(1);
    let plant = plant::read(table, mounting, &mut setup);
    let sensors = sensors::read(&table.section("sensors"), &plant);
    let faults = faults::read(table, plant.tooth_rad);
    RigParameters {
        mounting,
        step_us: step_us.max(1),
        plant,
        sensors,
        controller,
        faults,
    }
}
