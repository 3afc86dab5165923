//! Ends other than trips, in lock-step: who stops a run, what is left when link, disk or program fail, and what is
//! said when nobody can vouch for zero torque.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers of a test may fail it

use std::cell::RefCell;
use std::rc::Rc;

use acceptance::safety::line::Break;
use acceptance::safety::scene::HOLD_FROM_US;
use acceptance::safety::{Meddler, Played, Scene};
use bench_core::interlock::Condition;
use bench_core::run::{End, Failure, RunEvent, StopCause};
use rig_link::message::Stopped;
use rig_link::{HostMessage, RefusalCode, RigMessage, RigState, StopMode, StopReason};
use truerim::drive::StopFlag;
use truerim::recording::{Completion, Recording, RecordingWriter};
use virtual_rig::FaultKind;

/// From a stop that is asked for to a motor without torque, µs: the longest look away from the flag, and the current.
const STOP_US: u64 = 8_000;

fn completion(played: &Played) -> Completion {
    match &played.sealed {
        Some(Ok(_)) => {}
        other => panic!("not sealed: {other:?}"),
    }
    played.recording().completion().cloned().unwrap()
}

fn ended_in(played: &Played, limit_us: u64) {
    let reaction = played.reaction_from(played.line.plan_zero().unwrap() + HOLD_FROM_US);
    println!("{reaction:?}");
    assert!(reaction.zero_us <= limit_us, "{reaction:?}");
}

/// Somebody who does something once, so long after the plan's zero as seen by the ticks of the batches.
fn once_at(
    at_us: u64,

    mut act: impl FnMut() -> Result<(), String> + 'static,
) -> acceptance::safety::scene::Bystander {
    let mut zero = None;
    let mut done = false;
    Box::new(move |event| {
        match event {
            RunEvent::PlanStarted { tick } => zero = Some(*tick),
            RunEvent::Arrival { tick, .. } if zero.is_some_and(|zero| *tick >= zero + at_us) && !done => {
                done = true;
                return act();
            }
            _ => {}
        }
        Ok(())
    })
}

#[test]
fn the_operator_stops_it() {
    let flag = StopFlag::new();
    let hand = flag.clone();
    let press = once_at(HOLD_FROM_US, move || {
        hand.stop();
        Ok(())
    });
    let played = Scene::new().stop(flag).bystander(press).play();
    assert_eq!(played.outcome.end, End::Stopped(StopCause::Operator));
    assert!(played.outcome.zero_confirmed);
    assert!(
        played.stop_reasons().ends_with(&[StopReason::Operator; 3]),
        "{:?}",
        played.stop_reasons()
    );
    ended_in(&played, STOP_US);
    assert_eq!(
        completion(&played),
        Completion::Stopped {
            cause: "stopped by the operator".to_owned()
        }
    );
    played.recorded_around(played.line.plan_zero().unwrap() + HOLD_FROM_US, 200_000);
}

#[test]
fn an_operator_who_stops_before_it_began_is_heard() {
    let flag = StopFlag::new();
    flag.stop();
    let played = Scene::new().stop(flag).play();
    assert_eq!(played.outcome.end, End::Stopped(StopCause::Operator));
    assert!(!played.outcome.was_armed && !played.sent_setpoints());
}

#[test]
fn a_link_that_is_lost_leaves_the_rig_to_its_watchdog() {
    let played = Scene::new().break_at(HOLD_FROM_US, Break::Unplug).play();
    let End::Stopped(StopCause::LinkLost(why)) = &played.outcome.end else {
        panic!("{:?}", played.outcome)
    };
    assert!(why.contains("the test's line"), "{why}");
    assert!(played.outcome.was_armed && !played.outcome.zero_confirmed);
    let Completion::Stopped { cause } = completion(&played) else {
        panic!("{:?}", completion(&played))
    };
    assert!(cause.contains("the link to the rig is lost"), "{cause}");
    // Nobody moved the rig's time on behind the break: now it does, and the watchdog ends torque by itself.
    let Played { mut line, .. } = played;
    assert_eq!(line.rig().truth().state, RigState::Armed);
    let tick = line.rig().tick();
    line.rig_mut().advance_to(tick + 24_000);
    assert_eq!(line.rig().truth().state, RigState::Tripped);
    assert!(line.rig().motor_torque_nm().abs() < 0.02);
}

#[test]
fn a_host_that_freezes_leaves_the_rig_to_its_watchdog() {
    let played = Scene::new().break_at(HOLD_FROM_US, Break::Freeze).play();
    assert!(matches!(played.outcome.end, End::Stopped(StopCause::LinkLost(_))));
    assert_eq!(played.line.rig().truth().state, RigState::Tripped);
    // 20 ms of watchdog, the last keep-alive up to 5 ms before, a control step, and the current's decay.
    ended_in(&played, 22_500);
}

