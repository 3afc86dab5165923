//! From a violating sample's bytes to the stop frame, by the bench's own run, loop and serial line, many times; and a
//! bare echo of the same lengths on the same pseudo-terminal, turn by turn with it.
//!
//! The echo polls and reads as a plain program does. `poll` on a terminal waits for the kernel worker that hands bytes
//! over, which the bench's line avoids on Linux, so under load the stop may well be there before the echo.
//!
//! Every trial is a run of its own: greeted, configured, proved and armed in lock-step, then continued over the
//! pseudo-terminal, where frames come every millisecond until one breaks a limit. Rounds with and without real-time
//! scheduling of the bench's thread take turns, so that the load of the computer is much the same for both.

use std::collections::BTreeMap;
use std::os::fd::OwnedFd;
use std::path::Path;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::time::Duration;

use bench_core::channels::SampleRow;
use bench_core::plan::Plan;
use bench_core::procedure::Procedure;
use bench_core::rig::Rig;
use bench_core::run::{Course, End, Permit, Run, RunEvent, RunOptions};
use bench_core::time::HostNs;
use truerim::drive::clock::{HostClock, remaining};
use truerim::drive::schedule::{Granted, ask_for_real_time};
use truerim::drive::{SerialLine, Sink, StopFlag, conduct};
use virtual_rig::VirtualRig;

use super::Unmeasured;
use super::device::{self, Answer, Play, Seen};
use super::minute::procedure_text;
use super::pty::{self, Pty};
use super::swap::{SwapLine, Violation};

/// Trials of each kind in a round.
const ROUND: usize = 50;
/// Fewest quiet frames before the loud one; up to twice as many are sent.
const QUIET: u16 = 6;
/// Fills the echo's quiet frames.
const QUIET_BYTE: u8 = 0x11;
/// Fills the echo's loud frame.
const LOUD_BYTE: u8 = 0xEE;
/// Longest wait for the device to say what it saw; its own limits are shorter.
const PATIENCE: Duration = Duration::from_secs(5);
/// Longest wait of the echo for the loud frame, µs.
const ECHO_US: u64 = 1_000_000;

/// Times of one answered trial.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Times {
    /// From the return of the device's write (the bytes can be read) to the return of the bench's write, ns. Below
    /// zero when the bench was done before the device's own call returned.
    pub written_ns: i64,
    /// The same from before the device's write: what it took at most.
    pub at_most_ns: i64,
    /// From the return of the device's write to the device having read and checked the answer, ns.
    pub read_ns: i64,
}

/// What became of all trials of one kind.
#[derive(Debug, Clone, Default)]
pub struct Trials {
    /// Answered ones.
    pub times: Vec<Times>,
    /// What the run said that it stopped for, and how often; empty for echoes. A computer that stalled shows here as a
    /// missed deadline or stale samples: the stop came all the same, and its time is kept.
    pub causes: BTreeMap<&'static str, usize>,
    /// Trials in which no answer came within a second.
    pub missing: usize,
    /// Trials that showed nothing, with the reason: the run had stopped before the loud frame, or the line failed.
    pub void: Vec<String>,
}

/// Stops and echoes under one kind of scheduling.
#[derive(Debug, Clone, Default)]
pub struct Scheduled {
    /// What was granted to the bench's thread; `None`: nothing was asked for.
    pub granted: Option<Granted>,
    /// Violating sample to stop.
    pub stops: Trials,
    /// Bare echo.
    pub echoes: Trials,
}

/// All of it.
#[derive(Debug, Clone)]
pub struct Stops {
    /// Without real-time scheduling.
    pub ordinary: Scheduled,
    /// With it, as far as it was granted; `None` when real-time scheduling was not granted.
    pub real_time: Option<Scheduled>,
    /// What was granted to the device's thread, which asks in either case: it stands for a microcontroller.
    pub device: Option<Granted>,
}

/// What every trial needs.
struct Setting {
    rig: Rig,
    virtual_rig: VirtualRig,
    plan: Plan,
    clock: HostClock,
}

