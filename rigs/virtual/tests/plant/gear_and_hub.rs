//! Gear stage, load-dependent friction, bearing and end stops against closed forms.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers count as production code

use crate::common;
use std::f64::consts::{PI, TAU};

use common::close;
use virtual_rig::plant::{
    BearingParameters, EndStopParameters, Friction, PlantParameters, PowerStage, UnevenFriction,
};

/// Springs and masses only.
fn lossless(text: &str) -> PlantParameters {
    let mut unit = common::unit(text);
    unit.ripple.clear();
    unit.bearing = BearingParameters::default();
    unit.drive.damping_nm_s_per_rad = 0.0;
    unit.drive.backlash_rad = 0.0;
    unit.mounting.damping_nm_s_per_rad = 0.0;
    for side in [&mut unit.motor_friction, &mut unit.output_friction] {
        side.coulomb_nm = 0.0;
        side.viscous_nm_s_per_rad = 0.0;
    }
    if let Some(gear) = &mut unit.gear {
        gear.mesh.damping_nm_s_per_rad = 0.0;
        gear.mesh.backlash_rad = 0.0;
        gear.shaft_viscous_nm_s_per_rad = 0.0;
        gear.load_share = 0.0;
    }
    unit
}

/// The three masses of the geared unit ring at their first mode, 48.365977 Hz (numpy 2.4.6, `linalg.eig` of M⁻¹K with
/// M = diag(2.4e-3, 1.6e-4, 6e-4) and springs 1500, 300 and 1/(1/4000 + 1/20000)): let go
/// from near that mode's shape they ring there.
#[test]
fn three_masses_ring_at_their_own_frequency() {
    let h = 5e-6;
    let unit = lossless(common::GEARED);
    let (jm, k, kr) = (unit.reflected_kg_m2(), [1500.0, 300.0], 10_000.0 / 3.0);
    close(jm, 2.4e-3, 1e-12, "rotor at the rim");
    close(unit.gear.unwrap().shaft_kg_m2, 1.6e-4, 1e-12, "shaft at the rim");
    let hz = 48.365_977;
    let w2 = (TAU * hz) * (TAU * hz);
    let shaft = (k[0] - w2 * jm) / k[0];
    let hub = k[1] * shaft / (k[1] + kr - w2 * unit.hub_kg_m2);
    // The shaft starts where the motor does, so the other modes ring along; the largest peak is the first mode's.
    let mut plant = common::plant(unit, h);
    plant.set_motion([0.004, 0.0], [0.004 * hub, 0.0]);
    let (mut re, mut im, mut best) = ([0.0; 81], [0.0; 81], (0.0, 0.0));
    let n = 400_000_u32;
    for step in 0..n {
        plant.step();
        let t = f64::from(step) * h;
        let window = (PI * f64::from(step) / f64::from(n)).sin().powi(2);
        for (index, (re, im)) in re.iter_mut().zip(im.iter_mut()).enumerate() {
            let f = hz - 0.8 + 0.02 * index as f64;
            let value = window * plant.motor_angle_rad();
            if step % 20 == 0 {
                *re += value * (TAU * f * t).cos();
                *im += value * (TAU * f * t).sin();
            }
        }
    }
    for (index, (re, im)) in re.iter().zip(&im).enumerate() {
        let size = f64::hypot(*re, *im);
        if size > best.0 {
            best = (size, hz - 0.8 + 0.02 * index as f64);
        }
    }
    close(best.1, hz, 0.021, "first mode, Hz");
    close(
        shaft,
        0.8523,
        1e-3,
        "share of the shaft in the mode, as numpy has it",
    );
}

/// Mesh and belt in series: a torque held on the clamp twists the motor against the hub by T/k_g + T/k_b.
#[test]
fn mesh_and_belt_give_in_series() {
    let mut unit = lossless(common::GEARED);
    unit.motor.flux_loss_per_k = 0.0;
    unit.drive.damping_nm_s_per_rad = 0.5;
    unit.motor_friction.viscous_nm_s_per_rad = 0.3;
    let mut plant = common::plant(unit.clone(), 25e-6);
    plant.set_stage(PowerStage::On);
    plant.set_setpoint_nm(2.0);
    for _ in 0..80_000 {
        plant.step();
    }
    close(
        plant.motor_angle_rad() - plant.shaft_angle_rad(),
        2.0 / 1500.0,
        1e-9,
        "mesh",
    );
    close(
        plant.shaft_angle_rad() - plant.rim_angle_rad(),
        2.0 / 300.0,
        1e-9,
        "belt",
    );
    close(plant.rim_torque_nm(), 2.0, 1e-6, "at the rim");
}

