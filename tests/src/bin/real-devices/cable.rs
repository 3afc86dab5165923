//! A rig controller on USB: one behind a pair of serial gadgets, and a cable that is pulled in mid-run and plugged in again.
//!
//! The controller is the virtual rig's; the motor behind it a plain lag, for the emulated processor has no time for a whole plant.

use std::os::fd::OwnedFd;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use acceptance::parts::{rig_file, two_steps};
use acceptance::pty_figures::pty::wait;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rig_link::{FULL_SCALE_COUNTS, RigState};
use rustix::fs::{Mode, OFlags};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
use virtual_rig::ControllerParameters;
use virtual_rig::controller::{Controller, Counts, Output, Wiring};

use crate::machine::{self, wait_for};
use crate::program;

const HOST: &str = "/dev/ttyACM0";
const GADGET: &str = "/dev/ttyGS0";
/// Of the kernel's serial gadget (drivers/usb/gadget/legacy/serial.c).
const IDENTITY: &str = "usb:0525:a4a7";
/// Where the gadget's cable is pulled.
const PLUG: &str = "/sys/class/udc/dummy_udc.0/soft_connect";
/// A name that udev would give.
const STABLE: &str = "/dev/serial/by-id/usb-demo-if00";

const STEP_US: u64 = 250;
const FULL_SCALE_NM: f64 = 8.0;
const TORQUE_NM: f64 = 1e-3;
const RIM_RAD: f64 = 1e-5;
/// Sensor and fixture in series (rigs/belt.toml: 4,000 and 20,000 N·m/rad).
const STIFFNESS_NM_PER_RAD: f64 = 1.0 / (1.0 / 4_000.0 + 1.0 / 20_000.0);
/// Share of the way to its torque that the motor goes in a step: a lag of 1.5 ms.
const SHARE: f64 = 0.154;

/// Controller and motor.
struct Rig {
    controller: Controller,
    controlled: u64,
    torque_nm: f64,
}

impl Rig {
    fn new() -> Self {
        let parameters = ControllerParameters {
            model: "demo controller".to_owned(),
            serial: "7".to_owned(),
            firmware: "1".to_owned(),
            full_scale_nm: FULL_SCALE_NM,
            period_us: 500,
            min_sample_period_us: STEP_US as u32,
            batch_rows: 8,
            queue_capacity: 256,
            brake: false,
            emergency_stop_input: false,
            supply_span_v: [f64::NEG_INFINITY, f64::INFINITY],
            own_sensor_torque_nm: 20.0,
            own_rim_speed_rad_s: 20.0,
            own_temperature_degc: 100.0,
            simulated: false,
            step_us: STEP_US as u32,
        };
        let wiring = Wiring {
            channels: &[0, 1, 2],
            setpoint_nm: FULL_SCALE_NM / f64::from(FULL_SCALE_COUNTS),
            rim_rad: RIM_RAD,
            torque_nm: TORQUE_NM,
            torque_end: 20_000,
            torque_delay_ns: 0,
            // Of channels that there are not.
            motor_rad: 1.0,
            current_a: 1.0,
            temperature_k: 1.0,
            supply_v: 1.0,
        };
        Self {
            controller: Controller::new(parameters, wiring, ChaCha8Rng::seed_from_u64(3), 0),
            controlled: 0,
            torque_nm: 0.0,
        }
    }

    fn advance_to(&mut self, tick: u64) {
        while self.controlled + STEP_US <= tick {
            self.controlled += STEP_US;
            let asked_nm = match self.controller.output() {
                Output::Torque(raw) => f64::from(raw) / f64::from(FULL_SCALE_COUNTS) * FULL_SCALE_NM,
                Output::Off | Output::Brake => 0.0,
            };
            self.torque_nm += SHARE * (asked_nm - self.torque_nm);
            let noise = (self.controlled / STEP_US * 7 % 5) as i32 - 2;
            let counts = Counts {
                torque: (self.torque_nm / TORQUE_NM).round() as i32 + noise,
                rim: (self.torque_nm / STIFFNESS_NM_PER_RAD / RIM_RAD).round() as i32,
                ..Counts::default()
            };
            let wanted = self.controller.wants_counts(self.controlled);
            self.controller.step(self.controlled, wanted.then_some(&counts));
        }
    }
}

/// A rig controller on the gadget's side, in real time.
struct Served {
    over: Arc<AtomicBool>,
    /// Its state and its motor's torque.
    seen: Arc<Mutex<(RigState, f64)>>,
    thread: Option<JoinHandle<()>>,
}

impl Served {
    fn start() -> Self {
        let rig = Rig::new();
        let seen = Arc::new(Mutex::new((RigState::Idle, 0.0)));
        let over = Arc::new(AtomicBool::new(false));
        let (kept, ends) = (Arc::clone(&seen), Arc::clone(&over));
        Self {
            over,
            seen,
            thread: Some(std::thread::spawn(move || turn(rig, &kept, &ends))),
        }
    }

    fn seen(&self) -> (RigState, f64) {
        *self.seen.lock().unwrap()
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        self.over.store(true, Ordering::SeqCst);
        if let Some(thread) = self.thread.take() {
            thread.join().unwrap();
        }
    }
}

