//! A wheelbase that moves: what it is told by force feedback acts on a simulated motor, a sensor beside it sends lines, and the program
//! measures both. The motor's torque follows a level [`DELAY_MS`] later, with a lag of [`LAG_MS`].

use std::collections::VecDeque;
use std::fmt::Write as _;
use std::os::fd::OwnedFd;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use acceptance::parts::{rig_file, two_steps};
use acceptance::pty_figures::pty::{Pty, wait};
use evdev::uinput::VirtualDevice;
use evdev::{
    AbsInfo, AbsoluteAxisCode, AttributeSet, EventSummary, EventType, FFEffectCode, FFEffectKind, InputEvent,
    UInputCode, UinputAbsSetup,
};
use ndarray::Array1;
use truerim::recording::{Recording, verify};

use crate::machine::wait_for;
use crate::program;

const DELAY_MS: f64 = 6.0;
const LAG_MS: f64 = 1.5;
/// Torque of the largest level, N·m.
const FULL_SCALE_NM: f64 = 8.0;
/// Sensor and fixture in series (rigs/belt.toml: 4,000 and 20,000 N·m/rad), and counts of the axis a radian (900 degrees are 65,535).
const STIFFNESS_NM_PER_RAD: f64 = 1.0 / (1.0 / 4_000.0 + 1.0 / 20_000.0);
const COUNTS_PER_RAD: f64 = 65_535.0 / (5.0 * std::f64::consts::PI);

/// The motor behind the levels.
#[derive(Default)]
struct Motor {
    level_nm: f64,
    playing: bool,
    /// Torques asked for, and when.
    asked: VecDeque<(Instant, f64)>,
    delayed_nm: f64,
    torque_nm: f64,
}

impl Motor {
    fn ask(&mut self) {
        let asked_nm = if self.playing { self.level_nm } else { 0.0 };
        self.asked.push_back((Instant::now(), asked_nm));
    }

    /// A tenth of a millisecond.
    fn step(&mut self, now: Instant) {
        let delay = Duration::from_secs_f64(DELAY_MS * 1e-3);
        while let Some((at, nm)) = self.asked.front().copied()
            && at + delay <= now
        {
            self.delayed_nm = nm;
            self.asked.pop_front();
        }
        self.torque_nm += (1.0 - (-0.1 / LAG_MS).exp()) * (self.delayed_nm - self.torque_nm);
    }
}

/// What others may know and ask of it.
#[derive(Default)]
struct Shared {
    unplugged: AtomicBool,
    /// Levels that were not zero, so far.
    pushed: AtomicU32,
    /// It has a torque to play.
    pushing: AtomicBool,
}

/// A wheelbase with a sensor beside it.
pub(crate) struct Base {
    path: PathBuf,
    port: String,
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
    over: Arc<AtomicBool>,
}

impl Base {
    pub(crate) fn plug() -> Self {
        let axis = AbsInfo::new(0, -32_768, 32_767, 0, 0, 0);
        let effects = [
            FFEffectCode::FF_CONSTANT,
            FFEffectCode::FF_GAIN,
            FFEffectCode::FF_AUTOCENTER,
        ];
        let mut device = VirtualDevice::builder()
            .unwrap()
            .name("demo wheelbase that moves")
            .with_absolute_axis(&UinputAbsSetup::new(AbsoluteAxisCode::ABS_X, axis))
            .unwrap()
            .with_ff(&AttributeSet::from_iter(effects))
            .unwrap()
            .with_ff_effects_max(4)
            .build()
            .unwrap();
        let path = wait_for("event device", || {
            device.enumerate_dev_nodes_blocking().unwrap().flatten().next()
        });
        wait_for("its node", || path.exists().then_some(()));
        let Pty {
            device: sensor,
            far_end,
            path: port,
        } = Pty::open().unwrap();
        let (shared, over) = (Arc::<Shared>::default(), Arc::new(AtomicBool::new(false)));
        let (kept, ends) = (Arc::clone(&shared), Arc::clone(&over));
        let thread = std::thread::spawn(move || {
            let _far_end = far_end;
            turn(device, &sensor, &kept, &ends);
        });
        Self {
            path,
            port,
            shared,
            thread: Some(thread),
            over,
        }
    }

