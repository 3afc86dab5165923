//! What only shows over time, or before any torque: clocks that part, something that acts on a free rim or keeps it
//! going, and a rim that moves while stop and watchdog are proved.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers of a test may fail it

use acceptance::safety::Scene;
use acceptance::safety::scene::HOLD_FROM_US;
use bench_core::interlock::Condition;
use bench_core::run::End;
use rig_link::HostMessage;
use virtual_rig::faults::Fault;
use virtual_rig::{FaultKind, RigParameters};

/// What is recorded behind a trip at least when samples still come, µs.
const BEYOND_US: u64 = 200_000;

#[test]
fn a_rig_clock_that_runs_off_is_found_long_before_setpoints_are_late() {
    // 1 %, as of an RC oscillator.
    for share in [0.01, -0.01] {
        let played = Scene::new()
            .fault(FaultKind::ClockDrifts, HOLD_FROM_US, share)
            .play();
        let trip = played.tripped(Condition::ClockDrift);
        println!("{trip}");
        assert!(trip.measured * share > 0.0, "{trip}");
        // Since the greeting it has been right for most of the time: the mean rate is less than what it is now.
        assert!(
            trip.measured.abs() > 500.0 && trip.measured.abs() < 10_000.0,
            "{trip}"
        );
        // A round trip of 2 ms or so is left behind after 0.2 s at 1 %; another 0.1 s make sure.
        let zero = played.line.plan_zero().unwrap();
        assert!(trip.tick < zero + HOLD_FROM_US + 450_000, "{trip}");
        played.recorded_around(trip.tick, BEYOND_US);
    }
}

#[test]
fn a_crystal_that_is_off_by_twice_what_crystals_are_is_no_alarm() {
    for share in [2e-4, -2e-4] {
        let played = Scene::new().fault(FaultKind::ClockDrifts, 1_000, share).play();
        assert!(
            matches!(played.outcome.end, End::Completed),
            "{}",
            played.outcome.end
        );
    }
}

#[test]
fn a_hand_that_slows_a_free_rim_is_found() {
    // The push ends at 0.2 s; the rim coasts with 4 rad/s or so when 0.8 N·m are laid on it.
    let played = Scene::free().fault(FaultKind::RimGrabbed, 230_000, 0.8).play();
    let trip = played.tripped(Condition::TorqueUnaccounted);
    println!("{trip}");
    assert!(trip.measured < 0.0, "{trip}");
    let onset = played.line.plan_zero().unwrap() + 230_000;
    assert!(trip.tick < onset + 60_000, "{trip}");
    played.recorded_around(trip.tick, BEYOND_US);
}

#[test]
fn a_free_rim_that_friction_does_not_slow_is_found() {
    // 0.25 N·m in the direction of the coast: about what friction takes.
    let played = Scene::free()
        .fault(FaultKind::TorqueRunaway, 260_000, 0.25)
        .play();
    let trip = played.tripped(Condition::MotionAtZero);
    println!("{trip}");
    let onset = played.line.plan_zero().unwrap() + 260_000;
    assert!(trip.tick < onset + 800_000, "{trip}");
    played.recorded_around(trip.tick, BEYOND_US);
}

#[test]
fn what_moves_the_rim_while_stop_and_watchdog_are_proved_ends_the_run_before_any_setpoint() {
    let earlier: fn(&mut RigParameters) = |rig| rig.faults.push(struck(330_000));
    let later: fn(&mut RigParameters) = |rig| rig.faults.push(struck(500_000));
    for (at_us, change) in [(330_000, earlier), (500_000, later)] {
        let played = Scene::new().rig_by(change).play_unchecked();
        let End::Tripped(trip) = played.outcome.end else {
            panic!("{}", played.outcome.end)
        };
        println!("{trip}");
        assert!(trip.tick.abs_diff(at_us) < 20_000, "{trip}");
        let setpoints = |message: &HostMessage| matches!(message, HostMessage::Setpoints(_));
        assert!(!played.line.sent.iter().any(|(_, message)| setpoints(message)));
        assert!(played.outcome.zero_confirmed);
    }
}

/// A blow that the clamped rim's own limits of speed see.
const fn struck(start_tick: u64) -> Fault {
    Fault {
        kind: FaultKind::RimStruck,
        start_tick,
        size: 12.0,
    }
}