/// The gadget's port; none while no cable is in it.
fn gadget() -> Option<OwnedFd> {
    let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::NONBLOCK;
    let port = rustix::fs::open(GADGET, flags, Mode::empty()).ok()?;
    let mut settings = tcgetattr(&port).ok()?;
    settings.make_raw();
    tcsetattr(&port, OptionalActions::Now, &settings).ok()?;
    Some(port)
}

fn turn(mut rig: Rig, seen: &Mutex<(RigState, f64)>, over: &AtomicBool) {
    let (begin, mut port, mut out, mut chunk) = (Instant::now(), gadget(), Vec::new(), [0; 512]);
    while !over.load(Ordering::SeqCst) {
        let mut lost = false;
        match &port {
            Some(open) => lost = wait(open, Duration::from_micros(500)).is_err(),
            None => {
                std::thread::sleep(Duration::from_millis(1));
                port = gadget();
            }
        }
        rig.advance_to(begin.elapsed().as_micros() as u64);
        if let Some(open) = &port {
            match rustix::io::read(open, &mut chunk) {
                Ok(0) => lost = true,
                Ok(length) => rig.controller.receive(&chunk[..length], rig.controlled),
                Err(rustix::io::Errno::AGAIN) => {}
                Err(_) => lost = true,
            }
        }
        rig.controller.transmit(&mut out);
        while let (Some(open), false) = (&port, out.is_empty() || lost) {
            match rustix::io::write(open, &out) {
                Ok(length) => drop(out.drain(..length)),
                Err(rustix::io::Errno::AGAIN) => break,
                Err(_) => lost = true,
            }
        }
        if lost || out.len() > 65_536 {
            out.clear(); // as on a cable that ends in the air
        }
        if lost {
            port = None;
        }
        *seen.lock().unwrap() = (rig.controller.state(), rig.torque_nm);
    }
}

pub(crate) fn checks() {
    for node in [HOST, GADGET] {
        wait_for(node, || Path::new(node).exists().then_some(()));
    }
    listed(HOST);
    std::fs::write("/tmp/usb.toml", rig_file("")).unwrap();
    std::fs::write("/tmp/steps.toml", two_steps(3).text).unwrap();
    let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::NONBLOCK;
    let holder = rustix::fs::open(HOST, flags, Mode::empty()).unwrap();
    pulled();
    back_again();
    drop(holder);
}

/// The cable is pulled while the motor pushes.
fn pulled() {
    let controller = Served::start();
    let files = ["--rig", "/tmp/usb.toml", "--procedure", "/tmp/steps.toml"];
    let args = [
        &["record"],
        &files[..],
        &["--port", IDENTITY, "--out", "/tmp/pulled", "--yes"],
    ]
    .concat();
    let mut run = program::start("pulled", &args);
    wait_for("torque", || {
        assert!(!run.has_ended(), "{}", run.end_now());
        (controller.seen().1.abs() > 1.0).then_some(())
    });
    std::fs::write(PLUG, "disconnect").unwrap();
    let began = Instant::now();
    wait_for("the rig's own stop", || {
        let (state, torque_nm) = controller.seen();
        (state != RigState::Armed && torque_nm.abs() < 0.3).then_some(())
    });
    let stopped_ms = began.elapsed().as_millis();
    let ended = run.end();
    ended.must(
        6,
        &["/dev/ttyACM0", "check the cable", "ZERO TORQUE IS NOT CONFIRMED"],
    );
    let rows = program::kept("/tmp/pulled", "/dev/ttyACM0");
    println!(
        "ok: cable pulled in mid-run: the rig stopped by itself within {stopped_ms} ms, {rows} rows kept and sealed"
    );
}

/// Plugged in again it has another number, for somebody still holds the old one, and is found by what it is and by its stable name.
fn back_again() {
    // A gadget that was pulled is not enumerated again by the dummy host controller; one that is loaded anew is.
    machine::load_again("g_serial");
    let again = "/dev/ttyACM1";
    wait_for("another number", || Path::new(again).exists().then_some(()));
    std::fs::create_dir_all("/dev/serial/by-id").unwrap();
    std::os::unix::fs::symlink(again, STABLE).unwrap();
    listed(again);
    let controller = Served::start();
    for port in [IDENTITY, STABLE] {
        let args = ["check", "--rig", "/tmp/usb.toml", "--port", port, "--yes"];
        let ended = program::start("check", &args).end();
        ended.must(0, &["watchdog"]);
        println!("ok: found again as {port}, {again} now, and proved");
    }
    let ended = program::start("ports", &["ports"]).end();
    ended.must(0, &[again, IDENTITY, STABLE]);
    drop(controller);
}

/// The port is listed as what it is.
fn listed(node: &str) {
    let ports = truerim::drive::ports::list();
    let port = ports
        .iter()
        .find(|port| port.path == Path::new(node))
        .unwrap_or_else(|| panic!("{ports:?}"));
    let usb = port.usb.as_ref().unwrap_or_else(|| panic!("{port:?}"));
    assert_eq!(
        format!("usb:{:04x}:{:04x}", usb.vendor, usb.product),
        IDENTITY,
        "{port:?}"
    );
    assert_eq!(port.latency_timer_ms(), None);
    println!("ok: listed as {port}");
}
