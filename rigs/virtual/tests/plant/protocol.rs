//! The rig controller against PROTOCOL.md, chapter 7: messages by state, arming, playing, stopping.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers count as production code

use crate::common;
use common::bench::{Bench, Said, configuration, refused};
use rig_link::message::{
    ArmConfirm, ArmRequest, ClearTrip, DescribeChannel, Empty, Hello, KeepAlive, Setpoints, Stop,
};
use rig_link::{
    CHALLENGE_VALID_US, EventCode, HostMessage, RefusalCode, RigState, StopMode, StopReason, TripCause,
};

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
