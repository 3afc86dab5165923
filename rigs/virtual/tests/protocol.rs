//! The rig controller against PROTOCOL.md, chapter 7: messages by state, arming, playing, stopping.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers count as production code

mod common;

use common::bench::{Bench, Said, configuration, rows};
use rig_link::message::{
    ArmConfirm, ArmRequest, ClearTrip, DescribeChannel, Empty, Hello, KeepAlive, Setpoints, Stop,
};
use rig_link::{
    ARM_IDLE_US, CHALLENGE_VALID_US, EventCode, HORIZON_US, HostMessage, RefusalCode, RigState, StopMode,
    StopReason, TripCause,
};

fn refused(said: &[Said]) -> (RefusalCode, i32) {
    match said {
        [Said::Refused(_, code, detail)] => (*code, *detail),
        other => panic!("not one refusal: {other:?}"),
    }
}

#[test]
fn powers_up_idle_and_says_who_it_is() {
    let mut bench = Bench::new(1);
    assert_eq!(bench.hear(), [Said::Event(0, EventCode::Booted, 0)]);
    let said = bench.send(HostMessage::Hello(Hello {
        major: 1,
        minor: 0,
        nonce: 77,
    }));
    let [Said::Identity(identity)] = said.as_slice() else {
        panic!("{said:?}")
    };
    assert_eq!(
        (identity.nonce, identity.channels, identity.queue_capacity),
        (77, 7, 256)
    );
    common::close(identity.full_scale_nm, 8.0, 0.0, "full scale");
    for index in 0..7 {
        let said = bench.send(HostMessage::DescribeChannel(DescribeChannel { index }));
        assert!(matches!(said.as_slice(), [Said::Channel(channel)] if channel.index == index));
    }
    let said = bench.send(HostMessage::DescribeChannel(DescribeChannel { index: 7 }));
    assert_eq!(refused(&said), (RefusalCode::OutOfRange, 0));
    let said = bench.send(HostMessage::Hello(Hello {
        major: 2,
        minor: 0,
        nonce: 77,
    }));
    assert_eq!(refused(&said), (RefusalCode::Version, 1));
    bench.wait(100_000);
    assert_eq!(bench.status().state, RigState::Idle);
    common::close(bench.rig.motor_torque_nm(), 0.0, 0.0, "torque at power-up");
}

/// Every message that a state does not allow, with the state in the refusal.
#[test]
fn messages_by_state() {
    let wrong = |bench: &mut Bench, state: RigState, messages: &[HostMessage]| {
        for message in messages {
            let said = bench.send(*message);
            assert_eq!(
                refused(&said),
                (RefusalCode::WrongState, i32::from(state.code())),
                "{message:?} in {state:?}"
            );
            assert_eq!(bench.status().state, state);
        }
    };
    let configure = HostMessage::Configure(configuration());
    let request = HostMessage::ArmRequest(ArmRequest { configuration_crc: 0 });
    let confirm = HostMessage::ArmConfirm(ArmConfirm {
        challenge: 0,
        configuration_crc: 0,
    });
    let setpoints = HostMessage::Setpoints(Setpoints::new(0, 1, false, &[0]).unwrap());
    let clear = HostMessage::ClearTrip(ClearTrip { trips: 0 });
    let start = HostMessage::StartSampling(Empty);
    let end = HostMessage::StopSampling(Empty);

    let mut bench = Bench::new(1);
    bench.hear();
    wrong(
        &mut bench,
        RigState::Idle,
        &[start, request, confirm, setpoints, clear],
    );
    assert!(matches!(bench.send(end).as_slice(), [Said::Status(_)]));
    assert!(matches!(
        bench.stop(StopMode::Brake).as_slice(),
        [Said::Stopped(_, StopMode::Coast, RigState::Idle)]
    ));
    bench.configure(configuration());
    wrong(&mut bench, RigState::Ready, &[setpoints, clear]);
    assert_eq!(refused(&bench.send(confirm)), (RefusalCode::WrongChallenge, 0));
    assert!(matches!(
        bench.stop(StopMode::Brake).as_slice(),
        [Said::Stopped(_, StopMode::Coast, RigState::Ready)]
    ));
    bench.arm(configuration());
    wrong(
        &mut bench,
        RigState::Armed,
        &[configure, end, request, confirm, clear],
    );
    assert!(matches!(bench.send(start).as_slice(), [Said::Status(status)] if status.sampling));
    bench.stop(StopMode::Brake);
    wrong(
        &mut bench,
        RigState::Stopping,
        &[configure, request, confirm, setpoints, clear],
    );
    bench.live(600_000);
    bench.arm(configuration());
    bench.wait(25_000); // no keep-alive
    wrong(
        &mut bench,
        RigState::Tripped,
        &[configure, request, confirm, setpoints],
    );
    assert_eq!(
        refused(&bench.send(clear)),
        (RefusalCode::CauseRemains, 0),
        "an old copy clears nothing"
    );
}