/// Under load the steady friction is g(v) + load + σ2·v; a load that comes and goes never gives energy back.
#[test]
fn load_raises_friction_and_gives_nothing_back() {
    let parameters = common::unit(common::GEARED).motor_friction;
    for (speed, load) in [(0.05, 0.1), (-0.4, 0.12), (2.0, 0.0), (3.0, 0.5)] {
        let mut friction = Friction::new(parameters);
        let mut torque = 0.0;
        for _ in 0..200_000 {
            torque = friction.step_loaded(speed, 25e-6, load);
        }
        let expected = parameters.steady_nm(speed) + load * f64::signum(speed);
        close(
            torque,
            expected,
            1e-6,
            &format!("at {speed} rad/s under {load} N·m"),
        );
    }
    let h = 25e-6;
    let mut friction = Friction::new(parameters);
    let (mut lost, mut before) = (0.0, 0.0);
    for n in 0..400_000_u32 {
        let t = f64::from(n) * h;
        let speed = 0.3 * (TAU * 3.0 * t).sin() + 0.2 * (TAU * 11.3 * t).sin();
        let torque = friction.step_loaded(speed, h, 0.4 * (TAU * 2.1 * t).sin().abs());
        let now = friction.energy_j();
        lost += torque * speed * h - (now - before);
        before = now;
        assert!(lost > -1e-9, "{lost} J at {t} s");
    }
    assert!(lost > 0.1, "{lost} J");
}

/// The bearing's torque is the slope of its energy.
#[test]
fn bearing_comes_from_its_energy() {
    let bearing = BearingParameters {
        amplitude_nm: 0.02,
        phase_rad: 0.6,
    };
    for k in 0..60 {
        let (angle, d) = (f64::from(k) * 0.13, 1e-5);
        let slope = (bearing.energy_j(angle + d) - bearing.energy_j(angle - d)) / (2.0 * d);
        close(bearing.torque_nm(angle), -slope, 1e-9, "torque");
    }
    close(
        bearing.torque_nm(TAU + 0.3),
        bearing.torque_nm(0.3),
        1e-12,
        "once a turn",
    );
}

/// A mass that runs into an undamped buffer leaves it after π·√(J/k) with the speed it came with; a damped one takes
/// energy, and pushes only.
#[test]
fn end_stops_bounce_and_never_pull() {
    let (inertia, h) = (0.015, 5e-6);
    let bounce = |damping: f64, side: f64| {
        let stops = EndStopParameters {
            travel_rad: 2.0,
            centre_rad: 0.0,
            stiffness_nm_per_rad: 400.0,
            damping_nm_s_per_rad: damping,
        };
        let (mut angle, mut speed, mut contact) = (side * 0.99, side * 5.0, 0_u32);
        for _ in 0..20_000 {
            angle += 0.5 * h * speed;
            let torque = stops.torque_nm(angle, speed);
            assert!(torque * side <= 0.0, "pulled with {torque} N·m");
            contact += u32::from(angle.abs() > 1.0);
            speed += h * torque / inertia;
            angle += 0.5 * h * speed;
        }
        (f64::from(contact) * h, speed * side)
    };
    for side in [1.0, -1.0] {
        let (time, speed) = bounce(0.0, side);
        close(time, PI * (inertia / 400.0_f64).sqrt(), 3.0 * h, "contact");
        close(speed, -5.0, 1e-3, "rebound");
        let (_, damped) = bounce(2.0, side);
        assert!((-4.5..-1.0).contains(&damped), "{damped}");
    }
}

/// Stops about another middle are those about zero, shifted; by hand 0.1 rad beyond, 40 N·m back.
#[test]
fn end_stops_lie_about_their_middle() {
    let stops = EndStopParameters {
        travel_rad: 2.0,
        centre_rad: 0.3,
        stiffness_nm_per_rad: 400.0,
        damping_nm_s_per_rad: 0.0,
    };
    for (angle, torque) in [(1.4, -40.0), (1.25, 0.0), (-0.65, 0.0), (-0.8, 40.0)] {
        close(stops.torque_nm(angle, 0.0), torque, 1e-9, "torque");
        let energy = torque * torque / 800.0;
        close(stops.energy_j(angle), energy, 1e-9, "energy");
    }
}

/// Friction that is tighter at one place: ½·p·(1 + cos(n·(θ − φ))) by hand, half of p over a turn, and the block slides at what it adds.
#[test]
fn uneven_friction_is_greatest_where_it_says() {
    let uneven = UnevenFriction {
        swing_nm: 0.02,
        order: 1.0,
        greatest_rad: 0.7,
    };
    for (angle, level) in [
        (0.7, 0.02),
        (0.7 + PI, 0.0),
        (0.7 + 0.5 * PI, 0.01),
        (0.7 - PI / 3.0, 0.015),
    ] {
        close(uneven.level_nm(angle), level, 1e-12, "level");
    }
    let mean = (0..360)
        .map(|k| uneven.level_nm(TAU * f64::from(k) / 360.0))
        .sum::<f64>()
        / 360.0;
    close(mean, 0.01, 1e-12, "mean over a turn");
    assert!(UnevenFriction::default().level_nm(1.0).abs() < 1e-15);
    // At 1 rad/s, far above the Stribeck speed, the block comes to its Coulomb torque, its viscous part and what is added.
    let side = common::belt().output_friction;
    let steady = |added: f64| {
        let mut friction = Friction::new(side);
        (0..200_000)
            .map(|_| friction.step_loaded(1.0, 25e-6, added))
            .last()
            .unwrap()
    };
    close(steady(0.02) - steady(0.0), 0.02, 1e-6, "added");
}
