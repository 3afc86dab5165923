//! However and whenever a run ends, it ends in a stop.

use alloc::string::ToString;

use rig_link::{HostMessage, RigState};

use super::{Bench, PHASES};
use crate::interlock::{Condition, State};
use crate::run::{End, StopCause};

#[test]
fn it_goes_through_every_phase_to_its_end() {
    let mut bench = Bench::new();
    let outcome = bench.finish();
    assert_eq!(outcome.end, End::Completed);
    assert!(outcome.zero_confirmed && outcome.was_armed);
    for phase in PHASES {
        assert!(
            bench.phases.contains(&phase),
            "never in {phase}: {:?}",
            bench.phases
        );
    }
    assert!(matches!(bench.last_word(), HostMessage::StopSampling(_)));
    // One wake in each quarter of the watchdog's time, and few more.
    assert!(
        bench.wakes < bench.now_us / 4_000,
        "{} wakes in {} µs",
        bench.wakes,
        bench.now_us
    );
}

#[test]
fn a_stop_ends_it_in_every_phase() {
    for phase in PHASES {
        let mut bench = Bench::new();
        bench.reach(phase);
        let stopped_us = bench.now_us;
        bench.run.stop(bench.now(), StopCause::Operator);
        bench.take();
        assert!(matches!(bench.last_word(), HostMessage::Stop(_)), "{phase}");
        let before = bench.sent.len();
        let outcome = bench.finish();
        assert_eq!(outcome.end, End::Stopped(StopCause::Operator), "{phase}");
        assert!(outcome.zero_confirmed, "{phase}");
        assert!(
            bench.sent[before..]
                .iter()
                .all(|m| matches!(m, HostMessage::Stop(_))),
            "{phase}"
        );
        assert_ne!(bench.peer.state(), RigState::Armed, "{phase}");
        assert!(
            bench.now_us - stopped_us <= 400_000,
            "{phase}: {} µs",
            bench.now_us - stopped_us
        );
    }
}

#[test]
fn a_second_cause_does_not_replace_the_first() {
    let mut bench = Bench::new();
    bench.reach("playing");
    bench.run.stop(bench.now(), StopCause::Terminated);
    bench.run.stop(bench.now(), StopCause::Operator);
    assert_eq!(bench.finish().end, End::Stopped(StopCause::Terminated));
}

#[test]
fn a_silent_rig_ends_it_in_every_phase() {
    for phase in PHASES {
        let mut bench = Bench::new();
        bench.reach(phase);
        let silent_us = bench.now_us;
        bench.peer.dead = true;
        let outcome = bench.finish();
        assert!(!outcome.zero_confirmed, "{phase}: {outcome:?}");
        assert_ne!(outcome.end, End::Completed, "{phase}");
        assert!(
            matches!(bench.last_word(), HostMessage::Stop(_)),
            "{phase}: {:?}",
            bench.last_word()
        );
        // A second for what is not urgent, half of one for the stop.
        assert!(
            bench.now_us - silent_us <= 1_600_000,
            "{phase}: {} µs",
            bench.now_us - silent_us
        );
    }
}

#[test]
fn a_lost_link_ends_it_at_once_in_every_phase() {
    for phase in PHASES {
        let mut bench = Bench::new();
        bench.reach(phase);
        let was_armed = bench.peer.state() == RigState::Armed;
        bench
            .run
            .stop(bench.now(), StopCause::LinkLost("gone".to_string()));
        bench.take();
        let outcome = bench.run.outcome().cloned().unwrap();
        assert_eq!(
            outcome.end,
            End::Stopped(StopCause::LinkLost("gone".to_string())),
            "{phase}"
        );
        assert!(!outcome.zero_confirmed, "{phase}");
        assert!(outcome.was_armed || !was_armed, "{phase}");
        assert!(matches!(bench.last_word(), HostMessage::Stop(_)), "{phase}");
    }
}