#[test]
fn arming_takes_two_steps_in_time_and_the_right_configuration() {
    let mut bench = Bench::new(2);
    let crc = bench.configure(configuration());
    bench.live(5_000);
    let ask = |bench: &mut Bench, crc: u32| {
        bench.send(HostMessage::ArmRequest(ArmRequest {
            configuration_crc: crc,
        }))
    };
    assert_eq!(
        refused(&ask(&mut bench, crc ^ 1)),
        (RefusalCode::WrongConfiguration, crc as i32)
    );
    assert_eq!(
        refused(&ask(&mut bench, crc)),
        (RefusalCode::WrongState, 1),
        "without sampling"
    );
    bench.send(HostMessage::StartSampling(Empty));
    bench.live(5_000);
    let first = bench.challenge(crc);
    assert_eq!(
        refused(&bench.confirm(first ^ 1, crc)),
        (RefusalCode::WrongChallenge, 0)
    );
    assert_eq!(
        refused(&bench.confirm(first, crc)),
        (RefusalCode::WrongChallenge, 0),
        "used up"
    );
    let second = bench.challenge(crc);
    assert_ne!(first, second);
    bench.live(u64::from(CHALLENGE_VALID_US) + 1_000);
    assert_eq!(
        refused(&bench.confirm(second, crc)),
        (RefusalCode::WrongChallenge, 0),
        "too old"
    );
    let third = bench.challenge(crc);
    bench.stop(StopMode::Coast);
    assert_eq!(
        refused(&bench.confirm(third, crc)),
        (RefusalCode::WrongChallenge, 0),
        "void after a stop"
    );
    let fourth = bench.challenge(crc);
    bench.wait(20_001);
    assert_eq!(
        refused(&bench.confirm(fourth, crc)),
        (RefusalCode::WrongState, 1),
        "no fresh keep-alive"
    );
    bench.live(5_000);
    let fifth = bench.challenge(crc);
    assert!(matches!(
        bench.confirm(fifth, crc).last(),
        Some(Said::Event(_, EventCode::Armed, 0))
    ));
}

#[test]
fn nothing_is_applied_wider_than_asked_and_nonsense_is_refused() {
    let mut bench = Bench::new(1);
    bench.hear();
    let asked = rig_link::message::Configuration {
        sample_period_us: 215,
        temperature_limit_cdeg: 20_000,
        sensor_torque_limit_mnm: 1_000_000,
        rim_speed_limit_mrad_s: 1_000_000,
        ..configuration()
    };
    let said = bench.send(HostMessage::Configure(asked));
    let [Said::Configured(configured)] = said.as_slice() else {
        panic!("{said:?}")
    };
    let applied = configured.applied;
    assert_eq!(configured.crc, applied.crc());
    assert_eq!(applied.sample_period_us, 225, "rounded up to the step");
    assert_eq!(applied.temperature_limit_cdeg, 11_000);
    assert_eq!(applied.sensor_torque_limit_mnm, 19_000);
    assert_eq!(applied.rim_speed_limit_mrad_s, 60_000);
    let said = bench.send(HostMessage::Configure(rig_link::message::Configuration {
        watchdog_us: 1,
        ..asked
    }));
    assert_eq!(refused(&said), (RefusalCode::OutOfRange, 9));
    assert_eq!(bench.status().state, RigState::Ready, "the one before stays");
}

