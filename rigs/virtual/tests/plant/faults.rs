//! Scripted faults do what they say: on the line, at the sensors, on the wheelbase.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers count as production code

use crate::common;
use std::f64::consts::TAU;

use common::bench::{Bench, Said, configuration, rows, tripped};
use common::close;
use rig_link::message::Empty;
use rig_link::{HostMessage, RigState, TripCause};
use virtual_rig::{Fault, FaultKind, VirtualRig};

const RIM_STEP: f64 = TAU / 1_048_576.0;

/// A rig that holds 3 N·m on the clamp, and the fault from now on.
fn holding(text: &str, kind: FaultKind, size: f64) -> Bench {
    let mut bench = Bench::with(VirtualRig::new(common::read(text, 5), 5));
    bench.arm(configuration());
    bench.hold(12_288, 150_000);
    let start_tick = bench.rig.tick();
    bench.rig.add_fault(Fault {
        kind,
        start_tick,
        size,
    });
    bench
}

fn last_row(said: &[Said]) -> Vec<i32> {
    rows(said).last().unwrap().1.clone()
}

#[test]
fn doubled_and_cut_bytes_cost_frames() {
    for (kind, size, least) in [(FaultKind::BytesDoubled, 2e-3, 5), (FaultKind::BytesCut, 0.0, 1)] {
        let mut bench = holding(common::BELT, kind, size);
        for _ in 0..20 {
            bench.live(20_000);
        }
        assert!(
            bench.bad >= least,
            "{kind:?}: {} bad frames at the bench",
            bench.bad
        );
        assert_ne!(bench.rig.truth().state, RigState::Idle);
    }
}

#[test]
fn delayed_bytes_arrive_late_in_order_and_whole() {
    let mut bench = Bench::new(5);
    bench.rig.add_fault(Fault {
        kind: FaultKind::BytesDelayed,
        start_tick: 0,
        size: 3e-3,
    });
    bench.wait(1_000);
    assert!(bench.send(HostMessage::StatusRequest(Empty)).is_empty());
    let sent = bench.rig.tick();
    let mut answered = None;
    while answered.is_none() {
        let said = bench.wait(25);
        answered = said.iter().find_map(|said| match said {
            Said::Status(status) => Some(status.tick),
            _ => None,
        });
        assert!(bench.rig.tick() < sent + 20_000);
    }
    // There and back; what is carried out at a step is late by a step at most.
    assert!(
        (sent + 3_000..=sent + 3_050).contains(&answered.unwrap()),
        "{answered:?}"
    );
    assert!((sent + 6_000..=sent + 6_100).contains(&bench.rig.tick()));
    assert_eq!(bench.bad, 0);
}

#[test]
fn a_port_that_vanishes_is_ended_by_the_watchdog() {
    let mut bench = holding(common::BELT, FaultKind::PortVanishes, 0.0);
    let said = bench.live(60_000);
    assert!(said.is_empty(), "{said:?}");
    assert_eq!(bench.rig.truth().state, RigState::Tripped);
    assert!(bench.rig.motor_torque_nm().abs() < 0.01);
}

#[test]
fn torque_sensor_saturates_drops_out_and_drifts() {
    for (sign, end) in [(1.0, 8_000_000), (-1.0, -8_000_000)] {
        let mut bench = holding(common::BELT, FaultKind::TorqueSensorSaturated, sign);
        let said = bench.live(5_000);
        assert_eq!(tripped(&said).unwrap().1, TripCause::SensorTorque);
        assert_eq!(last_row(&said)[1], end);
    }
    let mut bench = holding(common::BELT, FaultKind::TorqueSensorDropsOut, 0.0);
    let row = last_row(&bench.hold(12_288, 20_000));
    close(f64::from(row[1]) * 2.5e-6, 3e-3, 1e-5, "its zero");
    let mut bench = holding(common::BELT, FaultKind::TorqueSensorDrifts, -2.0);
    let before = f64::from(last_row(&bench.hold(12_288, 5_000))[1]);
    let after = f64::from(last_row(&bench.hold(12_288, 200_000))[1]);
    close((after - before) * 2.5e-6, -0.4, 0.05, "0.2 s at -2 N·m/s");
}

