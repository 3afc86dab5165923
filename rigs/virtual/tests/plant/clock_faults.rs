//! A controller whose clock drifts or whose tick count jumps, seen from outside: by the bytes it sends over true time,
//! and by what the motor does.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers count as production code

use crate::common::bench::{Bench, Said, configuration, rows, tripped};
use crate::common::close;
use rig_link::message::{Configuration, Empty};
use rig_link::{EventCode, HostMessage, RigState, StopMode, TripCause};
use virtual_rig::{Fault, FaultKind};

/// Sampling, not armed.
fn sampling() -> Bench {
    let mut bench = Bench::new(21);
    bench.configure(configuration());
    bench.send(HostMessage::StartSampling(Empty));
    bench.live(50_000);
    bench
}

/// From `start_tick` on the clock is wrong.
fn wrong(bench: &mut Bench, kind: FaultKind, start_tick: u64, size: f64) {
    bench.rig.add_fault(Fault {
        kind,
        start_tick,
        size,
    });
}

fn tick_of_echo(said: &[Said]) -> u64 {
    said.iter()
        .find_map(|said| match said {
            Said::Echo(echo) => Some(echo.received_tick),
            _ => None,
        })
        .unwrap()
}

#[test]
fn a_drifting_clock_runs_ticks_and_sample_periods() {
    for error in [0.04, 50e-6, -300e-6, -0.05] {
        let mut bench = sampling();
        let start = bench.rig.tick();
        wrong(&mut bench, FaultKind::ClockDrifts, start, error);
        bench.wait(25);
        let first = tick_of_echo(&bench.keep_alive());
        let true_us = 2_000_000;
        let mut said = bench.live(true_us);
        let last = tick_of_echo(&bench.keep_alive());
        said.extend(bench.hear());
        let expected = true_us as f64 * (1.0 + error);
        close((last - first) as f64, expected, 26.0, "ticks over two seconds");
        // Rows are 250 of its microseconds apart, without a gap, and so are more or fewer in true time.
        let ticks: Vec<u64> = rows(&said).into_iter().map(|(tick, _)| tick).collect();
        assert!(ticks.windows(2).all(|pair| pair[1] - pair[0] == 250));
        close(ticks.len() as f64, expected / 250.0, 5.0, "rows");
        assert_eq!(bench.bad, 0);
        assert_eq!(bench.rig.tick(), start + 25 + true_us, "true time is true");
    }
}

/// The watchdog of 20 ms bites after 20 ms of its own: sooner by a fast clock.
#[test]
fn a_drifting_clock_runs_deadlines() {
    for error in [0.05, -0.05] {
        let mut bench = Bench::new(22);
        bench.arm(Configuration {
            stop_mode: StopMode::Coast,
            ..configuration()
        });
        let start = bench.rig.tick();
        wrong(&mut bench, FaultKind::ClockDrifts, start, error);
        bench.wait(25);
        bench.keep_alive();
        let fed = bench.rig.tick();
        while bench.rig.truth().state == RigState::Armed {
            bench.wait(25);
            assert!(bench.rig.tick() < fed + 30_000);
        }
        let after = (bench.rig.tick() - fed) as f64;
        close(after, 20_000.0 / (1.0 + error), 60.0, "watchdog in true time");
    }
}

#[test]
fn a_setpoint_comes_into_force_by_the_drifting_clock() {
    let mut bench = Bench::new(23);
    bench.arm(configuration());
    let now = bench.rig.tick();
    wrong(&mut bench, FaultKind::ClockDrifts, now, -0.05);
    bench.wait(25);
    let now = tick_of_echo(&bench.keep_alive());
    let sent = bench.rig.tick();
    bench.setpoints(now + 10_000, 1_000, false, &[12_288; 20]);
    let said = bench.live(15_000);
    let (tick, _) = rows(&said).into_iter().find(|(_, row)| row[0] == 12_288).unwrap();
    assert!((now + 10_000..=now + 10_250).contains(&tick), "{tick} {now}");
    // Its 10 ms take 10.5 ms; 4 ms at most of dead time and reading follow before the motor pushes.
    let said = bench.live(200);
    assert!(tripped(&said).is_none());
    assert!(bench.rig.tick() - sent >= 10_526);
}