#[test]
fn setpoints_play_at_their_ticks_and_samples_show_it() {
    let mut bench = Bench::new(3);
    bench.arm(configuration());
    let start = bench.rig.tick().next_multiple_of(1_000) + 2_000;
    let values: Vec<i16> = (0..20).map(|k| 100 * k).collect();
    assert!(bench.setpoints(start, 1_000, false, &values).is_empty());
    assert_eq!(bench.status().credit, 256 - 20);
    bench.setpoints(start + 20_000, 1_000, true, &[0]);
    let said = bench.live(30_000);
    let mut checked = 0;
    for (tick, row) in rows(&said) {
        let expected = if tick < start || tick >= start + 20_000 {
            0
        } else {
            100 * ((tick - start) / 1_000) as i32
        };
        assert_eq!(row[0], expected, "at {tick}");
        checked += 1;
    }
    assert!(checked > 100, "{checked} rows");
    let status = bench.status();
    assert_eq!(
        (status.underruns, status.credit, status.state),
        (0, 256, RigState::Armed)
    );
    // Zero after an end mark neither expires nor disarms, until it has lasted long enough.
    let said = bench.live(ARM_IDLE_US - 100_000);
    assert!(
        !said.iter().any(|s| matches!(s, Said::Event(..))),
        "nothing happens before"
    );
    let said = bench.live(100_000);
    let events: Vec<_> = said.iter().filter(|s| matches!(s, Said::Event(..))).collect();
    assert!(matches!(
        events.as_slice(),
        [
            Said::Event(_, EventCode::ArmIdle, 0),
            Said::Event(_, EventCode::Disarmed, 1)
        ]
    ));
    assert_eq!(bench.status().state, RigState::Ready);
}

#[test]
fn bad_streams_are_refused_whole() {
    let mut bench = Bench::new(3);
    bench.arm(configuration());
    let now = bench.rig.tick();
    assert_eq!(
        refused(&bench.setpoints(now + 1_000, 1, true, &[3])),
        (RefusalCode::NotZero, 3)
    );
    assert!(bench.setpoints(now + 5_000, 1_000, false, &[1, 2, 3]).is_empty());
    let said = bench.setpoints(now + 7_000, 1_000, false, &[4]);
    assert_eq!(refused(&said), (RefusalCode::OutOfOrder, (now + 7_000) as i32));
    assert_eq!(
        refused(&bench.setpoints(now + HORIZON_US + 1, 1, false, &[0])),
        (RefusalCode::OutOfRange, 0)
    );
    assert_eq!(
        refused(&bench.setpoints(now + HORIZON_US, 1, false, &[0, 0])),
        (RefusalCode::OutOfRange, 1)
    );
    for k in 0..3 {
        assert!(
            bench
                .setpoints(now + 10_000 + k * 64, 1, false, &[0; 64])
                .is_empty()
        );
    }
    assert_eq!(
        refused(&bench.setpoints(now + 20_000, 1, false, &[0; 64])),
        (RefusalCode::QueueFull, 61)
    );
    assert_eq!(bench.status().credit, 61);
}

#[test]
fn late_setpoints_are_discarded_and_told() {
    let mut bench = Bench::new(3);
    bench.arm(configuration());
    let now = bench.rig.tick();
    let said = bench.setpoints(now - 1_500, 1_000, false, &[10, 20, 30]);
    assert_eq!(said, [Said::Event(now, EventCode::LateSetpoint, 1_500)]);
    assert_eq!(bench.status().late_setpoints, 2);
    bench.wait(600);
    let said = bench.wait(2_000);
    assert_eq!(rows(&said).last().unwrap().1[0], 30);
}