#[test]
fn a_recording_that_fails_ends_the_run() {
    let played = Scene::new()
        .bystander(once_at(HOLD_FROM_US, || Err("no such luck".to_owned())))
        .play();
    assert_eq!(
        played.outcome.end,
        End::Stopped(StopCause::RecordingFailed("no such luck".to_owned()))
    );
    assert!(played.outcome.zero_confirmed);
    ended_in(&played, STOP_US);
}

#[test]
fn a_recording_that_does_not_keep_up_trips_by_its_name() {
    let played = Scene::new()
        .bystander(once_at(HOLD_FROM_US, || Err("the queue is full".to_owned())))
        .queue_full()
        .play();
    let End::Tripped(trip) = &played.outcome.end else {
        panic!("{:?}", played.outcome)
    };
    assert_eq!(trip.condition.name(), "recording-stalled");
    assert!(trip.to_string().contains("640"), "{trip}");
    assert!(played.outcome.zero_confirmed);
    ended_in(&played, STOP_US);
}

/// A file system of its own, if this user may make one.
struct SmallDisk {
    folder: tempfile::TempDir,
}

impl SmallDisk {
    fn new() -> Option<Self> {
        let folder = tempfile::tempdir().unwrap();
        let mounted = std::process::Command::new("mount")
            .args(["-t", "tmpfs", "-o", "size=20m", "tmpfs"])
            .arg(folder.path())
            .status();
        mounted
            .is_ok_and(|status| status.success())
            .then_some(Self { folder })
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = std::process::Command::new("umount")
            .arg("-l")
            .arg(self.folder.path())
            .status();
    }
}

#[test]
fn a_disk_that_fills_up_ends_the_run() {
    let Some(disk) = SmallDisk::new() else {
        println!("no right to mount a small disk here; the reserve on the real one must do");
        reserve_that_is_not_there();
        return;
    };
    let path = disk.folder.path().join("recording.h5");
    let filler = disk.folder.path().join("filler");
    // In lock-step the writer may lag by the 10 s that its queue holds: so much must be there before and after.
    const FILL_US: u64 = 13_000_000;
    // Somebody else's file leaves less than the writer's reserve, in the middle of the hold.
    let fill = once_at(FILL_US, move || {
        std::fs::write(&filler, vec![1_u8; 8 << 20]).unwrap();
        Ok(())
    });
    let played = Scene::new()
        .procedure_with("hold = \"600 ms\"", "hold = \"26 s\"")
        .watch_from(u64::MAX)
        .record_to(path.clone())
        .bystander(fill)
        .play();
    let End::Stopped(StopCause::RecordingFailed(why)) = &played.outcome.end else {
        panic!("{:?}", played.outcome)
    };
    assert!(why.contains("free"), "{why}");
    assert!(played.outcome.zero_confirmed);
    assert!(matches!(played.sealed, Some(Err(_))), "{:?}", played.sealed);
    // What was safe before can be recovered elsewhere.
    let folder = tempfile::tempdir().unwrap();
    let whole = folder.path().join("whole.h5");
    truerim::recording::recover(&path, &whole).unwrap();
    assert!(Recording::open(&whole).unwrap().rows() > 4_000);
    reserve_that_is_not_there();
}

/// A writer that is to keep more free than there is says so before anything is armed.
fn reserve_that_is_not_there() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("recording.h5");
    let played = Scene::new().play();
    let recording = played.recording();
    let error = RecordingWriter::create_with_reserve(&path, recording.header(), u64::MAX)
        .err()
        .unwrap();
    assert!(error.to_string().contains("free"), "{error}");
    assert!(!path.exists());
}

#[test]
fn a_recording_that_cannot_be_made_arms_nothing() {
    let played = Scene::new()
        .record_to("/nowhere/at/all/recording.h5".into())
        .play();
    assert!(
        matches!(played.outcome.end, End::Stopped(StopCause::RecordingFailed(_))),
        "{:?}",
        played.outcome
    );
    assert!(!played.outcome.was_armed && !played.sent_setpoints());
}

