//! Force feedback.

use std::path::PathBuf;
use std::process::{Child, Command};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use acceptance::parts::rig_file;
use bench_core::rig::{Drive, ForceFeedback, Rig};
use bench_core::run::{Course, End, Permit, Run, RunOptions};
use bench_core::sensor::Reading;
use evdev::uinput::VirtualDevice;
use evdev::{
    AbsInfo, AbsoluteAxisCode, AttributeSet, Device, EventSummary, EventType, FFEffectCode, FFEffectKind,
    InputEvent, UInputCode, UinputAbsSetup,
};
use truerim::drive::clock::HostClock;
use truerim::drive::force::{Axis, Desk, Player, Push, Wheel};
use truerim::drive::sense::Sense;
use truerim::drive::{Composed, StopFlag, conduct};

use crate::machine::wait_for;

/// What the wheelbase was told.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Told {
    Level(i16, u16),
    Play(i32),
    Erased,
    Gain(i32),
    Autocentre(i32),
}

/// A virtual wheelbase that keeps what it is told.
struct Wheelbase {
    path: PathBuf,
    told: Arc<Mutex<Vec<Told>>>,
    unplugged: Arc<AtomicBool>,
}

impl Wheelbase {
    fn plug() -> Self {
        let axis = AbsInfo::new(1_000, -32_768, 32_767, 0, 0, 0);
        let effects = [
            FFEffectCode::FF_CONSTANT,
            FFEffectCode::FF_GAIN,
            FFEffectCode::FF_AUTOCENTER,
        ];
        let mut device = VirtualDevice::builder()
            .unwrap()
            .name("demo wheelbase")
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
        let (told, unplugged) = (Arc::default(), Arc::new(AtomicBool::new(false)));
        let own = Self {
            path,
            told: Arc::clone(&told),
            unplugged: Arc::clone(&unplugged),
        };
        device
            .emit(&[InputEvent::new(
                EventType::ABSOLUTE.0,
                AbsoluteAxisCode::ABS_X.0,
                -4_321,
            )])
            .unwrap();
        std::thread::spawn(move || serve(device, &told, &unplugged));
        own
    }

    fn told(&self) -> Vec<Told> {
        self.told.lock().unwrap().clone()
    }

    fn forget(&self) {
        self.told.lock().unwrap().clear();
    }

    fn wait_until_told(&self, what: Told) {
        wait_for(&format!("{what:?}"), || self.told().contains(&what).then_some(()));
    }

    /// The rig whose wheelbase it is, without a rig controller.
    fn rig(&self) -> Rig {
        let tables = format!(
            r#"
[rig.drive]
kind = "force-feedback"
device = "{}"
full_scale = "8 N·m"
gain = "50 %"
update_period = "1 ms"
expiry = "100 ms"
axis = "900 deg"
time_bound = "2 ms"
[rig.sense]
kind = "lines"
port = "/dev/null"
baud = 115200
pattern = "{{torque}}"
unit = "N·m"
rate = "1 kHz"
delay = "0 s"
way = "1 ms"
time_bound = "5 ms"
"#,
            self.path.display()
        );
        // The first port of the file is the rig controller's.
        let text = rig_file(&tables).replacen("port = \"/dev/null\"", "port = \"none\"", 1);
        Rig::from_toml("rig.toml", &text).unwrap_or_else(|findings| panic!("{findings}"))
    }

    fn declared(&self) -> ForceFeedback {
        match self.rig().drive {
            Drive::ForceFeedback(declared) => declared,
            Drive::Rig => panic!("no force feedback"),
        }
    }
}

fn serve(mut device: VirtualDevice, told: &Mutex<Vec<Told>>, unplugged: &AtomicBool) {
    loop {
        let events: Vec<InputEvent> = device.fetch_events().unwrap().collect();
        if unplugged.load(Ordering::SeqCst) {
            return; // and drops the device: it is gone
        }
        for event in events {
            let what = match event.destructure() {
                EventSummary::UInput(event, UInputCode::UI_FF_UPLOAD, ..) => {
                    let mut upload = device.process_ff_upload(event).unwrap();
                    upload.set_retval(0);
                    let effect = upload.effect();
                    match effect.kind {
                        FFEffectKind::Constant { level, .. } => Told::Level(level, effect.replay.length),
                        other => panic!("{other:?}"),
                    }
                }
                EventSummary::UInput(event, UInputCode::UI_FF_ERASE, ..) => {
                    device.process_ff_erase(event).unwrap().set_retval(0);
                    Told::Erased
                }
                EventSummary::ForceFeedback(_, FFEffectCode::FF_GAIN, value) => Told::Gain(value),
                EventSummary::ForceFeedback(_, FFEffectCode::FF_AUTOCENTER, value) => Told::Autocentre(value),
                EventSummary::ForceFeedback(.., value) => Told::Play(value),
                _ => continue,
            };
            told.lock().unwrap().push(what);
        }
    }
}

