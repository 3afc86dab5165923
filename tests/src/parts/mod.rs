//! A rig put together of parts, simulated in virtual time: the virtual rig as the rig controller, a torque sensor that sends lines by a clock of
//! its own, a force-feedback device.

use std::cell::{Cell, RefCell};
use std::rc::Rc;

use bench_core::rig::Sense as Declared;
use bench_core::sensor::{Lines, Reading};
use bench_core::time::HostNs;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use truerim::drive::force::Push;
use truerim::drive::sense::Sense;
use truerim::drive::{Line, LineError, LockStep};
use truerim::session::{Bench, SettingsText};
use virtual_rig::VirtualRig;

/// The belt unit's file.
const BELT: &str = include_str!("../../../rigs/belt.toml");

/// The belt unit's file as that of a real rig: what is simulated is left out, `tables` come in its place.
#[must_use]
pub fn rig_file(tables: &str) -> String {
    let real = BELT.split("\n[virtual]").next().unwrap_or_default();
    let real = real
        .replace("kind = \"virtual\"", "kind = \"serial\"")
        .replace("emergency_stop = \"none\"", "emergency_stop = \"hard-wired\"")
        .replace("port = \"auto\"", "port = \"/dev/null\"");
    format!("{real}\n{tables}\n")
}

/// A bench for that file, and the virtual rig that plays the rig controller.
///
/// # Panics
/// When the files are not as they were shipped.
#[must_use]
#[allow(clippy::expect_used)] // the helper of a test may fail it
pub fn bench(tables: &str, seed: u64) -> (Bench, VirtualRig) {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("rig.toml");
    std::fs::write(&path, rig_file(tables)).expect("a file");
    let bench = Bench::open(&path, None, None, seed, "test".to_owned()).expect("a rig");
    let rig = VirtualRig::from_toml("belt.toml", BELT, seed).expect("the belt unit");
    (bench, rig)
}

/// A step either way, from zero, so many times.
#[must_use]
pub fn two_steps(repeats: usize) -> SettingsText {
    SettingsText {
        file: "procedure.toml".to_owned(),
        text: format!(
            r#"
[procedure]
name = "two steps"
purpose = "levels of a rig put together of parts"
mounting = "clamped"
sample_rate = "2 kHz"
ramp = "0.05 N·m/ms"
zero = "500 ms"
[approach]
level = "5 %"
hold = "300 ms"
rest = "400 ms"
gain = ["40 %", "160 %"]
[[segment]]
name = "steps"
excitation = "step"
levels = ["20 %", "-30 %"]
repeats = {repeats}
hold = "150 ms"
rest = "120 ms"
"#
        ),
    }
}

/// A sensor that sends lines, as it is simulated.
#[derive(Debug, Clone, Copy)]
pub struct Sensor {
    /// Lines a second, by its own clock.
    pub rate_hz: f64,
    /// How much its clock is fast, 1.
    pub fast: f64,
    /// From the torque to the moment at which its line is sent, s.
    pub delay_s: f64,
    /// Shortest and longest time of a line on the way, s.
    pub way_s: [f64; 2],
    /// Largest noise of a reading either way, evenly spread, N·m.
    pub noise_nm: f64,
    /// Unit that it writes.
    pub unit: &'static str,
    /// From here on it is silent, s since the rig was switched on.
    pub silent_s: f64,
    /// From here on every line is damaged, s.
    pub garbled_s: f64,
}

impl Sensor {
    /// 1,000 lines a second, 80 ppm fast, a delay of 1.5 ms, 0.3 to 2 ms on the way.
    pub const GOOD: Self = Self {
        rate_hz: 1_000.0,
        fast: 80e-6,
        delay_s: 1.5e-3,
        way_s: [0.3e-3, 2e-3],
        noise_nm: 3e-3,
        unit: "N·m",
        silent_s: f64::INFINITY,
        garbled_s: f64::INFINITY,
    };
}

/// The rig and the sensor on one simulated clock, which the host's runs ahead of and away from.
pub struct World {
    rig: LockStep,
    sensor: Option<Simulated>,
    pushed: Option<Rc<Cell<f64>>>,
    torques: Option<Torques>,
}