#[test]
fn a_link_lost_while_stopping_ends_the_waiting() {
    let mut bench = Bench::new();
    bench.reach("playing");
    bench.peer.dead = true;
    bench.run.stop(bench.now(), StopCause::Operator);
    bench.take();
    bench
        .run
        .stop(bench.now(), StopCause::LinkLost("gone".to_string()));
    let outcome = bench.run.outcome().cloned().unwrap();
    assert_eq!(outcome.end, End::Stopped(StopCause::Operator));
    assert!(outcome.was_armed && !outcome.zero_confirmed);
}

#[test]
fn rows_and_events_that_nobody_takes_end_it() {
    let mut bench = Bench::new();
    bench.reach("zeros before");
    let mut now_us = bench.now_us;
    // The peer goes on sampling; what the run puts out is left where it is.
    while bench.run.outcome().is_none() && now_us < 5_000_000 {
        now_us += 250;
        bench.peer.advance_to(now_us);
        let said = bench.peer.say();
        let now = crate::time::HostNs(now_us * 1_000);
        bench.run.receive(now, &said);
        let mut bytes = alloc::vec::Vec::new();
        bench.run.poll_transmit(&mut bytes);
        bench.peer.take(&bytes);
    }
    let outcome = bench.run.outcome().cloned().unwrap();
    let End::Tripped(trip) = outcome.end else {
        panic!("{outcome:?}")
    };
    assert_eq!(trip.condition, Condition::RecordingStalled);
    assert!(outcome.zero_confirmed);
}

#[test]
fn a_recording_that_does_not_keep_up_is_named() {
    let mut bench = Bench::new();
    bench.reach("playing");
    bench.run.recording_stalled(bench.now(), 640, 640);
    assert_eq!(bench.run.interlock().state(), State::Tripped);
    let End::Tripped(trip) = bench.finish().end else {
        panic!("not tripped")
    };
    assert_eq!(
        (trip.condition, trip.measured),
        (Condition::RecordingStalled, 640.0)
    );
    // Before torque is permitted there is nothing to take away.
    let mut early = Bench::new();
    early.reach("zeros before");
    early.run.recording_stalled(early.now(), 640, 640);
    assert!(matches!(
        early.finish().end,
        End::Stopped(StopCause::RecordingFailed(_))
    ));
}

#[test]
fn a_stop_waits_behind_nothing() {
    let mut bench = Bench::new();
    bench.reach("playing");
    // Later, setpoints are queued again and not yet taken by the drive.
    let next_us = bench.now_us + 2_000;
    bench.until(|bench| bench.now_us >= next_us);
    bench.now_us += 4_000;
    bench.run.wake(bench.now());
    bench.run.stop(bench.now(), StopCause::Operator);
    let mut bytes = alloc::vec::Vec::new();
    // What the port still holds is to be thrown away too.
    assert_eq!(bench.run.poll_transmit(&mut bytes), Some(true));
    // A delimiter of its own before each of three copies, and nothing else.
    assert_eq!(bytes.first(), Some(&0));
    let mut stops = 0;
    rig_link::Splitter::new().feed(&bytes, |frame| {
        let message = HostMessage::parse(frame.unwrap()).unwrap();
        assert!(matches!(message, HostMessage::Stop(_)), "{message:?}");
        stops += 1;
    });
    assert_eq!(stops, 3);
}

#[test]
fn a_stop_without_an_answer_is_sent_again_until_it_is_given_up() {
    let mut bench = Bench::new();
    bench.reach("playing");
    bench.peer.dead = true;
    let before = bench.sent.len();
    bench.run.stop(bench.now(), StopCause::Operator);
    bench.take();
    let outcome = bench.finish();
    assert!(outcome.was_armed && !outcome.zero_confirmed);
    // Three copies each 10 ms for half a second.
    let stops = bench.sent.len() - before;
    assert!((3 * 48..=3 * 51).contains(&stops), "{stops}");
}
