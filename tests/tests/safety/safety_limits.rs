//! The limits that both sides watch, each side alone: the rig controller ends torque within 2 ms of the violation, the
//! bench within 20 ms of virtual time, neither with the other's help.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers of a test may fail it

use acceptance::safety::line::Break;
use acceptance::safety::played::Reaction;
use acceptance::safety::scene::HOLD_FROM_US;
use acceptance::safety::{Look, Meddler, Played, Scene};
use bench_core::interlock::Condition;
use bench_core::rig::Limits;
use bench_core::run::{End, StopCause};
use rig_link::RigState;
use virtual_rig::FaultKind;

/// The rig controller's share: from the violation at the sensor to zero torque asked of the motor (PROTOCOL.md 8).
const RIG_US: u64 = 2_000;
/// The bench's, the line included.
const BENCH_US: u64 = 20_000;
/// Time in which the motor's current dies away once nothing is asked of it, µs.
const CURRENT_US: u64 = 2_000;

/// A violation that rig and bench both watch for.
struct Case {
    /// In which the bench is frozen just before.
    at_rig: fn() -> Scene,
    /// In which no other condition of the bench comes first.
    scene: fn() -> Scene,
    condition: Condition,
    /// What the rig calls it.
    rig_says: &'static str,
    /// Switches the rig's limit off.
    loosen: fn(&mut rig_link::message::Configuration),
    /// The violation, as nobody but the simulation sees it.
    onset: Onset,
}

enum Onset {
    Seen(fn(&Limits, &Look) -> bool),
    /// µs after the fault.
    After(u64),
}

/// The clamp lets go of the rim while 2.1 N·m push it. The bench sees at once that the rim is not where the torque
/// twists it to, so that its own window and speed limit are looked at on a free rim.
fn slip() -> Scene {
    Scene::new().fault(FaultKind::ClampSlip, HOLD_FROM_US, 0.1)
}

fn strained() -> Scene {
    Scene::new()
        .rig_with("\ntorque = \"7 N·m\"", "\ntorque = \"4 N·m\"")
        .rig_with("sensor_torque = \"15 N·m\"", "sensor_torque = \"5 N·m\"")
        .fault(FaultKind::TorqueRunaway, HOLD_FROM_US, 6.5)
}

/// From some 22 °C at 1,000 K/s; the sensor's noise of 0.05 K is worth 50 µs.
fn warming() -> Scene {
    Scene::new()
        .rig_with("temperature = \"80 °C\"", "temperature = \"32 °C\"")
        .fault(FaultKind::TemperatureClimb, HOLD_FROM_US, 1_000.0)
}

fn cases() -> [Case; 4] {
    [
        Case {
            at_rig: || {
                slip()
                    .rig_with("sensor_torque = \"15 N·m\"", "sensor_torque = \"8 N·m\"")
                    .rig_with("[\"-3 deg\", \"3 deg\"]", "[\"-0.15 deg\", \"0.15 deg\"]")
            },
            // The first push of 0.6 N·m turns the rim by more than that.
            scene: || {
                Scene::free()
                    .rig_with("[\"-270 deg\", \"270 deg\"]", "[\"-3 deg\", \"3 deg\"]")
                    .watch_from(90_000)
            },
            condition: Condition::RimWindow,
            rig_says: "rim window",
            loosen: |c| (c.window_low_urad, c.window_high_urad) = (-10_000_000, 10_000_000),
            onset: Onset::Seen(|limits, look| look.rim_rad.abs() > limits.rim_window_rad[1]),
        },
        Case {
            at_rig: || slip().rig_with("rim_speed = \"5 rad/s\"", "rim_speed = \"1.2 rad/s\""),
            // The first push comes out twice as strong: as fast as one of a motor that gives a quarter more could make a
            // rim without friction, and faster than the limit.
            scene: || {
                Scene::free()
                    .rig_with("rim_speed = \"10 rad/s\"", "rim_speed = \"5.5 rad/s\"")
                    .fault(FaultKind::TorqueRunaway, 101_000, 1.1)
            },
            condition: Condition::RimSpeed,
            rig_says: "rim speed",
            loosen: |c| c.rim_speed_limit_mrad_s = 60_000,
            onset: Onset::Seen(|limits, look| look.rim_rad_s.abs() > limits.rim_speed_rad_s),
        },
        Case {
            at_rig: strained,
            scene: strained,
            condition: Condition::SensorTorque,
            rig_says: "sensor torque",
            loosen: |c| c.sensor_torque_limit_mnm = 19_000,
            onset: Onset::Seen(|limits, look| look.rim_nm.abs() > limits.sensor_torque_nm),
        },
        Case {
            at_rig: warming,
            scene: warming,
            condition: Condition::Temperature,
            rig_says: "temperature",
            loosen: |c| c.temperature_limit_cdeg = 10_000,
            onset: Onset::After(9_500),
        },
    ]
}