/// Runs `trials` trials of each kind, without and, if permitted, with real-time scheduling.
///
/// # Errors
/// [`Unmeasured`] when the rig file cannot be used, no pseudo-terminal can be had, or the run cannot be armed.
pub fn measure(rig_file: &Path, trials: usize, seed: u64) -> Result<Stops, Unmeasured> {
    let setting = Setting::read(rig_file, seed)?;
    let mut stops = Stops {
        ordinary: Scheduled::default(),
        real_time: Some(Scheduled::default()),
        device: None,
    };
    let mut done = 0;
    while done < trials {
        let round = ROUND.min(trials - done);
        round_of(
            &setting,
            done,
            round,
            false,
            &mut stops.device,
            &mut stops.ordinary,
        )?;
        if let Some(scheduled) = &mut stops.real_time {
            round_of(&setting, done, round, true, &mut stops.device, scheduled)?;
            if scheduled.granted.is_some_and(|granted| !granted.real_time) {
                stops.real_time = None; // the same as the ordinary rounds
            }
        }
        done += round;
    }
    Ok(stops)
}

impl Setting {
    fn read(rig_file: &Path, seed: u64) -> Result<Self, Unmeasured> {
        let file = rig_file.display().to_string();
        let text =
            std::fs::read_to_string(rig_file).map_err(|error| Unmeasured::from_error(&file, &error))?;
        let wrong = |findings| Unmeasured::from_error("the settings", &findings);
        let rig = Rig::from_toml(&file, &text).map_err(wrong)?;
        let virtual_rig = VirtualRig::from_toml(&file, &text, seed).map_err(wrong)?;
        let plan = Procedure::from_toml("holds and steps", &procedure_text(1))
            .and_then(|procedure| procedure.plan(&rig, seed))
            .map_err(wrong)?;
        Ok(Self {
            rig,
            virtual_rig,
            plan,
            clock: HostClock::start(),
        })
    }

    /// What trial `index` breaks: torque and speed take turns.
    fn violation(&self, index: usize) -> Violation {
        if index.is_multiple_of(2) {
            Violation::SensorTorque(self.rig.limits.sensor_torque_nm)
        } else {
            Violation::RimSpeed(self.rig.limits.rim_speed_rad_s)
        }
    }
}

/// One round on a pseudo-terminal and with threads of its own.
fn round_of(
    setting: &Setting,
    first: usize,
    count: usize,
    real_time: bool,
    device_granted: &mut Option<Granted>,
    into: &mut Scheduled,
) -> Result<(), Unmeasured> {
    let terminal = Pty::open()?;
    let (play, plays) = channel();
    let (see, seen) = channel();
    let (granted_device, bench) = std::thread::scope(|scope| {
        let end = &terminal.device;
        let device = scope.spawn(move || {
            let granted = ask_for_real_time();
            device::run(end, setting.clock, &plays, &see);
            granted
        });
        let terminal = &terminal;
        let bench = scope.spawn(move || {
            // Memory stays locked for the whole process once it was; an ordinary round gives it back.
            let granted = if real_time {
                Some(ask_for_real_time())
            } else {
                let _ = rustix::mm::munlockall();
                None
            };
            into.granted = granted;
            let mut round = Round {
                setting,
                terminal,
                device: play,
                seen: &seen,
                into,
            };
            round.run(first, count)
        });
        let bench = bench.join();
        (device.join(), bench)
    });
    *device_granted =
        Some(granted_device.map_err(|_| Unmeasured("the device's thread panicked".to_owned()))?);
    bench.map_err(|_| Unmeasured("the bench's thread panicked".to_owned()))?
}

/// The bench's side of a round.
struct Round<'a> {
    setting: &'a Setting,
    terminal: &'a Pty,
    device: Sender<Play>,
    seen: &'a Receiver<Seen>,
    into: &'a mut Scheduled,
}