pub(crate) fn checks() {
    let wheelbase = Wheelbase::plug();
    taking(&wheelbase);
    levels(&wheelbase);
    ends(&wheelbase);
    proved(&wheelbase);
    lost(&wheelbase);
}

/// It is taken for one program, prepared, and its axis can be read beside that.
fn taking(wheelbase: &Wheelbase) {
    let wheel = Wheel::open(&wheelbase.declared()).unwrap();
    // 50 % of 65,535, and no spring.
    wheelbase.wait_until_told(Told::Gain(32_768));
    wheelbase.wait_until_told(Told::Autocentre(0));
    wheelbase.wait_until_told(Told::Level(0, 100));
    assert!(
        !wheelbase.told().contains(&Told::Play(1)),
        "{:?}",
        wheelbase.told()
    );
    assert!(Device::open(&wheelbase.path).unwrap().grab().is_err());
    let axis = Axis::open(&wheelbase.path, 5.0 * std::f64::consts::PI).unwrap();
    assert_eq!(axis.counts().unwrap(), -4_321);
    assert!((axis.scale_rad - 5.0 * std::f64::consts::PI / 65_535.0).abs() < 1e-12);
    drop(wheel);
    wheelbase.wait_until_told(Told::Erased);
    println!("ok: taken for one program, prepared, given back");
}

/// Every level arrives, in order, a thousand a second.
fn levels(wheelbase: &Wheelbase) {
    wheelbase.forget();
    let mut wheel = Wheel::open(&wheelbase.declared()).unwrap();
    let (begin, step) = (Instant::now(), Duration::from_millis(1));
    let (mut took, mut late) = (Vec::new(), 0);
    for number in 1..=1_000_i16 {
        let due = begin + step * u32::from(number.unsigned_abs());
        std::thread::sleep(due.saturating_duration_since(Instant::now()));
        late += u32::from(due.elapsed() > step);
        let before = Instant::now();
        wheel.set(number, number % 30 == 1).unwrap();
        took.push(before.elapsed());
    }
    let seconds = begin.elapsed().as_secs_f64();
    wheelbase.wait_until_told(Told::Level(1_000, 100));
    let arrived: Vec<i16> = wheelbase
        .told()
        .iter()
        .filter_map(|told| match told {
            Told::Level(level, _) if *level > 0 => Some(*level),
            _ => None,
        })
        .collect();
    assert_eq!(arrived, (1..=1_000).collect::<Vec<i16>>());
    let plays = wheelbase
        .told()
        .iter()
        .filter(|told| **told == Told::Play(1))
        .count();
    assert_eq!(plays, 34);
    took.sort_unstable();
    println!(
        "ok: 1000 of 1000 levels arrived in {seconds:.2} s, {late} more than a period late; an update took {:?}, at most {:?}",
        took[500], took[999]
    );
    wheelbase.forget();
    wheel.release().unwrap();
    wheelbase.wait_until_told(Told::Level(0, 100));
    wheelbase.wait_until_told(Told::Play(0));
}

/// Takes the device, pushes, and then waits or panics. Another process does this.
pub(crate) fn hold(rig: &str, panics: bool) {
    let rig = Rig::from_toml("rig.toml", &std::fs::read_to_string(rig).unwrap()).unwrap();
    let Drive::ForceFeedback(declared) = rig.drive else {
        panic!("no force feedback");
    };
    let mut wheel = Wheel::open(&declared).unwrap();
    wheel.set(1_234, true).unwrap();
    assert!(!panics, "as asked");
    std::thread::sleep(Duration::from_secs(60));
}

fn another(how: &str, wheelbase: &Wheelbase) -> Child {
    wheelbase.forget();
    let text = rig_file(&format!(
        "[rig.drive]\nkind = \"force-feedback\"\ndevice = \"{}\"\nfull_scale = \"8 N·m\"\nupdate_period = \"1 ms\"\ntime_bound = \"2 ms\"\n",
        wheelbase.path.display()
    ));
    std::fs::write("/tmp/rig.toml", text).unwrap();
    let child = Command::new("/init")
        .args([how, "/tmp/rig.toml"])
        .spawn()
        .unwrap();
    wheelbase.wait_until_told(Told::Level(1_234, 100));
    child
}

