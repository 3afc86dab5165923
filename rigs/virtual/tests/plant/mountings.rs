//! Free and back-driven: what the rim does there, in closed form.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers count as production code

use crate::common;
use std::f64::consts::TAU;

use common::close;
use virtual_rig::plant::{Plant, PlantParameters, Turning, TurningParameters};
use virtual_rig::{RigParameters, VirtualRig};

const UNITS: [(&str, &str); 3] = [
    ("belt", common::BELT),
    ("geared", common::GEARED),
    ("direct", common::DIRECT),
];

const BOTH_WAYS: &str = "start = \"100 ms\"\nspeeds = [\"0.5 rad/s\", \"-0.5 rad/s\"]\nangle = \"400 deg\"\n\
                         acceleration = \"5 rad/s²\"\npause = \"200 ms\"";

/// Friction of the whole unit at the rim while it is turned at `speed`, N·m: both sides' curves, the shaft's bearings,
/// and teeth that rub the more for carrying the motor's friction: F = g + σ2·v + μ·F.
fn turning_friction_nm(unit: &PlantParameters, speed: f64) -> f64 {
    let (share, shaft) = unit.gear.map_or((0.0, 0.0), |gear| {
        (gear.load_share, gear.shaft_viscous_nm_s_per_rad * speed)
    });
    unit.motor_friction.steady_nm(speed) / (1.0 - share) + shaft + unit.output_friction.steady_nm(speed)
}

/// Half the difference of the two directions, over whole turns, is friction; half their sum is cogging, of which
/// nothing is left over a turn.
#[test]
fn back_driven_both_ways_shows_friction() {
    for (name, text) in UNITS {
        let mut unit = common::unit(&common::back_driven(text, BOTH_WAYS));
        // Orders that do not close over one turn.
        unit.ripple.retain(|order| order.order.fract() == 0.0);
        let mut plant = common::plant(unit.clone(), 25e-6);
        let mut means = Vec::new();
        for sign in [1.0, -1.0] {
            let (mut sum, mut n) = (0.0, 0_u32);
            // One turn from 20 deg to 380 deg, and back.
            loop {
                plant.step();
                let inside =
                    (20_f64.to_radians()..20_f64.to_radians() + TAU).contains(&plant.far_angle_rad());
                if inside && (plant.far_speed_rad_s() - sign * 0.5).abs() < 1e-12 {
                    sum += plant.rim_torque_nm();
                    n += 1;
                } else if n > 0 {
                    break;
                }
            }
            close(f64::from(n) * 25e-6, TAU / 0.5, 1e-3, "time of a turn");
            means.push(sum / f64::from(n));
        }
        // The sensor sees the hub held back: negative while turned clockwise.
        let found = 0.5 * (means[1] - means[0]);
        let expected = turning_friction_nm(&unit, 0.5);
        println!("{name}: friction {found:.5} N·m ({expected:.5}), means {means:?}");
        close(found / expected, 1.0, 0.01, &format!("{name}: friction"));
        close(
            means[0] + means[1],
            0.0,
            0.01 * expected,
            &format!("{name}: cogging left over"),
        );
    }
}

/// What the drive puts in is stored or lost, never more.
#[test]
fn the_drive_pays_for_everything() {
    for (name, text) in UNITS {
        let mut unit = common::unit(&common::back_driven(text, BOTH_WAYS));
        unit.ripple.retain(|order| order.torque_share <= 0.0);
        let mut plant = common::plant(unit, 25e-6);
        let (mut work, start) = (0.0, plant.energy_j());
        let mut least = 0.0_f64;
        for _ in 0..400_000 {
            let before = plant.rim_torque_nm() * plant.far_speed_rad_s();
            plant.step();
            let after = plant.rim_torque_nm() * plant.far_speed_rad_s();
            work -= 0.5 * (before + after) * 25e-6;
            least = least.min(work - (plant.energy_j() - start));
        }
        let lost = work - (plant.energy_j() - start);
        println!("{name}: {work:.4} J in, {lost:.4} J lost, least {least:.2e} J");
        assert!(least > -2e-6, "{name}: {least} J from nowhere");
        assert!(lost > 0.5, "{name}: {lost} J");
    }
}