/// Torques at the rim as they really were: when, s of the rig, and N·m.
pub type Torques = Rc<RefCell<Vec<(f64, f64)>>>;

struct Simulated {
    sensor: Sensor,
    lines: Lines,
    random: ChaCha8Rng,
    /// Torque of the last step, and lines on their way: when they arrive, and what they say.
    sent: u64,
    on_the_way: std::collections::VecDeque<(f64, String)>,
    past: std::collections::VecDeque<(f64, f64)>,
    readings: Rc<RefCell<Vec<Reading>>>,
}

/// Host time at the rig's tick 0, ns, and how much faster the host's clock runs than the rig's.
const HOST: (f64, f64) = (5.0e9, 30e-6);

/// Host time at a moment of the rig, ns.
#[must_use]
pub fn host_ns(rig_s: f64) -> i64 {
    (HOST.0 + rig_s * (1.0 + HOST.1) * 1e9).round() as i64
}

impl World {
    /// Puts the rig in a world, with a sensor if one is given, declared as the bench's file says.
    #[must_use]
    pub fn new(
        rig: VirtualRig,
        bench: &Bench,
        sensor: Option<(Sensor, u64)>,
    ) -> (Self, Option<Box<dyn Sense>>) {
        let readings = Rc::new(RefCell::new(Vec::new()));
        let simulated = match (&bench.rig.sense, sensor) {
            (Declared::Lines(_, lines), Some((sensor, seed))) => Some(Simulated {
                sensor,
                lines: Lines::new(lines.clone()),
                random: ChaCha8Rng::seed_from_u64(seed),
                sent: 0,
                on_the_way: std::collections::VecDeque::new(),
                past: std::collections::VecDeque::new(),
                readings: Rc::clone(&readings),
            }),
            _ => None,
        };
        let sense = simulated
            .is_some()
            .then(|| Box::new(Taken(readings)) as Box<dyn Sense>);
        let world = Self {
            rig: LockStep::new(rig),
            sensor: simulated,
            pushed: None,
            torques: None,
        };
        (world, sense)
    }

    /// A force-feedback device on the wheelbase: from now on its levels move the motor and the rig controller's setpoints do not.
    /// `full_scale_nm` is what it really makes of its largest level.
    pub fn pushed_by(&mut self, full_scale_nm: f64) -> Pushing {
        let torque_nm = Rc::new(Cell::new(0.0));
        self.pushed = Some(Rc::clone(&torque_nm));
        Pushing {
            torque_nm,
            full_scale_nm,
        }
    }

    /// Keeps what the torque at the rim really was.
    pub fn watched(&mut self) -> Torques {
        let torques = Torques::default();
        self.torques = Some(Rc::clone(&torques));
        torques
    }
}

struct Taken(Rc<RefCell<Vec<Reading>>>);

impl Sense for Taken {
    fn poll(&mut self, take: &mut dyn FnMut(Reading)) {
        for reading in self.0.borrow_mut().drain(..) {
            take(reading);
        }
    }

    fn account(&self) -> Vec<truerim::drive::Said> {
        Vec::new()
    }
}

impl Simulated {
    fn step(&mut self, now_s: f64, torque_nm: f64) {
        let Self { sensor, .. } = self;
        self.past.push_back((now_s, torque_nm));
        while self.past.len() > 64 {
            self.past.pop_front();
        }
        let next_s = self.sent as f64 / sensor.rate_hz / (1.0 + sensor.fast);
        if now_s >= next_s + sensor.delay_s {
            // What it was at the line's own moment.
            let then = self.past.iter().rev().find(|(at, _)| *at <= next_s);
            let noise = 2.0 * f64::from(self.random.next_u32()) / f64::from(u32::MAX) - 1.0;
            let torque_nm = then.map_or(torque_nm, |(_, torque)| *torque) + sensor.noise_nm * noise;
            let share = f64::from(self.random.next_u32()) / f64::from(u32::MAX);
            let [least, most] = sensor.way_s;
            // Mostly short, sometimes long.
            let arrives = next_s + sensor.delay_s + least + (most - least) * share.powi(3);
            self.sent += 1;
            let text = if next_s >= sensor.garbled_s {
                format!("{torque_nm:+.4}?{}\r\n", sensor.unit)
            } else {
                format!("{torque_nm:+.4} {}\r\n", sensor.unit)
            };
            if next_s < sensor.silent_s {
                self.on_the_way.push_back((arrives, text));
            }
        }
        while let Some((arrives, _)) = self.on_the_way.front()
            && *arrives <= now_s
        {
            let Some((_, text)) = self.on_the_way.pop_front() else {
                break;
            };
            let readings = &mut self.readings.borrow_mut();
            self.lines
                .receive(host_ns(now_s), text.as_bytes(), |reading| readings.push(reading));
        }
    }
}