impl Case {
    fn reaction(&self, played: &Played) -> Reaction {
        match self.onset {
            Onset::Seen(wrong) => {
                let limits = played.bounds.limits;
                played.reaction(move |look| wrong(&limits, look))
            }
            Onset::After(us) => played.reaction_from(played.line.plan_zero().unwrap() + HOLD_FROM_US + us),
        }
    }
}

#[test]
fn the_rig_controller_alone_ends_torque_within_two_milliseconds() {
    for case in cases() {
        let played = (case.at_rig)().break_at(HOLD_FROM_US, Break::Freeze).play();
        let reaction = case.reaction(&played);
        println!("{}: {reaction:?}", case.condition.name());
        // It was armed up to the violation: neither watchdog nor expiry had a part in it.
        assert!(
            reaction.asked_us <= RIG_US,
            "{}: {reaction:?}",
            case.condition.name()
        );
        assert!(
            reaction.zero_us <= RIG_US + CURRENT_US,
            "{}: {reaction:?}",
            case.condition.name()
        );
        assert_eq!(played.line.rig().truth().state, RigState::Tripped);
        assert!(
            matches!(played.outcome.end, End::Stopped(StopCause::LinkLost(_))),
            "{:?}",
            played.outcome
        );
        assert!(played.outcome.was_armed && !played.outcome.zero_confirmed);
    }
}

#[test]
fn the_bench_alone_ends_torque_within_twenty_milliseconds() {
    for case in cases() {
        let played = (case.scene)()
            .meddler(Meddler::default().loosen(case.loosen))
            .play();
        let trip = played.tripped(case.condition);
        let reaction = case.reaction(&played);
        println!("{}: {reaction:?}, {trip}", case.condition.name());
        assert!(reaction.zero_us <= BENCH_US, "{reaction:?}");
        assert!(trip.measured.abs() > trip.limit.abs(), "{trip}");
        assert!(trip.tick.abs_diff(reaction.onset) <= BENCH_US, "{trip}");
        played.recorded_around(trip.tick, 200_000);
    }
}

#[test]
fn with_both_the_rig_is_first_and_the_bench_says_what_it_named() {
    for case in cases() {
        let played = (case.scene)().play();
        let trip = played.tripped(Condition::RigStopped);
        assert_eq!(trip.detail, case.rig_says);
        let reaction = case.reaction(&played);
        assert!(reaction.asked_us <= RIG_US, "{reaction:?}");
        played.recorded_around(trip.tick, 200_000);
    }
}

#[test]
fn nothing_wrong_runs_to_its_end() {
    let played = Scene::new().play();
    assert_eq!(played.outcome.end, End::Completed);
    assert!(played.outcome.zero_confirmed);
    let after_nm = played.outcome.torque_after_nm.unwrap();
    assert!(
        after_nm.abs() < 0.3,
        "{after_nm} N·m after the end, friction is less"
    ); // 0.25 N·m of Coulomb friction
    assert_eq!(
        played.recording().completion(),
        Some(&truerim::recording::Completion::Complete)
    );
}