#[test]
fn running_dry_is_an_underrun_and_then_expires() {
    let mut bench = Bench::new(4);
    bench.arm(configuration());
    let start = bench.rig.tick().next_multiple_of(25) + 1_000;
    bench.setpoints(start, 1_000, false, &[500, 1000]);
    let said = bench.live(40_000);
    let events: Vec<_> = said
        .iter()
        .filter_map(|s| match s {
            Said::Event(tick, code, detail) => Some((*tick, *code, *detail)),
            _ => None,
        })
        .collect();
    assert_eq!(events[0], (start + 1_000, EventCode::Underrun, 0));
    // The first control step at which the age is above 20 ms.
    let expired = start + 1_000 + 20_000 + 25;
    assert_eq!(
        events[1],
        (
            expired,
            EventCode::Tripped,
            i32::from(TripCause::SetpointExpired.code())
        )
    );
    assert_eq!(events[2], (expired, EventCode::Disarmed, 4));
    for (tick, row) in rows(&said) {
        assert!(tick < expired || row[0] == 0, "setpoint {} at {tick}", row[0]);
    }
    let status = bench.status();
    assert_eq!((status.expired, status.underruns, status.trips), (1, 1, 1));
}

#[test]
fn clamping_and_slew_are_exact_and_told_once_in_a_while() {
    let mut bench = Bench::new(5);
    bench.arm(rig_link::message::Configuration {
        torque_limit_raw: 1_000,
        slew_limit_raw_per_ms: 333,
        ..configuration()
    });
    let start = bench.rig.tick().next_multiple_of(1_000) + 1_000;
    bench.setpoints(start, 5_000, false, &[32_767; 4]);
    let said = bench.live(15_000);
    let limited = said
        .iter()
        .filter(|s| matches!(s, Said::Event(_, EventCode::SetpointLimited, 32_767)))
        .count();
    assert_eq!(limited, 1, "at most one in 100 ms");
    for (tick, row) in rows(&said) {
        if tick >= start {
            // 333 counts a millisecond without losing fractions; the step at `start` itself has 25 us of it.
            let expected = ((tick + 25 - start) * 333 / 1_000).min(1_000);
            assert!(
                (row[0] - expected as i32).abs() <= 1,
                "{} instead of {expected} at {}",
                row[0],
                tick - start
            );
        }
    }
}

#[test]
fn keep_alives_must_rise() {
    let mut bench = Bench::new(6);
    bench.arm(configuration());
    let stale = HostMessage::KeepAlive(KeepAlive { host_ns: 1 });
    let mut last = 0;
    for _ in 0..6 {
        let said = bench.send(stale);
        assert!(
            matches!(said.as_slice(), [Said::Echo(_)]),
            "echoed all the same: {said:?}"
        );
        let said = bench.wait(5_000);
        if let Some((tick, cause)) = common::bench::tripped(&said) {
            assert_eq!(cause, TripCause::Watchdog);
            last = tick;
        }
    }
    assert!(last > 0, "stale keep-alives must not feed the watchdog");
    // Cleared only when a feed is fresh, and then arming starts anew.
    bench.live(400_000);
    bench.wait(30_000);
    let trips = bench.status().trips;
    let clear = HostMessage::ClearTrip(ClearTrip { trips });
    assert_eq!(refused(&bench.send(clear)), (RefusalCode::CauseRemains, 1));
    bench.keep_alive();
    assert!(
        matches!(bench.send(clear).as_slice(), [Said::Status(status)] if status.state == RigState::Ready)
    );
}

