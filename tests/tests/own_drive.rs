//! Torque onto a force-feedback device, in virtual time: setpoints are played at their ticks, and every way to end ends the torque.
#![cfg(target_os = "linux")]
#![allow(clippy::unwrap_used, clippy::panic)] // helpers of a test may fail it

use std::cell::RefCell;
use std::rc::Rc;

use acceptance::parts::{Remembering, Told, World, bench, two_steps};
use bench_core::rig::Drive;
use bench_core::run::{Course, End, Outcome, Permit, Run, RunEvent, RunOptions, StopCause};
use bench_core::time::HostNs;
use truerim::drive::force::Player;
use truerim::drive::{Composed, Line, LineError, Sink, StopFlag, conduct};
use truerim::session;
use virtual_rig::{Fault, FaultKind};

const DRIVE: &str = r#"
[rig.drive]
kind = "force-feedback"
device = "/dev/null"
full_scale = "-14 N·m"
update_period = "1 ms"
expiry = "60 ms"
time_bound = "1 ms"
"#;

/// What the run saw: setpoints of its rows with their ticks.
#[derive(Default)]
struct Rows {
    setpoints: Vec<(u64, i32)>,
    zero: Option<u64>,
    panics_at_s: Option<f64>,
}

impl Sink for Rows {
    fn row(&mut self, row: &bench_core::channels::SampleRow) -> Result<(), String> {
        self.setpoints.push((row.tick, row.counts[0]));
        let at_s = row.tick as f64 * 1e-6;
        assert!(self.panics_at_s.is_none_or(|panics| at_s < panics), "as asked");
        Ok(())
    }

    fn event(&mut self, _: HostNs, event: &RunEvent) -> Result<(), String> {
        if let RunEvent::PlanStarted { tick } = event {
            self.zero = Some(*tick);
        }
        Ok(())
    }
}

/// A line that is lost, or that a stop is asked for, at a time.
struct Until {
    line: Composed,
    lost_s: Option<f64>,
    stop: Option<(f64, StopFlag)>,
    begin: HostNs,
}

impl Line for Until {
    fn now(&self) -> HostNs {
        self.line.now()
    }

    fn wait(&mut self, until: HostNs, inbox: &mut Vec<u8>) -> Result<(), LineError> {
        let at_s = self.now().s_since(self.begin);
        if let Some((_, flag)) = self.stop.as_ref().filter(|(stop, _)| at_s >= *stop) {
            flag.stop();
        }
        if self.lost_s.is_some_and(|lost| at_s >= lost) {
            let source = std::io::ErrorKind::BrokenPipe.into();
            let port = "rig".to_owned();
            return Err(LineError::Io {
                port,
                doing: "reading",
                source,
            });
        }
        self.line.wait(until, inbox)
    }

    fn write(&mut self, bytes: &[u8], discard_first: bool) -> Result<(), LineError> {
        self.line.write(bytes, discard_first)
    }
}

#[derive(Default)]
struct How {
    fault: Option<(FaultKind, f64)>,
    lost_after: Option<usize>,
    line_lost_s: Option<f64>,
    stop_s: Option<f64>,
    panics_at_s: Option<f64>,
}

fn run(how: How) -> (Outcome, Rows, Told, bench_core::plan::Plan) {
    let (bench, mut rig) = bench(DRIVE, 11);
    if let Some((kind, at_s)) = how.fault {
        rig.add_fault(Fault {
            kind,
            start_tick: (at_s * 1e6) as u64,
            size: 0.0,
        });
    }
    let (world, _) = World::new(rig, &bench, None);
    let Drive::ForceFeedback(declared) = bench.rig.drive.clone() else {
        panic!("no force feedback");
    };
    let told = Rc::new(RefCell::new(Told::default()));
    let push = Remembering {
        told: Rc::clone(&told),
        lost_after: how.lost_after.unwrap_or(usize::MAX),
    };
    let player = Player::new(Box::new(push), declared);
    let line = Composed::new(Box::new(world), None, Some(player), &bench.rig);
    let procedure = two_steps(1);
    let plan = session::plan_for(&procedure, &bench.rig, 11).unwrap();
    let stop = StopFlag::new();
    let begin = line.now();
    let asked = how.stop_s.map(|at_s| (at_s, stop.clone()));
    let mut line = Until {
        line,
        lost_s: how.line_lost_s,
        stop: asked,
        begin,
    };
    let course = Course::Measure(Box::new(plan.clone()));
    let mut run = Run::new(
        bench.rig.clone(),
        course,
        Some(Permit::granted("test")),
        RunOptions::default(),
    );
    let mut rows = Rows {
        panics_at_s: how.panics_at_s,
        ..Rows::default()
    };
    let outcome = conduct(&mut run, &mut line, &mut rows, &stop);
    drop(line);
    let told = told.borrow().clone();
    (outcome, rows, told, plan)
}