#[test]
fn a_count_that_jumps_forward_makes_the_last_feed_old() {
    let mut bench = Bench::new(24);
    bench.arm(Configuration {
        stop_mode: StopMode::Coast,
        ..configuration()
    });
    bench.hold(12_288, 100_000);
    let start = bench.rig.tick();
    wrong(&mut bench, FaultKind::ClockJumps, start, 0.5);
    let said = bench.wait(2_000);
    let (tick, cause) = tripped(&said).unwrap();
    assert_eq!(cause, TripCause::Watchdog);
    close(tick as f64, (start + 500_000) as f64, 50.0, "at the new count");
    bench.wait(5_000);
    assert!(bench.rig.motor_torque_nm().abs() < 0.05);
}

/// Rows go on every 250 us; only their count is another one, and every row arrives.
#[test]
fn a_jump_shows_in_the_samples_and_nowhere_else() {
    for size in [0.123_411, -0.02, -60.0] {
        let mut bench = sampling();
        // In the middle of a batch: what was gathered before goes out by itself.
        let start = bench.rig.tick() + 1_600;
        wrong(&mut bench, FaultKind::ClockJumps, start, size);
        let said = bench.live(100_000);
        let ticks: Vec<u64> = rows(&said).into_iter().map(|(tick, _)| tick).collect();
        let steps: Vec<i64> = ticks
            .windows(2)
            .map(|pair| pair[1] as i64 - pair[0] as i64)
            .filter(|step| *step != 250)
            .collect();
        let expected = ((size * 1e6) as i64).max(-(start as i64));
        assert_eq!(steps.len(), 1, "{steps:?}");
        assert!(
            (steps[0] - 250 - expected).abs() <= 25,
            "{steps:?} for {expected}"
        );
        // The last batch may be waiting.
        assert!((397..=400).contains(&ticks.len()), "{} rows", ticks.len());
        assert_eq!(bench.bad, 0);
        // Sampling can be stopped and begun again, on the period's own grid.
        bench.send(HostMessage::StopSampling(Empty));
        bench.send(HostMessage::StartSampling(Empty));
        let said = bench.live(10_000);
        let again = rows(&said);
        assert!((36..=40).contains(&again.len()), "{} rows", again.len());
        assert!(again.iter().all(|(tick, _)| tick.is_multiple_of(250)));
        // A reboot forgets the jump with all else.
        let now = bench.rig.tick();
        wrong(&mut bench, FaultKind::Reboot, now, 0.0);
        let said = bench.wait(50);
        assert!(
            said.iter()
                .any(|said| matches!(said, Said::Event(0, EventCode::Booted, _))),
            "{said:?}"
        );
    }
}

/// Jumping back by a second, the count is far from what the setpoint in force was stamped with: it does not expire in
/// its 20 ms, and the feed counts as fresh. Only the bench can see it.
#[test]
fn a_count_that_jumps_back_keeps_an_old_setpoint_in_force() {
    let mut bench = Bench::new(25);
    bench.arm(configuration());
    bench.hold(12_288, 2_000_000);
    let start = bench.rig.tick() + 600;
    wrong(&mut bench, FaultKind::ClockJumps, start, -1.0);
    let said = bench.wait(300_000);
    assert!(tripped(&said).is_none(), "{:?}", tripped(&said));
    assert!(bench.rig.motor_torque_nm() > 2.5);
    let ticks: Vec<u64> = rows(&said).into_iter().map(|(tick, _)| tick).collect();
    assert!(
        ticks.windows(2).any(|pair| pair[1] < pair[0]),
        "the bench sees ticks go back"
    );
    bench.stop(StopMode::Coast);
    bench.wait(5_000);
    assert!(bench.rig.motor_torque_nm().abs() < 0.05);
}