/// Coast-down on a disc with Coulomb and viscous friction: J·dω/dt = −T_c − σ·ω, so
/// ω(t) = (ω_0 + T_c/σ)·exp(−σ·t/J) − T_c/σ.
#[test]
fn free_coast_down_is_the_closed_form() {
    for (name, text, disc) in [("belt", common::BELT, 0.011), ("direct", common::DIRECT, 0.015)] {
        let mut unit = common::unit(&common::free(text, disc));
        unit.ripple.clear();
        unit.bearing.amplitude_nm = 0.0;
        unit.end_stops = None;
        let inertia = unit.reflected_kg_m2() + unit.hub_kg_m2 + disc;
        let coulomb = unit.motor_friction.coulomb_nm + unit.output_friction.coulomb_nm;
        let viscous = unit.motor_friction.viscous_nm_s_per_rad;
        let mut plant = Plant::new(unit, 25e-6, common::random());
        plant.set_motion([0.0, 10.0], [0.0, 10.0]);
        plant.set_far_motion([0.0, 10.0]);
        // Let the bristles bend first.
        for _ in 0..400 {
            plant.step();
        }
        let settle = |plant: &mut Plant| {
            let (mut mean, n) = (0.0, 4_000);
            for _ in 0..n {
                plant.step();
                mean +=
                    (plant.motor_speed_rad_s() * (inertia - disc) + plant.far_speed_rad_s() * disc) / inertia;
            }
            mean / f64::from(n)
        };
        let first = settle(&mut plant);
        let rest = coulomb / viscous;
        for tenth in 1..=5 {
            let expected = (first + rest) * (-viscous * 0.1 * f64::from(tenth) / inertia).exp() - rest;
            if expected < 1.0 {
                break;
            }
            let found = settle(&mut plant);
            close(
                found,
                expected,
                0.02,
                &format!("{name}: speed after {tenth} tenths"),
            );
        }
    }
}

/// Thrown against its end stops on a disc the rim comes back, with less energy each time.
#[test]
fn a_free_rim_is_caught_by_its_end_stops() {
    for (name, text, disc) in [("belt", common::BELT, 0.011), ("direct", common::DIRECT, 0.015)] {
        let mut unit = common::unit(&common::free(text, disc));
        // Near, so that it still has most of its speed.
        let half = 0.5;
        unit.end_stops.as_mut().unwrap().travel_rad = 2.0 * half;
        let mut plant = common::plant(unit, 25e-6);
        plant.set_motion([0.0, 10.0], [0.0, 10.0]);
        plant.set_far_motion([0.0, 10.0]);
        let (mut furthest, mut slowest) = (0.0_f64, 0.0_f64);
        for _ in 0..40_000 {
            plant.step();
            furthest = furthest.max(plant.rim_angle_rad());
            slowest = slowest.min(plant.rim_speed_rad_s());
        }
        println!(
            "{name}: {:.2} deg into the stop, back at {slowest:.2} rad/s",
            (furthest - half).to_degrees()
        );
        assert!((0.02..0.2).contains(&(furthest - half)), "{name}: {furthest}");
        assert!((-10.0..-1.0).contains(&slowest), "{name}: {slowest}");
    }
}

/// The script: angle is the integral of speed, legs take angle/|v| + |v|/a, and end where they should.
#[test]
fn the_drive_turns_as_scripted() {
    let script = TurningParameters {
        start_s: 0.3,
        speeds_rad_s: vec![0.5, -2.0, 1.5],
        angles_rad: vec![1.2, 2.0, 0.8],
        acceleration_rad_s2: 4.0,
        pause_s: 0.25,
        repeats: true,
    };
    close(script.leg_s(-2.0, 2.0), 2.0 / 2.0 + 2.0 / 4.0, 1e-12, "leg");
    let turning = Turning::new(script);
    let legs = [1.2 / 0.5 + 0.125, 1.5, 0.8 / 1.5 + 0.375];
    let pass: f64 = legs.iter().sum::<f64>() + 0.75;
    let ends = [0.3 + legs[0], 0.3 + legs[0] + 0.25 + legs[1], 0.3 + pass - 0.25];
    for (pass_number, base) in [(0.0, 0.0), (1.0, 0.0), (7.0, 0.0)] {
        for (end, angle) in ends.into_iter().zip([1.2, -0.8, 0.0]) {
            let [at, speed] = turning.at(end + pass_number * pass + 0.1);
            close(at, base + angle, 1e-9, "end of a leg");
            close(speed, 0.0, 0.0, "at rest");
        }
    }
    let (mut integral, h) = (0.0, 1e-5);
    for n in 0..1_200_000_u32 {
        let t = (f64::from(n) + 0.5) * h;
        let [angle, speed] = turning.at(t);
        integral += h * speed;
        close(angle, integral, 3e-5, "angle");
        assert!(speed.abs() <= 2.0);
    }
}