#[test]
fn setpoints_are_played_at_their_ticks_and_the_rows_say_when() {
    let (outcome, rows, told, plan) = run(How::default());
    assert_eq!(outcome.end, End::Completed, "{outcome:?}");
    assert!(told.released && told.dropped, "{} releases", told.releases);
    let zero = rows.zero.unwrap();
    // The belt rig's setpoints are fractions of its own 8 N·m; the plan says what is due. A level is played on a grid of 1 ms, so a row may show
    // the setpoint of up to a millisecond and a row before.
    let scale = 8.0 / 32_767.0;
    let mut compared = 0;
    for &(tick, raw) in rows.setpoints.iter().filter(|(tick, _)| *tick > zero + 2_000) {
        let us = tick - zero;
        if us + 2_000 > plan.duration_us() {
            break;
        }
        let due = [0, 500, 1_000, 1_500, 1_600].map(|back| plan.setpoint_nm(us.saturating_sub(back)));
        let (low, high) = due
            .iter()
            .fold((f64::MAX, f64::MIN), |(l, h), nm| (l.min(*nm), h.max(*nm)));
        let shown = f64::from(raw) * scale;
        assert!(
            shown > low - 2.0 * scale && shown < high + 2.0 * scale,
            "{us} us: {shown} N·m for {low} to {high}"
        );
        compared += 1;
    }
    assert!(compared > 3_000, "{compared}");
    // Levels: of 14 N·m full scale that push the other way; the largest is 30 % of 7 N·m.
    let largest = told.levels.iter().map(|(level, _)| *level).max().unwrap();
    let expected = (0.3 * 7.0 / 14.0 * 32_767.0_f64).round();
    assert!(
        (f64::from(largest) - expected).abs() <= 2.0,
        "{largest} for {expected}"
    );
    // At its rate, and renewed three times in the time after which it would stop by itself.
    let played_ms = told.levels.len() as f64;
    let renewed = told.levels.iter().filter(|(_, renew)| *renew).count() as f64;
    assert!(
        (played_ms / renewed - 20.0).abs() < 2.0,
        "{played_ms} levels, {renewed} renewed"
    );
}

#[test]
fn every_way_to_end_ends_the_torque() {
    let plan_s = 2.6; // armed, and at the approach's level
    type Check = fn(&Outcome) -> bool;
    let ways: [(&str, How, Check); 7] = [
        (
            "emergency stop",
            How {
                fault: Some((FaultKind::EmergencyStop, plan_s)),
                ..How::default()
            },
            |o| matches!(o.end, End::Tripped(_)),
        ),
        (
            "rig silent",
            How {
                fault: Some((FaultKind::PortVanishes, plan_s)),
                ..How::default()
            },
            |o| !matches!(o.end, End::Completed),
        ),
        (
            "rig rebooted",
            How {
                fault: Some((FaultKind::Reboot, plan_s)),
                ..How::default()
            },
            |o| matches!(o.end, End::Tripped(_)),
        ),
        (
            "device lost",
            How {
                lost_after: Some(900),
                ..How::default()
            },
            |o| matches!(&o.end, End::Stopped(StopCause::LinkLost(why)) if why.contains("No such device")),
        ),
        (
            "line lost",
            How {
                line_lost_s: Some(plan_s),
                ..How::default()
            },
            |o| matches!(o.end, End::Stopped(StopCause::LinkLost(_))),
        ),
        (
            "asked to stop",
            How {
                stop_s: Some(plan_s),
                ..How::default()
            },
            |o| matches!(o.end, End::Stopped(StopCause::Operator)) && o.zero_confirmed,
        ),
        (
            "panic",
            How {
                panics_at_s: Some(plan_s),
                ..How::default()
            },
            |o| matches!(o.end, End::Stopped(StopCause::ProgramFault(_))),
        ),
    ];
    for (name, how, expected) in ways {
        let (outcome, _, told, _) = run(how);
        assert!(expected(&outcome), "{name}: {outcome:?}");
        assert!(outcome.was_armed, "{name}");
        assert!(
            told.levels.iter().any(|(level, _)| *level != 0),
            "{name}: it never pushed"
        );
        assert!(
            told.released && told.dropped,
            "{name}: {} releases",
            told.releases
        );
    }
}
