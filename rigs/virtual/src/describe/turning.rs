//! What a rim that turns shows: friction over speed, coast-down, acceleration, and where the motor's side is deaf.

use super::Rows;
use super::linear::{LinearModel, cold_flux};
use crate::RigParameters;
use crate::plant::{FarSide, PlantParameters};

/// Speeds at which friction is told, rad/s.
const SPEEDS_RAD_S: [f64; 7] = [0.05, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0];
/// Speeds from which a free rim coasts down, rad/s.
const COAST_FROM_RAD_S: [f64; 2] = [5.0, 10.0];
/// Pieces of the coast-down's integral.
const PIECES: u32 = 20_000;

pub(super) fn rows(parameters: &RigParameters, rows: &mut Rows) {
    let plant = &parameters.plant;
    let mut speeds = SPEEDS_RAD_S.to_vec();
    if let FarSide::Drive(script) = &plant.mounting.far_side {
        speeds.extend(script.speeds_rad_s.iter().map(|speed| speed.abs()));
    }
    speeds.sort_by(f64::total_cmp);
    speeds.dedup();
    for speed in speeds {
        rows.add(
            "friction_at",
            format!("Friction torque at {speed} rad/s"),
            friction_nm(plant, speed),
            "N.m",
            "both sides: coulomb + (breakaway − coulomb) · exp(−(v/stribeck_speed)²) + viscous · v; no load, mean of both directions",
        );
    }
    let bare = bare_kg_m2(plant);
    let push = plant.torque.peak_nm * cold_flux(plant);
    rows.add(
        "acceleration_bare",
        "Acceleration at the peak, bare hub",
        push / bare,
        "rad/s2",
        "peak torque/inertia, friction left out",
    );
    let FarSide::Disc { inertia_kg_m2 } = plant.mounting.far_side else {
        return;
    };
    let inertia = bare + inertia_kg_m2;
    rows.add(
        "inertia_with_disc",
        "Inertia with the disc",
        inertia,
        "kg.m2",
        "inertia at the rim + mountings.free.disc",
    );
    rows.add(
        "acceleration",
        "Acceleration at the peak, with the disc",
        push / inertia,
        "rad/s2",
        "peak torque/inertia with the disc, friction left out",
    );
    for hz in LinearModel::new(parameters)
        .antiresonances_hz()
        .into_iter()
        .take(1)
    {
        rows.add(
            "antiresonance",
            "Antiresonance at the motor",
            hz,
            "Hz",
            "first mode with the motor held still: there the disc swings and the motor does not",
        );
    }
    for speed in COAST_FROM_RAD_S {
        rows.add(
            "coast_down",
            format!("Coast-down from {speed} rad/s"),
            coast_down_s(plant, inertia, speed),
            "s",
            "integral of inertia/friction over speed, with what the teeth's load adds; cogging gives back what it takes",
        );
    }
}

/// Everything that turns as one with the hub, without what it is mounted on, kg·m².
fn bare_kg_m2(plant: &PlantParameters) -> f64 {
    plant.reflected_kg_m2() + plant.gear.map_or(0.0, |gear| gear.shaft_kg_m2) + plant.hub_kg_m2
}

/// Friction of both sides and the shaft at a steady speed without load, N·m.
fn friction_nm(plant: &PlantParameters, speed_rad_s: f64) -> f64 {
    let shaft = plant.gear.map_or(0.0, |gear| gear.shaft_viscous_nm_s_per_rad);
    plant.motor_friction.steady_nm(speed_rad_s)
        + plant.output_friction.steady_nm(speed_rad_s)
        + shaft * speed_rad_s
}

/// What slows a rim of `inertia_kg_m2` that coasts, N·m: friction, and what the teeth's load adds. Coasting, the mesh drives
/// the motor's side against its friction, with the rotor's inertia helping:
/// `T_mesh = T_m + μ·T_mesh − (J_m/J)·F` and `F = T + μ·T_mesh`.
fn slowing_nm(plant: &PlantParameters, inertia_kg_m2: f64, speed_rad_s: f64) -> f64 {
    let all = friction_nm(plant, speed_rad_s);
    let Some(gear) = &plant.gear else { return all };
    let mesh = gear.load_share / (1.0 - gear.load_share);
    let motor = plant.motor_friction.steady_nm(speed_rad_s);
    (all + mesh * motor) / (1.0 + mesh * plant.reflected_kg_m2() / inertia_kg_m2)
}

/// Time until a rim that coasts from `speed_rad_s` rests, s.
fn coast_down_s(plant: &PlantParameters, inertia_kg_m2: f64, speed_rad_s: f64) -> f64 {
    let piece = speed_rad_s / f64::from(PIECES);
    (0..PIECES)
        .map(|k| {
            let speed = (f64::from(k) + 0.5) * piece;
            piece * inertia_kg_m2 / slowing_nm(plant, inertia_kg_m2, speed)
        })
        .sum()
}
