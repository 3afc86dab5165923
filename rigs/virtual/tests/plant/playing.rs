//! Playing setpoints against PROTOCOL.md, 7.7: ticks, refusals, lateness, running dry, clamping and slew.

#![allow(clippy::unwrap_used, clippy::panic, clippy::print_stdout)] // helpers count as production code

use crate::common;
use common::bench::{Bench, Said, configuration, refused, rows};
use rig_link::{ARM_IDLE_US, EventCode, HORIZON_US, RefusalCode, RigState, StopMode, TripCause};

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

/// The firmware reads at 0.41 ms of each period: a setpoint one microsecond earlier is taken up then, one microsecond
/// later in the next period, although both lie in the same step of the physics.
#[test]
fn setpoints_come_into_force_to_the_microsecond() {
    let onset = |at_us: u64| {
        let mut parameters = common::rig(1);
        parameters.plant.firmware.phase = 0.41;
        parameters.plant.firmware.clock_error = 0.0;
        let mut bench = Bench::with(virtual_rig::VirtualRig::new(parameters, 1));
        bench.arm(configuration());
        let period = bench.rig.tick().next_multiple_of(1_000) + 1_000;
        bench.setpoints(period + at_us, 1_000, false, &[8_000; 10]);
        while bench.rig.motor_torque_nm().abs() < 1e-3 {
            assert!(bench.rig.tick() < period + 20_000);
            bench.wait(25);
        }
        bench.rig.tick() - period
    };
    // Read at 410 us, 3.5 ms dead time; the torque then rises within a step.
    assert!((3_910..3_960).contains(&onset(409)), "{}", onset(409));
    assert!((4_910..4_960).contains(&onset(411)), "{}", onset(411));
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