impl Round<'_> {
    fn run(&mut self, first: usize, count: usize) -> Result<(), Unmeasured> {
        let baud = self.setting.rig.link.baud;
        let mut port = SerialLine::open(&self.terminal.path, baud)
            .map_err(|error| Unmeasured::from_error("opening the port", &error))?;
        for index in first..first + count {
            let quiet = QUIET + u16::try_from(index % usize::from(QUIET + 1)).unwrap_or(0);
            let lengths = self.stop(&mut port, index, quiet)?;
            self.echo(quiet, lengths)?;
        }
        Ok(())
    }

    /// One stop; returns the lengths of its loud frame and of what the bench wrote.
    fn stop(&mut self, port: &mut SerialLine, index: usize, quiet: u16) -> Result<[usize; 2], Unmeasured> {
        let setting = self.setting;
        let course = Course::Measure(Box::new(setting.plan.clone()));
        let permit = Some(Permit::granted("virtual rig"));
        let mut run = Run::new(setting.rig.clone(), course, permit, RunOptions::default());
        let mut line = SwapLine::new(
            setting.virtual_rig.clone(),
            port,
            &self.device,
            setting.clock,
            quiet,
            setting.violation(index),
        );
        let outcome = conduct(&mut run, &mut line, &mut Nowhere, &StopFlag::new());
        if !line.swapped() {
            return Err(Unmeasured(format!("the run was not armed: {}", outcome.end)));
        }
        let lengths = line.lengths();
        let written = line.stop_written();
        let why = || format!("trial {index}: {}", outcome.end);
        let seen = self.seen.recv_timeout(PATIENCE);
        let seen = seen.map_err(|error| Unmeasured::from_error("waiting for the device", &error))?;
        if self.into.stops.take(seen, written, why) {
            let cause = match &outcome.end {
                End::Tripped(trip) => trip.condition.name(),
                End::Completed | End::Stopped(_) | End::Failed(_) => "something else than a condition",
            };
            *self.into.stops.causes.entry(cause).or_default() += 1;
        }
        Ok(lengths)
    }

    /// One echo of the same lengths.
    fn echo(&mut self, quiet: u16, [loud, answer]: [usize; 2]) -> Result<(), Unmeasured> {
        let mut frames = vec![vec![QUIET_BYTE; loud]; usize::from(quiet)];
        frames.push(vec![LOUD_BYTE; loud]);
        let answer = vec![LOUD_BYTE; answer];
        let play = Play {
            frames,
            answer: Answer::Bytes(answer.len()),
        };
        self.device
            .send(play)
            .map_err(|error| Unmeasured::from_error("setting the device going", &error))?;
        let written = bare_echo(&self.terminal.far_end, self.setting.clock, &answer)
            .map_err(|errno| Unmeasured::from_error("echoing", &errno))?;
        let seen = self.seen.recv_timeout(PATIENCE);
        let seen = seen.map_err(|error| Unmeasured::from_error("waiting for the device", &error))?;
        self.into.echoes.take(seen, written, || "echo".to_owned());
        Ok(())
    }
}

/// Reads until the loud frame is complete and answers it; tells when the write had returned.
fn bare_echo(end: &OwnedFd, clock: HostClock, answer: &[u8]) -> Result<Option<HostNs>, rustix::io::Errno> {
    let mut chunk = [0; 4_096];
    let mut loud = 0;
    let until = clock.now().plus_us(ECHO_US);
    loop {
        let now = clock.now();
        if now >= until {
            return Ok(None);
        }
        if !pty::wait(end, remaining(now, until))? {
            continue;
        }
        let bytes = pty::read(end, &mut chunk)?;
        loud += bytes.iter().filter(|&&byte| byte == LOUD_BYTE).count();
        if loud > 0 {
            pty::write(end, answer)?;
            return Ok(Some(clock.now()));
        }
    }
}

impl Trials {
    /// Takes a trial; whether it was answered.
    fn take(&mut self, seen: Seen, written: Option<HostNs>, why: impl Fn() -> String) -> bool {
        let since = |end: HostNs, begin: HostNs| {
            let [end, begin] = [end.0, begin.0].map(|ns| i64::try_from(ns).unwrap_or(i64::MAX));
            end - begin
        };
        match (seen, written) {
            (
                Seen::Answered {
                    writing,
                    written: device_written,
                    answered,
                },
                Some(written),
            ) if written >= writing => self.times.push(Times {
                written_ns: since(written, device_written),
                at_most_ns: since(written, writing),
                read_ns: since(answered, device_written),
            }),
            (Seen::Nothing, _) => {
                self.missing += 1;
                return false;
            }
            (other, _) => {
                self.void.push(format!("{other:?}; {}", why()));
                return false;
            }
        }
        true
    }
}

/// Keeps nothing: the disk is no part of the way to a stop.
struct Nowhere;

impl Sink for Nowhere {
    fn row(&mut self, _: &SampleRow) -> Result<(), String> {
        Ok(())
    }

    fn event(&mut self, _: HostNs, _: &RunEvent) -> Result<(), String> {
        Ok(())
    }
}
