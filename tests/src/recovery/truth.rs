//! What a perfect measurement of a virtual unit would find.

use bench_core::rig::Mounting;
use truerim::fitting::Quantity;
use virtual_rig::describe::describe;
use virtual_rig::parameters::RigParameters;

use super::brief::BRIEF;
use super::least::played;
use super::scene::Scene;
use super::{driver, drivetrain, known, steps};

/// A known value.
#[derive(Debug, Clone, PartialEq)]
pub struct Truth {
    /// What.
    pub quantity: Quantity,
    /// How the name of its group begins, where the quantity has several; empty for the one that stands for all.
    pub group: String,
    /// The value, SI.
    pub value: f64,
    /// Where it comes from.
    pub source: &'static str,
    /// Least spread that an estimate without bias can have, where it is worked out.
    pub least: Option<f64>,
}

impl Truth {
    /// A known value of a quantity that has but one.
    #[must_use]
    pub fn of(quantity: Quantity, value: f64, source: &'static str) -> Self {
        Self {
            quantity,
            group: String::new(),
            value,
            source,
            least: None,
        }
    }
}

/// Rows of `describe` that a quantity of a clamped unit is held against. What depends on amplitude (friction, gaps) has no
/// row there and comes from an independent integration.
const CLAMPED: [(Quantity, &str); 6] = [
    (Quantity::Latency, "latency_mean"),
    (Quantity::LatencyJitter, "latency_sd"),
    (Quantity::UpdatePeriod, "update_period"),
    (Quantity::DeadTime, "dead_time"),
    (Quantity::PhaseDelay, "latency_mean"),
    (Quantity::IdealResonance, "mode_ideal_clamp"),
];

/// What of it multisines tell.
const OF_PERIODS: [Quantity; 3] = [
    Quantity::PhaseDelay,
    Quantity::DriveStiffness,
    Quantity::IdealResonance,
];

/// The same for a free rim with its disc.
const FREE: [(Quantity, &str); 3] = [
    (Quantity::Coulomb, "coulomb"),
    (Quantity::Viscous, "viscous"),
    (Quantity::TurningInertia, "inertia_with_disc"),
];

/// Figures of the independent integration.
const INTEGRATED: [(Quantity, &str); 6] = [
    (Quantity::Bandwidth, "minus_3_db_hz"),
    (Quantity::FlatBand, "flat_band_hz"),
    (Quantity::PhaseNinety, "phase_ninety_hz"),
    (Quantity::GroupDelay, "group_delay_s"),
    (Quantity::Resonance, "mode_hz"),
    (Quantity::ResonanceDamping, "mode_damping"),
];

const DESCRIBED: &str = "rig file by closed form, as truerim's virtual rig describes itself";
const INTEGRATION: &str = "independent integration, tests/reference/plant/truth.py and readings.py";

