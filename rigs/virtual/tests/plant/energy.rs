//! Energy is never created: without drive it only falls; and what a mounting can hold is what comes out.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers count as production code

use crate::common;
use common::close;
use virtual_rig::plant::{FarSide, PlantParameters};

/// Lets the plant go from `motor` and `hub` (angle, speed) with the power stage off and watches its energy.
fn falls(parameters: PlantParameters, motor: [f64; 2], hub: [f64; 2], what: &str) {
    let mut plant = common::plant(parameters, 25e-6);
    plant.set_motion(motor, hub);
    let start = plant.energy_j();
    let mut before = start;
    let mut largest = 0.0_f64;
    for _ in 0..40_000 {
        plant.step();
        let now = plant.energy_j();
        largest = largest.max(now - before);
        before = now;
    }
    println!("{what}: from {start:.3e} J to {before:.3e} J, largest rise in a step {largest:.1e} J");
    // The integrator keeps the energy of an undamped spring to second order: (omega h)^2/4 = 7e-4 at worst.
    assert!(
        largest <= 1e-3 * start,
        "{what}: energy rose by {largest} J of {start} J in one step"
    );
    assert!(
        before < 0.5 * start,
        "{what}: {before} J of {start} J left after a second"
    );
}

#[test]
fn energy_only_falls_without_drive() {
    let mut belt = common::belt();
    belt.ripple.clear();
    falls(belt.clone(), [0.01, 0.0], [0.0, 0.0], "wound belt");
    falls(belt.clone(), [0.0, 2.0], [0.0, -2.0], "moving apart");
    falls(belt.clone(), [0.0, 20.0], [0.0, 20.0], "fast");
    falls(belt.clone(), [1e-4, 0.0], [-1e-4, 0.0], "within the bristles");
    let mut geared = belt.clone();
    geared.drive.backlash_rad = 0.007;
    falls(geared, [0.02, 3.0], [0.0, 0.0], "with a gap");
    for (text, what) in [(common::GEARED, "geared"), (common::DIRECT, "direct")] {
        let mut unit = common::unit(text);
        unit.ripple.clear();
        unit.bearing.amplitude_nm = 0.0;
        falls(unit.clone(), [0.02, 0.0], [0.0, 0.0], &format!("{what}, wound"));
        falls(
            unit.clone(),
            [0.0, 5.0],
            [0.0, -5.0],
            &format!("{what}, moving apart"),
        );
        unit.end_stops.as_mut().unwrap().travel_rad = 0.2;
        unit.mounting.far_side = FarSide::Disc { inertia_kg_m2: 0.01 };
        falls(
            unit,
            [0.0, 12.0],
            [0.0, 12.0],
            &format!("{what}, between end stops"),
        );
    }
    let mut free = belt;
    free.mounting.far_side = FarSide::Disc { inertia_kg_m2: 0.011 };
    falls(free, [0.0, 8.0], [0.0, 8.0], "free");
}

/// With ripple the energy includes its potential and still only falls.
#[test]
fn energy_falls_over_cogging_too() {
    let mut belt = common::belt();
    belt.ripple.retain(|order| order.torque_share <= 0.0);
    let mut plant = common::plant(belt, 25e-6);
    plant.set_motion([0.01, 0.0], [0.0, 0.0]);
    let start = plant.energy_j();
    let mut before = start;
    for _ in 0..40_000 {
        plant.step();
        assert!(plant.energy_j() <= before + 2e-6 * start.abs());
        before = plant.energy_j();
    }
    // The belt was wound by 0.01 rad: 0.045 J, nearly all of which is gone.
    assert!(start - before > 0.04, "from {start} to {before} J");
}

/// Undamped and without friction the clamped two-mass model rings at its own frequencies, by hand:
/// det(K - w^2 M) = 0 with K = [[k, -k], [-k, k + k_r]].
#[test]
fn clamped_modes_are_those_of_two_masses() {
    let mut belt = common::belt();
    belt.ripple.clear();
    belt.drive.damping_nm_s_per_rad = 0.0;
    belt.mounting.damping_nm_s_per_rad = 0.0;
    for side in [&mut belt.motor_friction, &mut belt.output_friction] {
        side.coulomb_nm = 0.0;
        side.viscous_nm_s_per_rad = 0.0;
    }
    let (jm, jh) = (belt.reflected_kg_m2(), belt.hub_kg_m2);
    let (k, kr) = (900.0, 10_000.0 / 3.0);
    let b = k / jm + (k + kr) / jh;
    let c = k * kr / (jm * jh);
    let low = ((b - (b * b - 4.0 * c).sqrt()) / 2.0).sqrt();
    close(
        low / std::f64::consts::TAU,
        93.0,
        1.0,
        "first mode, Hz, as the unit's table says",
    );
    // Start in that mode's shape; count its zero crossings.
    let shape = (k - low * low * jm) / k;
    let h = 25e-6;
    let mut plant = common::plant(belt, h);
    plant.set_motion([0.005, 0.0], [0.005 * shape, 0.0]);
    let start = plant.energy_j();
    let mut crossings = Vec::new();
    let mut before = plant.motor_angle_rad();
    for n in 1..=40_000_u32 {
        plant.step();
        let now = plant.motor_angle_rad();
        if before > 0.0 && now <= 0.0 {
            crossings.push((f64::from(n) - now / (now - before)) * h);
        }
        before = now;
    }
    let turns = (crossings.len() - 1) as f64;
    let found = std::f64::consts::TAU * turns / (crossings[crossings.len() - 1] - crossings[0]);
    close(found / low, 1.0, 2e-5, "frequency");
    close(plant.energy_j() / start, 1.0, 1e-3, "energy after a second");
}

/// Free and without friction, the angular momentum of rotor, hub and disc stays what it was.
#[test]
fn momentum_is_kept_when_free() {
    let mut belt = common::belt();
    belt.ripple.clear();
    for side in [&mut belt.motor_friction, &mut belt.output_friction] {
        side.coulomb_nm = 0.0;
        side.viscous_nm_s_per_rad = 0.0;
    }
    belt.mounting.far_side = FarSide::Disc { inertia_kg_m2: 0.011 };
    let (jm, jh) = (belt.reflected_kg_m2(), belt.hub_kg_m2);
    let mut plant = common::plant(belt, 25e-6);
    plant.set_motion([0.002, 5.0], [0.0, -3.0]);
    let start = jm * 5.0 - jh * 3.0;
    for _ in 0..40_000 {
        plant.step();
        let now =
            jm * plant.motor_speed_rad_s() + jh * plant.rim_speed_rad_s() + 0.011 * plant.far_speed_rad_s();
        close(now, start, 1e-12, "momentum");
    }
    let together = start / (jm + jh + 0.011);
    close(
        plant.rim_speed_rad_s(),
        together,
        1e-6,
        "all turn together in the end",
    );
}