#[test]
fn a_panic_of_this_program_ends_in_a_stop() {
    let before = std::panic::take_hook();
    std::panic::set_hook(Box::new(|_| {})); // this one is wanted: no trace of it in the output
    let played = Scene::new()
        .bystander(once_at(HOLD_FROM_US, || panic!("a fault that was put in")))
        .play();
    std::panic::set_hook(before);
    let End::Stopped(StopCause::ProgramFault(what)) = &played.outcome.end else {
        panic!("{:?}", played.outcome)
    };
    assert_eq!(what, "a fault that was put in (a stop was sent)");
    assert!(played.outcome.was_armed && !played.outcome.zero_confirmed);
    assert!(played.stop_reasons().ends_with(&[StopReason::Failure; 3]));
    let Played { mut line, .. } = played;
    assert_ne!(line.rig().truth().state, RigState::Armed);
    let tick = line.rig().tick();
    line.rig_mut().advance_to(tick + 300_000); // it brakes until the rim rests
    assert!(line.rig().motor_torque_nm().abs() < 0.02);
}

#[test]
fn nobody_permits_torque() {
    let played = Scene::new().without_permit().play();
    assert_eq!(played.outcome.end, End::Failed(Failure::NoPermit));
    assert!(!played.outcome.was_armed && !played.sent_setpoints());
    assert!(
        !played
            .line
            .sent
            .iter()
            .any(|(_, message)| matches!(message, HostMessage::ArmRequest(_)))
    );
}

#[test]
fn arming_that_is_refused_sends_no_setpoint() {
    let other_limits = Meddler::default().to_rig_by(Box::new(|_, message, pass| match message {
        HostMessage::ArmRequest(mut request) => {
            request.configuration_crc ^= 1;
            pass(HostMessage::ArmRequest(request));
        }
        other => pass(other),
    }));
    let played = Scene::new().meddler(other_limits).play();
    let End::Failed(Failure::Refused { asked, code, .. }) = played.outcome.end else {
        panic!("{:?}", played.outcome)
    };
    assert_eq!((asked, code), ("to arm", RefusalCode::WrongConfiguration));
    assert!(!played.outcome.was_armed && !played.sent_setpoints());
}

#[test]
fn nothing_is_armed_with_the_emergency_stop_pressed() {
    // Pressed as the run begins: the input is open before the zeros are taken.
    let pressed = Scene::new()
        .rig_with(
            "# Faults can be scripted, any number of them:",
            "[[virtual.faults]]\nkind = \"emergency-stop\"\nstart = \"0 s\"\n#",
        )
        .play();
    assert_eq!(pressed.outcome.end, End::Failed(Failure::EmergencyStopOpen));
    assert!(!pressed.outcome.was_armed && !pressed.sent_setpoints());
}

#[test]
fn a_confirmation_of_arming_is_asked_for_once() {
    let deaf = Meddler::default().to_rig_by(Box::new(|_, message, pass| {
        if !matches!(message, HostMessage::ArmConfirm(_)) {
            pass(message);
        }
    }));
    let played = Scene::new().meddler(deaf).play();
    assert!(
        matches!(
            played.outcome.end,
            End::Failed(Failure::NoAnswer {
                asked: "to confirm arming",
                waited_ms: 100
            })
        ),
        "{:?}",
        played.outcome
    );
    let confirms = played
        .line
        .sent
        .iter()
        .filter(|(_, message)| matches!(message, HostMessage::ArmConfirm(_)));
    assert_eq!(confirms.count(), 1);
}

#[test]
fn a_rig_that_ignores_stop_is_not_armed_with_torque() {
    let played = Scene::new()
        .rig_with(
            "# Faults can be scripted, any number of them:",
            "[[virtual.faults]]\nkind = \"ignore-stop\"\nstart = \"0 s\"\n#",
        )
        .play();
    assert!(
        matches!(
            played.outcome.end,
            End::Failed(Failure::ProofFailed {
                what: "stop",
                measured_us: None,
                ..
            })
        ),
        "{:?}",
        played.outcome
    );
    assert!(played.outcome.was_armed && !played.outcome.zero_confirmed);
    assert!(!played.sent_setpoints());
    // Its own watchdog ended it, because nothing fed it any more.
    assert_eq!(played.line.rig().truth().state, RigState::Tripped);
}

