//! Torque onto a force-feedback device, in virtual time: setpoints are played at their ticks, and every way to end ends the torque.
#![allow(clippy::unwrap_used, clippy::panic)] // helpers of a test may fail it

use std::cell::RefCell;
use std::rc::Rc;

use acceptance::parts::{Remembering, Sensor, Told, World, bench, two_steps};
use bench_core::rig::{CLOCK_BOUND, Drive, SETPOINT_AGE};
use bench_core::run::{Course, End, Outcome, Permit, Run, RunEvent, RunOptions, StopCause};
use bench_core::time::HostNs;
use truerim::drive::force::Player;
use truerim::drive::{Composed, Line, LineError, Sink, StopFlag, conduct};
use truerim::fitting::{FitDocument, FitOptions, Quantity, fit_recording};
use truerim::recording::Recording;
use truerim::session::{self, Order};
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

/// A sensor and a drive of their own: the wheelbase moves by force feedback alone, the torque comes as lines. The device looks every
/// 0.7 ms, so that its levels meet the firmware's 1 ms at every phase.
const BOTH: &str = r#"
[rig.drive]
kind = "force-feedback"
device = "/dev/null"
full_scale = "-14 N·m"
update_period = "0.7 ms"
expiry = "60 ms"
time_bound = "1 ms"
[rig.sense]
kind = "lines"
port = "/dev/null"
baud = 115200
pattern = "{torque} N·m"
unit = "N·m"
rate = "1 kHz"
delay = "1.5 ms"
way = "1 ms"
time_bound = "2 ms"
"#;

/// What the device really makes of its full scale, N·m: 4 % less than declared.
const REAL_NM: f64 = -14.0 * 0.96;

/// A sensor at a rate, lines of which are 0.1 to 0.6 ms on the way.
const fn sensor(rate_hz: f64) -> Sensor {
    Sensor {
        rate_hz,
        way_s: [0.1e-3, 0.6e-3],
        ..Sensor::GOOD
    }
}

/// A whole measurement; the recording, and the torque that there really was.
fn measured(rate_hz: f64, seed: u64) -> (Recording, FitDocument, Vec<(f64, f64)>, tempfile::TempDir) {
    let tables = BOTH
        .replace("rate = \"1 kHz\"", &format!("rate = \"{rate_hz} Hz\""))
        .replace("way = \"1 ms\"", "way = \"0.4 ms\"");
    let (bench, rig) = bench(&tables, seed);
    let (mut world, sense) = World::new(rig, &bench, Some((sensor(rate_hz), seed)));
    let (push, torques) = (world.pushed_by(REAL_NM), world.watched());
    let Drive::ForceFeedback(declared) = bench.rig.drive.clone() else {
        panic!("no force feedback");
    };
    let player = Player::new(Box::new(push), declared);
    let line = Composed::new(Box::new(world), sense, Some(player), &bench.rig);
    let mut procedure = two_steps(24);
    procedure.text += "dither = \"1 ms\"\n";
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("recording.h5");
    let order = Order {
        bench: &bench,
        procedure: &procedure,
        plan: session::plan_for(&procedure, &bench.rig, seed).unwrap(),
        permit: Permit::granted("test"),
        path: &path,
        real_time: false,
        granted: None,
    };
    let session = session::record_over(order, Box::new(line), &StopFlag::new(), &mut |_| {});
    assert_eq!(session.outcome.end, End::Completed, "{:?}", session.outcome);
    assert!(session.outcome.zero_confirmed);
    let recording = Recording::open(&path).unwrap();
    let fit = fit_recording(&recording, &FitOptions::default()).unwrap();
    (recording, fit, torques.take(), folder)
}

/// Steps' gain as the torque at the rim really was: change from before a step to the end of its hold, over what was asked for.
fn real_gain(recording: &Recording, torques: &[(f64, f64)], to_nm: f64) -> f64 {
    let mean = |end_us: u64, length_us: u64| {
        let span = (end_us - length_us) as f64 * 1e-6..end_us as f64 * 1e-6;
        let inside: Vec<f64> = torques
            .iter()
            .filter(|(at, _)| span.contains(at))
            .map(|(_, nm)| *nm)
            .collect();
        inside.iter().sum::<f64>() / inside.len() as f64
    };
    let steps: Vec<_> = recording
        .segments()
        .iter()
        .filter(|row| row.excitation == "step" && (row.to_nm - to_nm).abs() < 1e-3)
        .collect();
    let gains = steps
        .iter()
        .map(|row| (mean(row.end_tick, 30_000) - mean(row.start_tick, 20_000)) / (row.to_nm - row.from_nm));
    gains.sum::<f64>() / steps.len() as f64
}