/// The known values of a unit in a scene.
///
/// # Errors
/// In words, when the reference file cannot be read.
pub fn truths(scene: &Scene) -> Result<Vec<Truth>, String> {
    if driver::PROCEDURES.contains(&scene.procedure) {
        return driver::truths(scene);
    }
    let unit = scene.wheelbase;
    let parameters = unit.parameters(unit.text(), scene.mounting, 1);
    let rows = describe(&parameters);
    let of_rows = |list: &[(Quantity, &str)]| -> Vec<Truth> {
        list.iter()
            .filter_map(|(quantity, id)| {
                let row = rows.iter().find(|row| row.id == *id)?;
                Some(Truth::of(*quantity, row.value, DESCRIBED))
            })
            .collect()
    };
    match scene.mounting {
        Mounting::Clamped if scene.procedure == "drivetrain" => Ok(drivetrain::loops(&parameters)),
        Mounting::Clamped => {
            let mut all = of_rows(&CLAMPED);
            all.push(Truth::of(
                Quantity::DriveStiffness,
                drivetrain::stiffness(&parameters),
                "rig file: drive stages in series",
            ));
            if scene.procedure == "response" {
                // Without steps, and with sines of another amplitude than those integrated.
                all.retain(|truth| OF_PERIODS.contains(&truth.quantity));
                return Ok(all);
            }
            all.extend(integrated(scene)?);
            if scene.procedure == "quick" {
                least_spreads(scene, &parameters, &mut all)?;
                all.extend(steps::truths(unit, &parameters)?);
            }
            all.sort_by_key(|truth| truth.quantity);
            Ok(all)
        }
        Mounting::Free if scene.procedure == "travel" => Ok(drivetrain::stops(&parameters)),
        Mounting::Free => {
            let mut all = of_rows(&FREE);
            let shaft = parameters
                .plant
                .gear
                .as_ref()
                .map_or(0.0, |gear| gear.shaft_viscous_nm_s_per_rad);
            for truth in all.iter_mut().filter(|truth| truth.quantity == Quantity::Viscous) {
                truth.value += shaft;
            }
            if scene.procedure == "free" {
                all.extend(drivetrain::small_loops(&parameters));
            }
            Ok(all)
        }
        Mounting::BackDriven if ["around", BRIEF].contains(&scene.procedure) => {
            Ok(drivetrain::under_load(&parameters))
        }
        Mounting::BackDriven => {
            let speed = scene.drive_rad_s(&parameters)?;
            let name = format!("Friction torque at {speed} rad/s");
            let row = rows
                .iter()
                .find(|row| row.id == "friction_at" && row.name == name)
                .ok_or_else(|| format!("no row {name}"))?;
            let mut all = vec![Truth::of(
                Quantity::Drag,
                row.value + teeth_nm(&parameters, speed),
                "rig file: friction of both sides at that speed, and what the teeth's load adds",
            )];
            if scene.procedure == "rolling" {
                all.extend(drivetrain::turns(&parameters));
            }
            Ok(all)
        }
    }
}

/// What the teeth's load adds when the rim drives the motor's side against its friction, N·m: `T_mesh = T_m + μ·T_mesh`.
fn teeth_nm(parameters: &RigParameters, speed_rad_s: f64) -> f64 {
    let motor = &parameters.plant.motor_friction;
    // Far above the Stribeck speed, so what friction falls by from rest is gone.
    let steady = motor.coulomb_nm + motor.viscous_nm_s_per_rad * speed_rad_s;
    let share = parameters.plant.gear.as_ref().map_or(0.0, |gear| gear.load_share);
    share / (1.0 - share) * steady
}

/// Adds the least spreads of latency and bandwidth.
fn least_spreads(scene: &Scene, parameters: &RigParameters, truths: &mut [Truth]) -> Result<(), String> {
    let played = played(scene)?;
    let rows = describe(parameters);
    let mode = rows.iter().find(|row| row.id == "mode").map(|row| row.value);
    let period_s = truths
        .iter()
        .find(|t| t.quantity == Quantity::UpdatePeriod)
        .map(|t| t.value);
    let noise_nm = parameters.sensors.torque.noise_nm;
    for truth in truths {
        truth.least = match truth.quantity {
            Quantity::Latency => period_s.map(|period_s| played.latency_s(period_s)),
            Quantity::Bandwidth => mode.map(|mode| played.bandwidth_hz(truth.value, mode, noise_nm)),
            _ => None,
        };
    }
    Ok(())
}

/// Bands, delay and mode at the amplitude of the quick procedure.
fn integrated(scene: &Scene) -> Result<Vec<Truth>, String> {
    let Some(reference) = scene.reference else {
        return Ok(Vec::new());
    };
    let reference = known(reference)?;
    Ok(INTEGRATED
        .iter()
        .filter_map(|(quantity, key)| {
            // A figure that lies beyond the range integrated is null there.
            Some(Truth::of(*quantity, reference[*key].as_f64()?, INTEGRATION))
        })
        .collect())
}