#[test]
fn a_rig_that_turns_deaf_to_stop_is_not_confirmed_and_its_watchdog_is_not_fed() {
    let flag = StopFlag::new();
    let hand = flag.clone();
    let press = once_at(HOLD_FROM_US, move || {
        hand.stop();
        Ok(())
    });
    let played = Scene::new()
        .stop(flag)
        .bystander(press)
        .fault(FaultKind::IgnoreStop, HOLD_FROM_US, 0.0)
        .play();
    assert_eq!(played.outcome.end, End::Stopped(StopCause::Operator));
    assert!(
        played.outcome.was_armed && !played.outcome.zero_confirmed,
        "{:?}",
        played.outcome
    );
    // Not confirmed, and still ended: no keep-alive after the first stop.
    ended_in(&played, STOP_US + 22_500);
    let zero = played.line.plan_zero().unwrap();
    let after = played.line.sent.iter().filter(|(tick, _)| *tick > zero);
    let words: Vec<&HostMessage> = after.map(|(_, message)| message).collect();
    let first_stop = words
        .iter()
        .position(|message| matches!(message, HostMessage::Stop(_)))
        .unwrap();
    assert!(
        words[first_stop..]
            .iter()
            .all(|message| matches!(message, HostMessage::Stop(_)))
    );
    // It is asked again and again, three times each, until it is given up after half a second.
    assert!(words.len() - first_stop >= 3 * 40, "{}", words.len() - first_stop);
}

#[test]
fn a_deaf_rig_at_the_planned_end_is_no_completed_run() {
    let played = Scene::new()
        .fault(FaultKind::IgnoreStop, HOLD_FROM_US, 0.0)
        .play();
    assert!(
        matches!(
            played.outcome.end,
            End::Failed(Failure::NoAnswer {
                asked: "the stop at the end",
                waited_ms: 100
            })
        ),
        "{:?}",
        played.outcome
    );
    assert!(played.outcome.was_armed && !played.outcome.zero_confirmed);
    assert_eq!(played.line.rig().truth().state, RigState::Tripped);
}

/// The rig answers every stop and carries none out.
fn liar() -> Meddler {
    let stopped_at = Rc::new(RefCell::new(None));
    let seen = Rc::clone(&stopped_at);
    Meddler::default()
        .to_rig_by(Box::new(move |moment, message, pass| {
            if moment.plan_us > 0 && matches!(message, HostMessage::Stop(_)) {
                *stopped_at.borrow_mut() = Some(moment.tick);
            } else {
                pass(message);
            }
        }))
        .to_bench_by(Box::new(move |moment, message, pass| {
            if seen.borrow_mut().take().is_some() {
                let answer = Stopped {
                    tick: moment.tick,
                    mode: StopMode::Coast,
                    state: RigState::Ready,
                };
                pass(RigMessage::Stopped(answer));
            }
            pass(*message);
            0
        }))
}

#[test]
fn a_rig_that_says_stopped_and_stays_armed_is_not_believed() {
    let flag = StopFlag::new();
    let hand = flag.clone();
    let press = once_at(HOLD_FROM_US, move || {
        hand.stop();
        Ok(())
    });
    let played = Scene::new().stop(flag).bystander(press).meddler(liar()).play();
    assert_eq!(played.outcome.end, End::Stopped(StopCause::Operator));
    assert!(
        played.outcome.was_armed && !played.outcome.zero_confirmed,
        "{:?}",
        played.outcome
    );
}

/// The sensor's counts are 2.5 µN·m each: 2 N·m more from the moment on at which the rig was stopped at the end.
fn torque_that_stays() -> Meddler {
    Meddler::default().to_bench_by(Box::new(|moment, message, pass| {
        match message {
            RigMessage::Samples(samples)
                if moment.plan_us > HOLD_FROM_US && samples.state != RigState::Armed =>
            {
                let changed =
                    acceptance::safety::meddling::with_rows(samples, |_, counts| counts[1] += 800_000);
                pass(RigMessage::Samples(
                    changed.message(samples.state, samples.credit).unwrap(),
                ));
            }
            other => pass(*other),
        }
        0
    }))
}

#[test]
fn torque_that_stays_after_a_confirmed_stop_is_told() {
    // At the planned end ...
    let played = Scene::new().meddler(torque_that_stays()).play();
    let End::Failed(Failure::TorqueRemains {
        measured_nm,
        limit_nm,
    }) = &played.outcome.end
    else {
        panic!("{:?}", played.outcome)
    };
    assert!(
        (measured_nm - 2.0).abs() < 0.3 && (limit_nm - 1.4).abs() < 1e-9,
        "{measured_nm} {limit_nm}"
    );
    assert!(played.outcome.was_armed && !played.outcome.zero_confirmed);
    // ... and after a trip.
    let played = Scene::new()
        .meddler(torque_that_stays())
        .fault(FaultKind::EmergencyStop, HOLD_FROM_US, 0.0)
        .play();
    let End::Tripped(trip) = &played.outcome.end else {
        panic!("{:?}", played.outcome)
    };
    assert_eq!(trip.condition, Condition::EmergencyStop);
    assert!(played.outcome.was_armed && !played.outcome.zero_confirmed);
    assert!((played.outcome.torque_after_nm.unwrap() - 2.0).abs() < 0.3);
}