impl Line for World {
    fn now(&self) -> HostNs {
        HostNs(host_ns(self.rig.now().0 as f64 * 1e-9) as u64)
    }

    fn wait(&mut self, until: HostNs, inbox: &mut Vec<u8>) -> Result<(), LineError> {
        loop {
            // In small steps: the sensor looks at the torque in between.
            let tick_end = HostNs(self.rig.now().0 + 100_000);
            if let Some(torque_nm) = &self.pushed {
                self.rig.rig_mut().push_from_outside(torque_nm.get());
            }
            self.rig.wait(tick_end, inbox)?;
            let now_s = self.rig.now().0 as f64 * 1e-9;
            let torque_nm = self.rig.rig().truth().plant.rim_torque_nm();
            if let Some(sensor) = &mut self.sensor {
                sensor.step(now_s, torque_nm);
            }
            if let Some(torques) = &self.torques {
                torques.borrow_mut().push((now_s, torque_nm));
            }
            if !inbox.is_empty() || self.now() >= until {
                return Ok(());
            }
        }
    }

    fn write(&mut self, bytes: &[u8], discard_first: bool) -> Result<(), LineError> {
        self.rig.write(bytes, discard_first)
    }
}

/// A force-feedback device that pushes on the wheelbase of a [`World`].
pub struct Pushing {
    torque_nm: Rc<Cell<f64>>,
    full_scale_nm: f64,
}

impl Push for Pushing {
    fn set(&mut self, level: i16, _renew: bool) -> std::io::Result<()> {
        self.torque_nm
            .set(f64::from(level) / 32_767.0 * self.full_scale_nm);
        Ok(())
    }

    fn release(&mut self) -> std::io::Result<()> {
        self.torque_nm.set(0.0);
        Ok(())
    }

    fn name(&self) -> String {
        "a device that pushes".to_owned()
    }
}

/// What a force-feedback device was told.
#[derive(Debug, Clone, Default)]
pub struct Told {
    /// Each level, and whether it was renewed.
    pub levels: Vec<(i16, bool)>,
    /// Releases so far, and whether the last thing it was told was one.
    pub releases: usize,
    /// Whether it is released now.
    pub released: bool,
    /// It was dropped.
    pub dropped: bool,
}

/// A force-feedback device that remembers; it is lost after so many levels.
pub struct Remembering {
    /// What it was told.
    pub told: Rc<RefCell<Told>>,
    /// Levels after which it is gone.
    pub lost_after: usize,
}

impl Push for Remembering {
    fn set(&mut self, level: i16, renew: bool) -> std::io::Result<()> {
        let mut told = self.told.borrow_mut();
        if told.levels.len() >= self.lost_after {
            return Err(std::io::Error::other("No such device"));
        }
        told.levels.push((level, renew));
        told.released = false;
        Ok(())
    }

    fn release(&mut self) -> std::io::Result<()> {
        let mut told = self.told.borrow_mut();
        told.releases += 1;
        told.released = true;
        Ok(())
    }

    fn name(&self) -> String {
        "a device that remembers".to_owned()
    }
}

impl Drop for Remembering {
    fn drop(&mut self) {
        self.told.borrow_mut().dropped = true;
    }
}
