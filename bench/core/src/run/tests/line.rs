//! What the rig link asks of a bench, and what a slow line must not be taken for.

use rig_link::frame::encode_frame;
use rig_link::message::Event as Report;
use rig_link::{EventCode, HostMessage, MAX_FRAME, RigMessage, RigState};

use super::{Bench, PROCEDURE, Peer, rig, rig_with};
use crate::interlock::{Condition, State};
use crate::run::{End, Failure};

fn condition(end: &End) -> Condition {
    match end {
        End::Tripped(trip) => trip.condition,
        other => panic!("{other:?}"),
    }
}

#[test]
fn a_slow_line_is_no_slow_watchdog() {
    // 4 ms each way: when the silence begins, a keep-alive is still on its way.
    let mut bench = Bench::new();
    bench.latency_us = 4_000;
    let outcome = bench.finish();
    assert_eq!(outcome.end, End::Completed);
    let took_us = outcome.proofs.watchdog_us.unwrap();
    assert!((20_000..=20_500).contains(&took_us), "{took_us} µs");
}

#[test]
fn a_small_queue_is_never_overrun() {
    let mut peer = Peer::new();
    peer.capacity = 64;
    let mut bench = Bench::with(rig(), PROCEDURE, peer);
    bench.reach("playing");
    let mut most = 0;
    while bench.run.outcome().is_none() {
        let next_us = bench.now_us + 1_000;
        bench.until(|bench| bench.now_us >= next_us);
        most = most.max(bench.peer.queued());
    }
    assert_eq!(bench.run.outcome().unwrap().end, End::Completed);
    assert!(most > 16 && most <= 64, "{most}");
}

#[test]
fn no_setpoint_is_rounded_beyond_the_limit() {
    // The limit, which the plan asks for, is 19,858.8 counts: the nearest count lies beyond it.
    let mut peer = Peer::new();
    peer.full_scale_nm = 9.9;
    let rig = rig();
    let limit = rig.limits.torque_nm / 9.9 * 32_767.0;
    let mut bench = Bench::with(rig, PROCEDURE, peer);
    let outcome = bench.finish();
    assert_eq!(outcome.end, End::Completed);
    assert!(
        f64::from(bench.greatest()) <= limit,
        "{} of {limit}",
        bench.greatest()
    );
    assert!(f64::from(bench.greatest()) >= limit - 1.0);
}

/// How a run ends on a rig that applies something else than what it was asked for.
fn applied(change: fn(&mut rig_link::message::Configuration)) -> End {
    let mut peer = Peer::new();
    peer.tighten = Some(change);
    let mut bench = Bench::with(rig(), PROCEDURE, peer);
    let end = bench.finish().end;
    assert!(end == End::Completed || bench.greatest() == 0);
    end
}

#[test]
fn a_rig_that_would_cut_the_plan_silently_is_not_armed() {
    for change in [
        (|c| c.torque_limit_raw -= 1) as fn(&mut rig_link::message::Configuration),
        |c| c.torque_limit_raw = 100,
        |c| c.slew_limit_raw_per_ms = 200,
    ] {
        let end = applied(change);
        assert!(matches!(end, End::Failed(Failure::CutsPlan { .. })), "{end:?}");
    }
    // Tighter where it is no cut: the run trips earlier, that is all.
    assert_eq!(applied(|c| c.sensor_torque_limit_mnm -= 1_000), End::Completed);
    // Wider is refused as ever.
    let end = applied(|c| c.torque_limit_raw += 1);
    assert!(
        matches!(end, End::Failed(Failure::Configuration { .. })),
        "{end:?}"
    );
}

#[test]
fn the_rig_gets_the_limits_of_the_plan() {
    let mut bench = Bench::new();
    bench.reach("playing");
    let asked = bench.sent.iter().find_map(|message| match message {
        HostMessage::Configure(configuration) => Some(*configuration),
        _ => None,
    });
    let (asked, limits) = (asked.unwrap(), bench.run.bounds().limits);
    let allowed = rig().limits;
    // The plan asks for all the torque that the fixture allows: 6 N·m of 32.767. Everything else is tighter.
    assert_eq!(asked.torque_limit_raw, 6_000);
    assert!(f64::from(asked.slew_limit_raw_per_ms) < allowed.slew_nm_per_s);
    assert!(f64::from(asked.sensor_torque_limit_mnm) * 1e-3 <= limits.sensor_torque_nm);
    assert!(limits.sensor_torque_nm < allowed.sensor_torque_nm);
    assert!(f64::from(asked.rim_speed_limit_mrad_s) * 1e-3 < allowed.rim_speed_rad_s);
    assert!(f64::from(asked.window_high_urad) * 1e-6 < allowed.rim_window_rad[1]);
    assert!(f64::from(asked.window_low_urad) * 1e-6 > allowed.rim_window_rad[0]);
    assert_eq!(asked.setpoint_expiry_us, 2_000);
}

#[test]
fn a_kind_of_a_later_version_is_counted_and_no_reason_to_stop() {
    let mut bench = Bench::new();
    bench.reach("playing");
    let mut frame = [0; MAX_FRAME];
    let length = encode_frame(0x95, bench.peer.sequence, &[1, 2, 3], &mut frame).unwrap();
    bench.peer.sequence = bench.peer.sequence.wrapping_add(1);
    bench.run.receive(bench.now(), &frame[..length]);
    assert_eq!(bench.run.interlock().state(), State::Armed);
    let outcome = bench.finish();
    assert_eq!(
        (outcome.end, outcome.counters.unknown_frames),
        (End::Completed, 1)
    );
}