    /// Its files, and the arguments of a measurement into a folder.
    fn files(&self) {
        let tables = format!(
            r#"
[rig.drive]
kind = "force-feedback"
device = "{}"
full_scale = "{FULL_SCALE_NM} N·m"
update_period = "1 ms"
expiry = "100 ms"
axis = "900 deg"
time_bound = "2 ms"
[rig.sense]
kind = "lines"
port = "{}"
baud = 921600
pattern = "T {{torque}} mN·m"
unit = "mN·m"
rate = "1 kHz"
delay = "0 s"
way = "1 ms"
time_bound = "5 ms"
"#,
            self.path.display(),
            self.port
        );
        let text = rig_file(&tables).replacen("port = \"/dev/null\"", "port = \"none\"", 1);
        std::fs::write("/tmp/own.toml", text).unwrap();
        let mut procedure = two_steps(3).text;
        procedure.push_str("dither = \"1 ms\"\n");
        std::fs::write("/tmp/steps.toml", procedure).unwrap();
    }

    fn measure(&self, folder: &str) -> program::Started {
        self.files();
        let files = ["--rig", "/tmp/own.toml", "--procedure", "/tmp/steps.toml"];
        program::start(
            "own",
            &[&["record"], &files[..], &["--out", folder, "--yes"]].concat(),
        )
    }
}

impl Drop for Base {
    fn drop(&mut self) {
        self.over.store(true, Ordering::SeqCst);
        if let Some(thread) = self.thread.take() {
            thread.join().unwrap();
        }
    }
}

fn turn(device: VirtualDevice, sensor: &OwnedFd, shared: &Shared, over: &AtomicBool) {
    let mut device = Some(device);
    let (mut motor, mut next, mut shown, mut line) = (Motor::default(), Instant::now(), 0, String::new());
    let mut number = 0_u32;
    while !over.load(Ordering::SeqCst) {
        if shared.unplugged.load(Ordering::SeqCst) && device.take().is_some() {
            // Its supply is the cable's.
            (motor.playing, motor.level_nm) = (false, 0.0);
            motor.ask();
            shared.pushing.store(false, Ordering::SeqCst);
        }
        let patience = next.saturating_duration_since(Instant::now());
        match &mut device {
            Some(device) => {
                if !patience.is_zero() && wait(&*device, patience).unwrap() {
                    hear(device, &mut motor, shared);
                    continue;
                }
            }
            None => std::thread::sleep(patience),
        }
        for tenth in 1..=10 {
            motor.step(next + Duration::from_micros(100 * tenth));
        }
        next += Duration::from_millis(1);
        number += 1;
        line.clear();
        // A little noise: a sensor that never moves is a broken one.
        let noise_mnm = f64::from(number * 7 % 11) * 0.2 - 1.0;
        let _ = write!(line, "T {:+.1} mN·m\r\n", motor.torque_nm * 1e3 + noise_mnm);
        let _ = rustix::io::write(sensor, line.as_bytes());
        let counts = (motor.torque_nm / STIFFNESS_NM_PER_RAD * COUNTS_PER_RAD).round() as i32;
        if let (true, Some(device)) = (counts != shown, &mut device) {
            shown = counts;
            let code = AbsoluteAxisCode::ABS_X.0;
            device
                .emit(&[InputEvent::new(EventType::ABSOLUTE.0, code, counts)])
                .unwrap();
        }
    }
}

fn hear(device: &mut VirtualDevice, motor: &mut Motor, shared: &Shared) {
    let events: Vec<InputEvent> = device.fetch_events().unwrap().collect();
    for event in events {
        match event.destructure() {
            EventSummary::UInput(event, UInputCode::UI_FF_UPLOAD, ..) => {
                let mut upload = device.process_ff_upload(event).unwrap();
                upload.set_retval(0);
                let FFEffectKind::Constant { level, .. } = upload.effect().kind else {
                    panic!("no constant force");
                };
                motor.level_nm = f64::from(level) / 32_767.0 * FULL_SCALE_NM;
                shared.pushed.fetch_add(u32::from(level != 0), Ordering::SeqCst);
            }
            EventSummary::UInput(event, UInputCode::UI_FF_ERASE, ..) => {
                device.process_ff_erase(event).unwrap().set_retval(0);
                motor.playing = false;
            }
            EventSummary::ForceFeedback(_, FFEffectCode::FF_GAIN | FFEffectCode::FF_AUTOCENTER, _) => {}
            EventSummary::ForceFeedback(.., value) => motor.playing = value != 0,
            _ => continue,
        }
        motor.ask();
        shared
            .pushing
            .store(motor.playing && motor.level_nm != 0.0, Ordering::SeqCst);
    }
}