#[test]
fn a_measurement_with_both_of_its_own_finds_what_the_devices_are() {
    // The firmware's dead time and half its polling period (rigs/belt.toml), and the spread of a wait that is spread evenly over the period.
    let (latency_s, dead_time_s, jitter_s) = (4.0e-3, 3.5e-3, 1e-3 / 12.0_f64.sqrt());
    for (rate_hz, seed, least_u_s) in [
        (4_000.0, 21, 0.3e-3),
        (4_000.0, 22, 0.3e-3),
        (1_000.0, 23, 1.2e-3),
    ] {
        let (recording, fit, torques, _folder) = measured(rate_hz, seed);
        let of = |quantity: Quantity| {
            let found = fit.measurands.iter().find(|m| m.quantity == quantity);
            let result = &found.unwrap().result;
            result
                .estimate()
                .unwrap_or_else(|| panic!("{rate_hz} Hz: {result:?}"))
        };
        let holds = |quantity, truth: f64| {
            let estimate = of(quantity);
            let [low, high] = estimate.interval;
            assert!(
                (low..high).contains(&truth),
                "{rate_hz} Hz, {seed}, {quantity:?}: {truth} and {estimate:?}"
            );
        };
        holds(Quantity::Latency, latency_s);
        holds(Quantity::LatencyJitter, jitter_s);
        holds(Quantity::DeadTime, dead_time_s);
        let latency = of(Quantity::Latency);
        assert!(latency.std_uncertainty < least_u_s, "{latency:?}");

        // What the clocks leave is in its budget, and is the bound that stands beside the rows: half the way of a line or more.
        let bounds_s = recording.values(CLOCK_BOUND, 0..recording.rows()).unwrap();
        assert!(
            bounds_s.iter().all(|bound| (0.1e-3..2e-3).contains(bound)),
            "{bounds_s}"
        );
        let part = |name: &str| {
            let line = latency.budget.iter().find(|line| line.source == name);
            line.unwrap_or_else(|| panic!("{name}: {latency:?}"))
                .std_uncertainty
        };
        let clocks_s = part("clocks of sensor and drive");
        assert!(
            (0.1e-3..0.5e-3).contains(&(clocks_s * 3.0_f64.sqrt())),
            "{clocks_s}"
        );
        assert!((part("declared sensor delay") - 10e-6).abs() < 1e-12);
        let between_s = part("time between readings of the sensor");
        assert!((between_s - 0.5 / rate_hz / 3.0_f64.sqrt()).abs() < 1e-12);

        // Levels came up to 0.7 ms behind the ticks of the plan, and the recording says when: never sooner than planned.
        let ages_s = recording.values(SETPOINT_AGE, 0..recording.rows()).unwrap();
        let setpoints = recording.values("setpoint", 0..recording.rows()).unwrap();
        let ticks = recording.ticks(0..recording.rows()).unwrap();
        let mut behind_us = Vec::new();
        for step in recording.segments().iter().filter(|row| row.excitation == "step") {
            let place = ticks
                .iter()
                .zip(&setpoints)
                .position(|(tick, nm)| *tick >= step.start_tick && (nm - step.to_nm).abs() < 1e-3);
            let place = place.unwrap();
            behind_us.push((ticks[place] - step.start_tick) as f64 - ages_s[place] * 1e6);
        }
        assert_eq!(behind_us.len(), 48);
        assert!(
            behind_us.iter().all(|us| (-2.0..900.0).contains(us)),
            "{behind_us:?}"
        );
        let mean_us = behind_us.iter().sum::<f64>() / 48.0;
        assert!((250.0..550.0).contains(&mean_us), "{mean_us}");

        // Each size of step arrives with the gain that it really had: 0.96 of what the device is declared to do, and what friction makes of it.
        for (name, to_nm) in [("0 to 1.4 N·m", 1.4), ("0 to −2.1 N·m", -2.1)] {
            let real = real_gain(&recording, &torques, to_nm);
            let found = fit
                .measurands
                .iter()
                .find(|m| m.quantity == Quantity::SteadyGain && m.group == name);
            let found = found
                .unwrap_or_else(|| panic!("no gain of {name}"))
                .estimate()
                .unwrap();
            assert!((found.value - real).abs() < 2e-3, "{name}: {real} and {found:?}");
            assert!((0.8..1.1).contains(&real), "{real}");
        }
    }
}