#[test]
fn a_malformed_message_is_a_reason_to_stop() {
    let mut bench = Bench::new();
    bench.reach("playing");
    let mut frame = [0; MAX_FRAME];
    let length = encode_frame(0x85, bench.peer.sequence, &[1, 2, 3], &mut frame).unwrap();
    bench.run.receive(bench.now(), &frame[..length]);
    assert_eq!(condition(&bench.finish().end), Condition::SequenceGap);
}

#[test]
fn the_greeting_closes_what_was_left_unfinished() {
    let mut bench = Bench::new();
    let mut bytes = alloc::vec::Vec::new();
    bench.run.start(bench.now());
    bench.run.poll_transmit(&mut bytes);
    assert_eq!(bytes.first(), Some(&0));
}

#[test]
fn an_angle_that_is_no_number_is_no_rest() {
    let mut peer = Peer::new();
    peer.rim = 7;
    peer.rim_scale = f64::MAX; // finite, as the link asks; its sevenfold is not
    let mut bench = Bench::with(rig(), PROCEDURE, peer);
    let outcome = bench.finish();
    assert!(
        matches!(outcome.end, End::Failed(Failure::NotAtRest { .. })),
        "{outcome:?}"
    );
    assert!(!outcome.was_armed);
}

#[test]
fn a_rig_armed_without_being_asked_is_stopped() {
    let mut bench = Bench::new();
    bench.reach("zeros before");
    let mut bytes = alloc::vec::Vec::new();
    let mut frame = [0; MAX_FRAME];
    let status = rig_link::message::Status {
        tick: bench.now_us,
        state: RigState::Armed,
        trip: rig_link::TripCause::None,
        sampling: true,
        emergency_stop_closed: true,
        credit: 1,
        trips: 0,
        underruns: 0,
        late_setpoints: 0,
        expired: 0,
        bad_frames: 0,
        lost_batches: 0,
        armed_angle_urad: 0,
    };
    let length = rig_link::encode_rig(&RigMessage::Status(status), bench.peer.sequence, &mut frame).unwrap();
    bytes.extend_from_slice(&frame[..length]);
    bench.run.receive(bench.now(), &bytes);
    bench.take();
    assert!(matches!(bench.last_word(), HostMessage::Stop(_)));
    assert_eq!(
        bench.finish().end,
        End::Failed(Failure::NotReady(RigState::Armed))
    );
}

#[test]
fn a_reboot_ends_it_in_any_phase() {
    for phase in ["zeros before", "proving the watchdog", "playing", "zeros after"] {
        let mut bench = Bench::new();
        bench.reach(phase);
        let mut frame = [0; MAX_FRAME];
        let booted = Report {
            tick: 0,
            number: 1,
            code: EventCode::Booted,
            detail: 0,
        };
        let length = rig_link::encode_rig(&RigMessage::Event(booted), 0, &mut frame).unwrap();
        bench.run.receive(bench.now(), &frame[..length]);
        assert_eq!(bench.run.interlock().state(), State::Tripped, "{phase}");
        assert_eq!(condition(&bench.finish().end), Condition::Rebooted, "{phase}");
    }
}

#[test]
fn the_wrong_sign_and_the_wrong_gain_send_nothing_larger() {
    for (gain, expected) in [
        (-1.0, Condition::WrongSign),
        (0.2, Condition::WrongGain),
        (2.0, Condition::WrongGain),
    ] {
        let mut peer = Peer::new();
        peer.gain = gain;
        let mut bench = Bench::with(rig(), PROCEDURE, peer);
        assert_eq!(condition(&bench.finish().end), expected);
        let small = 0.05 * rig().wheelbase.peak_torque_nm / 32.767 * 32_767.0;
        assert!(f64::from(bench.greatest()) <= small + 1.0, "{}", bench.greatest());
    }
}

#[test]
fn a_rig_file_for_a_virtual_rig_arms_no_real_one_and_too_little_full_scale_nothing() {
    let mut peer = Peer::new();
    peer.full_scale_nm = 0.5;
    let outcome = Bench::with(rig(), PROCEDURE, peer).finish();
    assert!(
        matches!(outcome.end, End::Failed(Failure::FullScale { .. })),
        "{outcome:?}"
    );
    assert!(!outcome.was_armed);
    let mut real = Peer::new();
    real.simulated = false;
    let rig = rig_with("kind = \"serial\"", "kind = \"virtual\"");
    assert_eq!(
        Bench::with(rig, PROCEDURE, real).finish().end,
        End::Failed(Failure::NotVirtual)
    );
}

#[test]
fn a_rig_that_an_earlier_program_left_in_any_state_is_settled_first() {
    let mut first = Bench::new();
    first.reach("playing");
    let configuration = first.run.known.configuration.unwrap();
    for state in [RigState::Ready, RigState::Armed, RigState::Tripped] {
        let peer = Peer::new().left_behind(configuration, state);
        let outcome = Bench::with(rig(), PROCEDURE, peer).finish();
        assert_eq!(outcome.end, End::Completed, "{state:?}");
    }
    // One that goes on braking for ever is no use, and waited for no longer than a second.
    let peer = Peer::new().left_behind(configuration, RigState::Stopping);
    let mut bench = Bench::with(rig(), PROCEDURE, peer);
    assert_eq!(
        bench.finish().end,
        End::Failed(Failure::NotReady(RigState::Stopping))
    );
    assert!(bench.now_us < 2_000_000, "{}", bench.now_us);
}
