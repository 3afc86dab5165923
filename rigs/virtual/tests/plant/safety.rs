//! The controller's own limits and the scripted faults: what trips, how fast, and what the motor does.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers count as production code

use crate::common;
use common::bench::{Bench, Said, configuration, rows, tripped};
use rig_link::message::{ClearTrip, Configuration, Empty};
use rig_link::{EventCode, HostMessage, RigState, StopMode, TripCause};
use virtual_rig::{Fault, FaultKind, VirtualRig};

/// Armed, holding 3 N·m, and about to see `kind`.
fn holding(seed: u64, kind: FaultKind, size: f64) -> (Bench, u64) {
    let mut bench = Bench::new(seed);
    bench.arm(Configuration {
        stop_mode: StopMode::Coast,
        ..configuration()
    });
    bench.hold(12_288, 200_000);
    assert!(
        (bench.rig.motor_torque_nm() - 3.0).abs() < 0.02,
        "{} N·m",
        bench.rig.motor_torque_nm()
    );
    let start = bench.rig.tick() + 10_000;
    bench.rig.add_fault(Fault {
        kind,
        start_tick: start,
        size,
    });
    (bench, start)
}

/// Advances in steps until `done` or `limit` µs; returns the tick.
fn until(bench: &mut Bench, limit: u64, done: impl Fn(&VirtualRig) -> bool) -> Option<u64> {
    let end = bench.rig.tick() + limit;
    while bench.rig.tick() < end {
        if done(&bench.rig) {
            return Some(bench.rig.tick());
        }
        let next = bench.rig.tick() + 25;
        bench.rig.advance_to(next);
    }
    None
}

#[test]
fn without_a_word_the_watchdog_ends_torque() {
    let mut bench = Bench::new(1);
    bench.arm(Configuration {
        setpoint_expiry_us: 1_000_000,
        stop_mode: StopMode::Coast,
        ..configuration()
    });
    bench.hold(12_288, 100_000);
    bench.keep_alive();
    let last = bench.rig.tick();
    let said = bench.wait(40_000);
    let (tick, cause) = tripped(&said).unwrap();
    assert_eq!(cause, TripCause::Watchdog);
    assert!(
        tick > last + 20_000 && tick <= last + 20_025,
        "{} us after the last feed",
        tick - last
    );
    assert!(bench.rig.motor_torque_nm().abs() < 1e-3);
}

/// The clamp lets go at 3 N·m: the rim runs away, and the controller's window and speed limits end it.
#[test]
fn a_slipping_clamp_trips_within_two_milliseconds() {
    for (mode, seed) in [(StopMode::Brake, 1), (StopMode::Coast, 2)] {
        let mut bench = Bench::new(seed);
        bench.arm(Configuration {
            stop_mode: mode,
            ..configuration()
        });
        bench.hold(12_288, 200_000);
        let start = bench.rig.tick() + 1_000;
        bench.rig.add_fault(Fault {
            kind: FaultKind::ClampSlip,
            start_tick: start,
            size: 0.0,
        });
        let fast = until(&mut bench, 15_000, |rig| rig.rim_speed_rad_s().abs() >= 5.0).unwrap();
        let off = until(&mut bench, 15_000, |rig| rig.truth().state == RigState::Tripped).unwrap();
        assert!(off - fast <= 1_000, "{} us from 5 rad/s to the trip", off - fast);
        assert_eq!(tripped(&bench.hear()).unwrap().1, TripCause::RimSpeed);
        // Zero torque asked for from then on; the current's own decay follows with 0.32 ms.
        bench.wait(2_000);
        let torque = bench.rig.motor_torque_nm();
        let speed = bench.rig.rim_speed_rad_s();
        match mode {
            StopMode::Coast => assert!(torque.abs() < 0.01, "{torque} N·m"),
            StopMode::Brake => assert!(torque * speed <= 0.0, "{torque} N·m at {speed} rad/s pushes on"),
        }
        bench.live(600_000);
        if mode == StopMode::Brake {
            assert!(bench.rig.rim_speed_rad_s().abs() < 0.05);
        }
        assert_eq!(bench.status().state, RigState::Tripped, "latched");
    }
}