/// Whatever ends the program ends the torque.
fn ends(wheelbase: &Wheelbase) {
    let mut wheel = Wheel::open(&wheelbase.declared()).unwrap();
    wheelbase.forget();
    wheel.set(500, true).unwrap();
    drop(wheel);
    wheelbase.wait_until_told(Told::Erased);
    assert!(wheelbase.told().contains(&Told::Level(0, 100)));
    println!("ok: released when it is dropped");

    let mut child = another("panic", wheelbase);
    assert!(!child.wait().unwrap().success());
    wheelbase.wait_until_told(Told::Erased);
    assert!(wheelbase.told().contains(&Told::Level(0, 100)));
    println!("ok: released when the program panics");

    for signal in ["SIGTERM", "SIGKILL"] {
        let mut child = another("hold", wheelbase);
        if signal == "SIGKILL" {
            child.kill().unwrap();
        } else {
            let pid = rustix::process::Pid::from_child(&child);
            rustix::process::kill_process(pid, rustix::process::Signal::TERM).unwrap();
        }
        child.wait().unwrap();
        // Nobody told it to: the kernel did.
        wheelbase.wait_until_told(Told::Erased);
        println!("ok: released when the program ends by {signal}");
    }
}

/// A sensor that reads nothing but its own noise, each millisecond.
struct Steady {
    clock: HostClock,
    next_ns: i64,
}

impl Sense for Steady {
    fn poll(&mut self, take: &mut dyn FnMut(Reading)) {
        let now_ns = i64::try_from(self.clock.now().0).unwrap();
        if self.next_ns == 0 {
            self.next_ns = now_ns;
        }
        while self.next_ns <= now_ns {
            let torque_nm = 1e-3 * f64::from((self.next_ns / 1_000_000 % 7) as i32 - 3);
            take(Reading {
                moment_ns: self.next_ns,
                bound_ns: 1e5,
                torque_nm,
            });
            self.next_ns += 1_000_000;
        }
    }

    fn account(&self) -> Vec<truerim::drive::Said> {
        Vec::new()
    }
}

/// A rig without a rig controller: armed, stopped, armed, and its watchdog seen to fire, all at zero torque.
fn proved(wheelbase: &Wheelbase) {
    wheelbase.forget();
    let (rig, clock) = (wheelbase.rig(), HostClock::start());
    let axis = Axis::open(&wheelbase.path, 1.0).unwrap();
    let scale_rad = axis.scale_rad;
    let desk = Desk::new(&rig, 8.0, Box::new(move || axis.counts()), scale_rad, clock);
    let declared = wheelbase.declared();
    let player = Player::new(Box::new(Wheel::open(&declared).unwrap()), declared);
    let sense = Box::new(Steady { clock, next_ns: 0 });
    let mut line = Composed::new(Box::new(desk), Some(sense), Some(player), &rig);
    let permit = Some(Permit::granted("test"));
    let mut run = Run::new(rig, Course::Prove(1_000), permit, RunOptions::default());
    let outcome = conduct(&mut run, &mut line, &mut Nobody, &StopFlag::new());
    assert_eq!(outcome.end, End::Completed, "{outcome:?}");
    drop(line);
    wheelbase.wait_until_told(Told::Erased);
    let pushed = wheelbase
        .told()
        .iter()
        .any(|told| matches!(told, Told::Level(level, _) if *level != 0));
    assert!(!pushed && wheelbase.told().contains(&Told::Play(1)));
    println!(
        "ok: stop and watchdog proved without a rig controller ({:?} us)",
        outcome.proofs.watchdog_us
    );
}

struct Nobody;

impl truerim::drive::Sink for Nobody {
    fn row(&mut self, _: &bench_core::channels::SampleRow) -> Result<(), String> {
        Ok(())
    }

    fn event(&mut self, _: bench_core::time::HostNs, _: &bench_core::run::RunEvent) -> Result<(), String> {
        Ok(())
    }
}

/// A device that is unplugged while it pushes is an error at the next level.
fn lost(wheelbase: &Wheelbase) {
    let mut wheel = Wheel::open(&wheelbase.declared()).unwrap();
    wheel.set(700, true).unwrap();
    wheelbase.unplugged.store(true, Ordering::SeqCst);
    let error = wait_for("an error", || wheel.set(701, false).err());
    wait_for("its node to go", || (!wheelbase.path.exists()).then_some(()));
    println!("ok: a device lost while it pushes is an error: {error}");
}