pub(crate) fn checks() {
    let base = Base::plug();
    let ended = base.measure("/tmp/own").end();
    ended.must(0, &["right sign", "stop confirmed"]);
    assert!(
        verify(std::path::Path::new("/tmp/own/recording.h5"))
            .unwrap()
            .is_intact()
    );
    assert!(!base.shared.pushing.load(Ordering::SeqCst), "it still pushes");
    println!("ok: measured by force feedback and lines of text, to its end");
    arrived();

    let before = base.shared.pushed.load(Ordering::SeqCst);
    let mut run = base.measure("/tmp/lost");
    wait_for("torque", || {
        assert!(!run.has_ended());
        let pushed = base.shared.pushed.load(Ordering::SeqCst) - before;
        (pushed > 500 && base.shared.pushing.load(Ordering::SeqCst)).then_some(())
    });
    base.shared.unplugged.store(true, Ordering::SeqCst);
    let ended = run.end();
    // 6: the link was lost. Nobody can vouch for a device that is gone.
    ended.must(
        6,
        &[
            "force-feedback device",
            "No such device",
            "ZERO TORQUE IS NOT CONFIRMED",
        ],
    );
    assert!(!ended.words.contains("ungrab"), "{}", ended.words);
    let rows = program::kept("/tmp/lost", "No such device");
    println!("ok: unplugged in mid-run: told, and {rows} rows kept and sealed");
}

/// Every step is in the recording, when its level was given, and the torque behind it: half of it later by the motor's delay and what its
/// lag takes to half (closed form: lag times the logarithm of 2).
fn arrived() {
    let recording = Recording::open(std::path::Path::new("/tmp/own/recording.h5")).unwrap();
    let rows = 0..recording.rows();
    let values = |name: &str| recording.values(name, rows.clone()).unwrap();
    let (torque, setpoint, ages) = (values("torque"), values("setpoint"), values("setpoint_age"));
    let ticks = recording.ticks(rows.clone()).unwrap();
    let steps: Vec<_> = recording
        .segments()
        .iter()
        .filter(|row| row.excitation == "step")
        .collect();
    let (mut halves_ms, mut gains) = (Vec::new(), Vec::new());
    for step in &steps {
        let from = ticks.iter().position(|tick| *tick >= step.start_tick).unwrap();
        let there = |values: &Array1<f64>, share: f64| {
            let sign = step.to_nm.signum();
            (from..)
                .find(|row| sign * values[*row] > share * sign * step.to_nm)
                .unwrap()
        };
        let (given, half) = (there(&setpoint, 0.9), there(&torque, 0.5));
        let given_ms = ticks[given] as f64 * 1e-3 - ages[given] * 1e3;
        halves_ms.push(ticks[half] as f64 * 1e-3 - given_ms);
        let settled = half + 100..half + 200;
        gains.push(torque.slice(ndarray::s![settled]).mean().unwrap() / step.to_nm);
    }
    let mean = |list: &[f64]| list.iter().sum::<f64>() / list.len() as f64;
    let (half_ms, gain) = (mean(&halves_ms), mean(&gains));
    assert_eq!(steps.len(), 6);
    // Half a way of a line, a row, and a part of a millisecond until the level is taken.
    let truth_ms = DELAY_MS + LAG_MS * std::f64::consts::LN_2;
    assert!(
        (half_ms - truth_ms).abs() < 1.5,
        "{half_ms} for {truth_ms}: {halves_ms:?}"
    );
    assert!((gain - 1.0).abs() < 0.01, "{gains:?}");
    println!(
        "ok: {} steps arrived: half after {half_ms:.2} ms of {truth_ms:.2} ms, gain {gain:.4}",
        steps.len()
    );
}