/// A rig on a drive in lock-step: the controller's rows show the rim turning, without anyone having armed.
#[test]
fn the_controller_sees_the_drive() {
    let rig =
        VirtualRig::from_toml("driven.toml", &common::back_driven(common::DIRECT, BOTH_WAYS), 3).unwrap();
    let mut bench = common::bench::Bench::with(rig);
    bench.configure(common::bench::configuration());
    bench.send(rig_link::HostMessage::StartSampling(rig_link::message::Empty));
    let rows = common::bench::rows(&bench.live(1_100_000));
    let rim = f64::from(rows.last().unwrap().1[2]) * TAU / 1_048_576.0;
    // At rest for 0.1 s, 0.1 s to 0.5 rad/s, then at it; 10 ms were slept through while configuring at most.
    close(rim, 0.5 * (1.0 - 0.05), 2e-3, "rim angle");
}

fn findings(text: &str) -> String {
    RigParameters::from_toml("rig.toml", text, 1)
        .unwrap_err()
        .to_string()
}

#[test]
fn contradictions_are_found() {
    for (what, text, expected) in [
        (
            "mounting not described",
            common::BELT
                .replacen("mounting = \"clamped\"", "mounting = \"free\"", 1)
                .replacen(
                    "[virtual.mountings.free]          # a disc that turns freely\ndisc = \"0.011 kg·m²\"",
                    "",
                    1,
                ),
            "virtual.mountings.free: the mounting in force is not described (allowed: clamped, back-driven)",
        ),
        (
            "disc",
            common::BELT
                .replacen("mounting = \"clamped\"", "mounting = \"free\"", 1)
                .replacen("disc = \"0.011 kg·m²\"", "disc = \"0.02 kg·m²\"", 1),
            "rig.mountings.free.disc says 0.02 kg·m², which is more than 10 % away",
        ),
        (
            "drive's speed",
            common::BELT
                .replacen("mounting = \"clamped\"", "mounting = \"back-driven\"", 1)
                .replacen("drive_speed = \"1.2 rad/s\"", "drive_speed = \"0.8 rad/s\"", 1),
            "faster than the 0.8 rad/s of rig.mountings.back-driven.drive_speed",
        ),
        (
            "drive's acceleration",
            common::BELT
                .replacen("mounting = \"clamped\"", "mounting = \"back-driven\"", 1)
                .replacen(
                    "drive_acceleration = \"20 rad/s²\"",
                    "drive_acceleration = \"2 rad/s²\"",
                    1,
                ),
            "above the 2 rad/s² of rig.mountings.back-driven.drive_acceleration",
        ),
        (
            "peak",
            common::BELT.replacen("peak_torque = \"7 N·m\"", "peak_torque = \"8 N·m\"", 1),
            "virtual.torque.peak = \"7 N·m\": rig.wheelbase.peak_torque says 8 N·m",
        ),
        (
            "sensor",
            common::DIRECT.replacen("stiffness = \"15000 N·m/rad\"", "stiffness = \"2000 N·m/rad\"", 1),
            "rig.torque_sensor.stiffness says 2000 N·m/rad, which is more than 10 % away",
        ),
        (
            "fixture",
            common::GEARED.replacen("stiffness = \"20000 N·m/rad\"", "stiffness = \"5000 N·m/rad\"", 1),
            "virtual.mounting.fixture_stiffness",
        ),
        (
            "into the stops",
            common::back_driven(common::BELT, &BOTH_WAYS.replace("400", "460")),
            "turns the rim to 460.0 deg, beyond the end stops at 450.0 deg",
        ),
        (
            "wandering",
            common::back_driven(
                common::BELT,
                &(BOTH_WAYS.replace(", \"-0.5 rad/s\"", "") + "\nrepeats = true"),
            ),
            "does not come back to where it began",
        ),
        (
            "short legs",
            common::back_driven(common::BELT, &BOTH_WAYS.replace("400 deg", "1 deg")),
            "2.865 deg or more",
        ),
        (
            "no leg",
            common::back_driven(
                common::BELT,
                &BOTH_WAYS.replace("\"0.5 rad/s\", \"-0.5 rad/s\"", ""),
            ),
            "speeds",
        ),
    ] {
        let found = findings(&text);
        assert_eq!(found.lines().count(), 1, "{what}: {found}");
        assert!(found.contains(expected), "{what}: {found}");
        assert!(found.starts_with("rig.toml:"), "{what}: {found}");
    }
    // What is wrong in the bench's table is the bench's to say.
    let broken = common::BELT.replacen("peak_torque = \"7 N·m\"", "peak_torque = 7", 1);
    assert!(RigParameters::from_toml("rig.toml", &broken, 1).is_ok());
}