#[test]
fn a_stop_overtakes_what_came_with_it() {
    let mut bench = Bench::new(7);
    bench.arm(configuration());
    bench.hold(10_000, 50_000);
    let first = bench.rig.tick() + 20_000;
    let mut bytes = bench.bytes(HostMessage::Setpoints(
        Setpoints::new(first, 1_000, false, &[10_000; 5]).unwrap(),
    ));
    bytes.extend(bench.bytes(HostMessage::StatusRequest(Empty)));
    bytes.extend(bench.bytes(HostMessage::Stop(Stop {
        mode: StopMode::Coast,
        reason: StopReason::Test,
    })));
    let now = bench.rig.tick();
    bench.rig.receive(&bytes);
    let said = bench.hear();
    assert!(
        matches!(said[0], Said::Stopped(tick, StopMode::Coast, RigState::Ready) if tick == now),
        "{said:?}"
    );
    assert!(matches!(said[1], Said::Event(_, EventCode::Disarmed, 1)));
    assert!(matches!(said[2], Said::Event(_, EventCode::Stopped, 0)));
    assert!(matches!(said[3], Said::Status(status) if status.credit == 256));
    assert!(
        matches!(said[4], Said::Refused(0x09, RefusalCode::WrongState, 1)),
        "setpoints behind it: {said:?}"
    );
    bench.wait(2_500);
    assert!(
        bench.rig.motor_torque_nm().abs() < 0.01,
        "{} N·m",
        bench.rig.motor_torque_nm()
    );
}

#[test]
fn a_stop_with_garbage_in_it_stops_all_the_same() {
    let mut bench = Bench::new(7);
    bench.arm(configuration());
    let mut frame = [0; rig_link::MAX_FRAME];
    let length = rig_link::encode_frame(0x0A, 9, &[200, 1, 3], &mut frame).unwrap();
    bench.rig.receive(&frame[..length]);
    let said = bench.hear();
    assert!(
        matches!(said[0], Said::Stopped(_, StopMode::Brake, RigState::Stopping)),
        "{said:?}"
    );
}

#[test]
fn braking_ends_at_rest_or_in_time() {
    let mut bench = Bench::new(8);
    bench.arm(configuration());
    bench.hold(8_000, 60_000);
    let said = bench.stop(StopMode::Brake);
    assert!(
        matches!(said[0], Said::Stopped(_, StopMode::Brake, RigState::Stopping)),
        "{said:?}"
    );
    let said = bench.live(520_000);
    assert!(
        said.iter()
            .any(|s| matches!(s, Said::Event(_, EventCode::BrakeReleased, 0)))
    );
    assert_eq!(bench.status().state, RigState::Ready);
    bench.arm(configuration());
    bench.stop(StopMode::Brake);
    let said = bench.stop(StopMode::Coast);
    assert!(
        matches!(
            said.as_slice(),
            [
                Said::Stopped(_, StopMode::Coast, RigState::Ready),
                Said::Event(_, EventCode::BrakeReleased, 0),
                Said::Status(_)
            ]
        ),
        "{said:?}"
    );
}

#[test]
fn garbage_is_counted_and_not_answered() {
    let mut bench = Bench::new(9);
    bench.hear();
    for k in 1..6_u8 {
        bench.rig.receive(&[7, k, 1, 2, 3, 0]);
    }
    assert_eq!(bench.hear(), [Said::Event(0, EventCode::BadFrame, 1)]);
    let mut frame = [0; rig_link::MAX_FRAME];
    let length = rig_link::encode_frame(0x85, 0, &[1], &mut frame).unwrap();
    bench.rig.receive(&frame[..length]);
    assert_eq!(bench.hear(), [], "a rig's own kind: looped back");
    assert_eq!(bench.status().bad_frames, 6);
    let length = rig_link::encode_frame(0x33, 0, &[1], &mut frame).unwrap();
    bench.rig.receive(&frame[..length]);
    assert_eq!(refused(&bench.hear()), (RefusalCode::UnknownKind, 0x33));
    let length = rig_link::encode_frame(0x06, 0, &[1], &mut frame).unwrap();
    bench.rig.receive(&frame[..length]);
    assert_eq!(refused(&bench.hear()), (RefusalCode::Malformed, 1));
}

#[test]
fn same_calls_give_the_same_bytes() {
    let run = |seed: u64| {
        let mut bench = Bench::new(seed);
        bench.arm(configuration());
        let mut said = bench.hold(5_000, 100_000);
        said.extend(bench.stop(StopMode::Coast));
        said
    };
    assert_eq!(run(11), run(11));
    assert_ne!(run(11), run(12));
}