#[test]
fn a_runaway_trips_on_sensor_torque_and_the_stage_ends_it() {
    let mut bench = Bench::new(3);
    bench.arm(Configuration {
        sensor_torque_limit_mnm: 5_000,
        ..configuration()
    });
    bench.hold(4_096, 100_000);
    let start = bench.rig.tick() + 1_000;
    bench.rig.add_fault(Fault {
        kind: FaultKind::TorqueRunaway,
        start_tick: start,
        size: 7.0,
    });
    let said = bench.wait(15_000);
    let (tick, cause) = tripped(&said).unwrap();
    assert_eq!(cause, TripCause::SensorTorque);
    assert!(tick < start + 10_000);
    bench.wait(20_000);
    assert!(
        bench.rig.motor_torque_nm().abs() < 0.05,
        "{} N·m",
        bench.rig.motor_torque_nm()
    );
}

#[test]
fn emergency_stop_cuts_at_once_and_releasing_restarts_nothing() {
    let (mut bench, start) = holding(4, FaultKind::EmergencyStop, 0.0);
    let said = bench.live(15_000);
    assert_eq!(tripped(&said), Some((start, TripCause::EmergencyStop)));
    assert!(bench.rig.motor_torque_nm().abs() < 0.01);
    bench.live(600_000);
    let trips = bench.status().trips;
    let clear = HostMessage::ClearTrip(ClearTrip { trips });
    assert!(matches!(bench.send(clear).as_slice(), [Said::Refused(..)]));
    bench.rig.set_emergency_stop_closed(true);
    bench.live(10_000);
    assert!(
        !bench.status().emergency_stop_closed,
        "closing counts after 20 ms only"
    );
    let said = bench.live(15_000);
    assert!(
        said.iter()
            .any(|s| matches!(s, Said::Event(_, EventCode::EmergencyStopInput, 1)))
    );
    assert_eq!(bench.status().state, RigState::Tripped);
    assert!(
        matches!(bench.send(clear).as_slice(), [Said::Status(status)] if status.state == RigState::Ready)
    );
    bench.live(50_000);
    assert!(bench.rig.motor_torque_nm().abs() < 1e-6);
}

#[test]
fn temperature_climbs_into_its_limit() {
    let (mut bench, start) = holding(5, FaultKind::TemperatureClimb, 1_000.0);
    let mut said = bench.hold(12_288, 40_000);
    said.extend(bench.hold(12_288, 40_000));
    let (tick, cause) = tripped(&said).unwrap();
    assert_eq!(cause, TripCause::Temperature);
    // From 22 °C (a little warmer by now) to 90 °C at 1000 K/s.
    assert!((66_000..=68_500).contains(&(tick - start)), "{} us", tick - start);
}

#[test]
fn a_stuck_torque_sensor_is_the_benchs_to_find() {
    let (mut bench, start) = holding(6, FaultKind::TorqueSensorStuck, 0.0);
    bench.live(15_000);
    let said = bench.hold(12_288, 30_000);
    let torques: Vec<i32> = rows(&said)
        .iter()
        .filter(|(tick, _)| *tick > start)
        .map(|(_, row)| row[1])
        .collect();
    assert!(torques.len() > 50 && torques.windows(2).all(|pair| pair[0] == pair[1]));
}

#[test]
fn a_frozen_stream_goes_on_talking() {
    let (mut bench, start) = holding(7, FaultKind::StreamFreeze, 0.0);
    let mut said = bench.live(15_000);
    said.extend(bench.hold(12_288, 100_000));
    assert!(rows(&said).iter().all(|(tick, _)| *tick <= start + 1_000));
    assert!(
        said.iter()
            .any(|s| matches!(s, Said::Status(status) if status.tick > start + 60_000))
    );
    assert_eq!(tripped(&said), None);
}

#[test]
fn a_reboot_forgets_everything_and_makes_no_torque() {
    let (mut bench, start) = holding(8, FaultKind::Reboot, 0.0);
    let said = bench.live(20_000);
    assert!(
        said.iter()
            .any(|s| matches!(s, Said::Event(0, EventCode::Booted, 0))),
        "{said:?}"
    );
    let status = bench.status();
    assert_eq!(
        (status.state, status.sampling, status.trips),
        (RigState::Idle, false, 0)
    );
    assert_eq!(
        status.tick,
        bench.rig.tick() - start + 25,
        "its clock starts anew"
    );
    assert!(bench.rig.motor_torque_nm().abs() < 1e-3);
    bench.booted = start - 25;
    bench.arm(configuration());
    bench.hold(4_000, 50_000);
    assert!(bench.rig.motor_torque_nm() > 0.9);
}