#[test]
fn rim_angle_jumps_sticks_and_inverts() {
    // 4 deg in one row is far too fast.
    let mut bench = holding(common::BELT, FaultKind::RimAngleJumps, 4_f64.to_radians());
    let said = bench.live(5_000);
    let cause = tripped(&said).unwrap().1;
    assert!(
        matches!(cause, TripCause::RimSpeed | TripCause::RimWindow),
        "{cause:?}"
    );
    let jumped = f64::from(last_row(&said)[2]) * RIM_STEP;
    close(
        jumped,
        4_f64.to_radians() + bench.rig.rim_angle_rad(),
        2e-3,
        "jumped",
    );
    let mut bench = holding(common::BELT, FaultKind::RimAngleStuck, 0.0);
    bench.wait(25);
    let stuck = last_row(&bench.hold(12_288, 20_000))[2];
    let said = bench.hold(-12_288, 100_000);
    assert!(rows(&said).iter().all(|(_, row)| row[2] == stuck));
    assert!(
        (bench.rig.rim_angle_rad() - f64::from(stuck) * RIM_STEP).abs() > 1e-3,
        "it does turn"
    );
    let mut bench = holding(common::BELT, FaultKind::RimAngleInverted, 0.0);
    let before = f64::from(last_row(&bench.hold(12_288, 5_000))[2]) * RIM_STEP;
    let true_before = bench.rig.rim_angle_rad();
    let after = f64::from(last_row(&bench.hold(-12_288, 150_000))[2]) * RIM_STEP;
    let true_after = bench.rig.rim_angle_rad();
    close(after - before, true_before - true_after, 1e-5, "the other way");
    assert!((true_after - true_before).abs() > 1e-3);
}

#[test]
fn supply_sags_into_the_controllers_limit() {
    let mut bench = holding(common::BELT, FaultKind::SupplySags, 8.0);
    let said = bench.live(5_000);
    assert_eq!(tripped(&said).unwrap().1, TripCause::Supply);
}

/// A free rim: a hand stops it, a blow turns it.
#[test]
fn a_rim_is_grabbed_and_struck() {
    let mut plant = common::plant(common::unit(&common::free(common::DIRECT, 0.015)), 25e-6);
    plant.set_motion([0.0, 10.0], [0.0, 10.0]);
    plant.set_far_motion([0.0, 10.0]);
    // 3 N·m on the disc of 19.3 g·m² in all: 155 rad/s² and a little for the unit's own friction.
    plant.set_grab_nm(3.0);
    for _ in 0..2_000 {
        plant.step();
    }
    let mean = |plant: &virtual_rig::plant::Plant| {
        (3.5e-3 * plant.motor_speed_rad_s()
            + 8e-4 * plant.rim_speed_rad_s()
            + 0.015 * plant.far_speed_rad_s())
            / 0.0193
    };
    close(
        mean(&plant),
        10.0 - 0.05 * (3.0 + 0.1 + 0.07) / 0.0193,
        0.3,
        "after 50 ms",
    );
    // The unit swings on the held disc for a while.
    for _ in 0..80_000 {
        plant.step();
    }
    assert!(mean(&plant).abs() < 0.3, "{}", mean(&plant));
    plant.set_grab_nm(0.0);
    let before = plant.far_speed_rad_s();
    plant.strike(-20.0);
    close(
        plant.far_speed_rad_s(),
        before - 20.0,
        1e-12,
        "the disc is struck",
    );
    // Where there is no disc, the hub is what a hand can reach.
    let mut clamped = common::plant(common::belt(), 25e-6);
    let before = clamped.rim_speed_rad_s();
    clamped.strike(-20.0);
    close(
        clamped.rim_speed_rad_s(),
        before - 20.0,
        1e-12,
        "the hub is struck",
    );
}

#[test]
fn a_belt_slips_and_breaks() {
    let mut plant = common::plant(common::belt(), 25e-6);
    plant.set_stage(virtual_rig::plant::PowerStage::On);
    plant.set_setpoint_nm(3.0);
    let rest = |plant: &mut virtual_rig::plant::Plant| {
        for _ in 0..40_000 {
            plant.step();
        }
        (
            plant.motor_angle_rad() - plant.rim_angle_rad(),
            plant.rim_torque_nm(),
        )
    };
    let (before, torque) = rest(&mut plant);
    close(before, torque / 900.0, 1e-3, "wound by what it carries");
    plant.slip_belt(1_f64.to_radians());
    let (after, again) = rest(&mut plant);
    // The motor follows until the belt carries again, less or more by friction.
    close(
        after - before,
        1_f64.to_radians() + (again - torque) / 900.0,
        3e-4,
        "rotor against rim",
    );
    close(again, torque, 0.45, "carried again");
    for text in [common::BELT, common::GEARED] {
        let mut bench = holding(text, FaultKind::BeltBreaks, 0.0);
        bench.hold(12_288, 30_000);
        let plant = bench.rig.truth().plant;
        assert!(
            plant.motor_speed_rad_s() > 1.0,
            "the motor runs: {}",
            plant.motor_speed_rad_s()
        );
        assert!(
            plant.rim_torque_nm().abs() < 0.2,
            "nothing at the rim: {}",
            plant.rim_torque_nm()
        );
    }
}