#[test]
fn a_rig_deaf_to_stops_is_ended_by_its_watchdog() {
    let (mut bench, _) = holding(9, FaultKind::IgnoreStop, 0.0);
    bench.live(12_000);
    assert!(bench.stop(StopMode::Coast).is_empty());
    assert_eq!(bench.rig.truth().state, RigState::Armed);
    let said = bench.wait(40_000);
    assert!(tripped(&said).is_some());
}

/// Bytes that are lost or flipped never make torque that nobody asked for, and are counted.
#[test]
fn a_bad_line_costs_frames_and_nothing_else() {
    for (kind, seed) in [(FaultKind::BytesLost, 10), (FaultKind::BytesFlipped, 11)] {
        let mut bench = Bench::new(seed);
        bench.arm(Configuration {
            watchdog_us: 200_000,
            setpoint_expiry_us: 200_000,
            ..configuration()
        });
        let start_tick = bench.rig.tick();
        bench.rig.add_fault(Fault {
            kind,
            start_tick,
            size: 2e-3,
        });
        for _ in 0..40 {
            bench.hold(2_000, 20_000);
            assert!(
                bench.rig.motor_torque_nm().abs() < 0.6,
                "{} N·m",
                bench.rig.motor_torque_nm()
            );
        }
        bench.rig.add_fault(Fault {
            kind,
            start_tick: bench.rig.tick(),
            size: 0.0,
        });
        bench.wait(1_000);
        assert!(bench.bad > 10, "{} bad frames at the bench", bench.bad);
        bench.send(HostMessage::StatusRequest(Empty)); // closes a half-heard frame
        assert!(bench.status().bad_frames > 3);
    }
}

#[test]
fn an_output_that_nobody_takes_stays_bounded() {
    let mut bench = Bench::new(12);
    bench.arm(configuration());
    bench.stop(StopMode::Coast);
    for _ in 0..200 {
        let tick = bench.rig.tick() + 20_000;
        bench.rig.advance_to(tick);
        for _ in 0..20 {
            let bytes = bench.bytes(HostMessage::StatusRequest(Empty));
            bench.rig.receive(&bytes);
        }
    }
    let mut waiting = Vec::new();
    bench.rig.transmit(&mut waiting);
    assert!(waiting.len() <= 64 * 1024, "{} bytes", waiting.len());
    assert!(bench.status().lost_batches > 100);
}

#[test]
fn faults_come_from_the_file_too() {
    let text = format!(
        "{}\n[[virtual.faults]]\nkind = \"clamp-slip\"\nstart = \"1.5 s\"\nsize = \"2 N·m\"\n",
        common::BELT
    );
    let parameters = virtual_rig::RigParameters::from_toml("belt.toml", &text, 1).unwrap();
    assert_eq!(
        parameters.faults,
        [Fault {
            kind: FaultKind::ClampSlip,
            start_tick: 1_500_000,
            size: 2.0
        }]
    );
    let wrong = text.replace("kind = \"clamp-slip\"", "kind = \"clampslip\"");
    let findings = VirtualRig::from_toml("belt.toml", &wrong, 1)
        .map(|_| ())
        .unwrap_err()
        .to_string();
    assert!(
        findings.contains("virtual.faults") && findings.contains("clampslip"),
        "{findings}"
    );
    let wrong = common::BELT.replace("dead_time = \"3.5 ms\"", "dead_time = \"3.5 N·m\"");
    assert_ne!(wrong, common::BELT);
    let findings = VirtualRig::from_toml("belt.toml", &wrong, 1)
        .map(|_| ())
        .unwrap_err()
        .to_string();
    assert!(findings.contains("virtual.firmware.dead_time"), "{findings}");
    let wrong = common::BELT.replace("step = \"25 us\"", "step = \"30 us\"");
    assert_ne!(wrong, common::BELT);
    let findings = VirtualRig::from_toml("belt.toml", &wrong, 1)
        .map(|_| ())
        .unwrap_err()
        .to_string();
    assert!(findings.contains("virtual.step"), "{findings}");
}
