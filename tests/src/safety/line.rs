//! The line between bench and rig, with everything that passes it written down.

use bench_core::time::HostNs;
use rig_link::{HostMessage, RigState, Splitter};
use truerim::drive::{Line, LineError};
use virtual_rig::{Fault, FaultKind, VirtualRig};

use super::meddling::Meddler;

/// Between two looks at the rig, ticks: the plant's own step.
const STEP_US: u64 = 25;

/// What the rig really did at one instant.
#[derive(Debug, Clone, Copy)]
pub struct Look {
    /// Rig tick.
    pub tick: u64,
    /// State of the controller.
    pub state: RigState,
    /// Torque of the motor, N·m at the rim.
    pub motor_nm: f64,
    /// Torque at the rim, N·m.
    pub rim_nm: f64,
    /// Angle of the rim, rad.
    pub rim_rad: f64,
    /// Speed of the rim, rad/s.
    pub rim_rad_s: f64,
}

/// When something passes the line.
#[derive(Debug, Clone, Copy)]
pub struct Moment {
    /// Ticks since the rig was switched on.
    pub tick: u64,
    /// Ticks since the plan's zero, once setpoints were sent; 0 before.
    pub plan_us: u64,
}

/// When the bench's side of the line stops for good.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Break {
    /// The host sees nothing and does nothing any more for 200 ms, then the line is gone.
    Freeze,
    /// Every call fails at once.
    Unplug,
}

/// A virtual rig as a line.
pub struct Watched {
    rig: VirtualRig,
    meddler: Meddler,
    from_bench: Splitter,
    /// Faults that count from the plan's zero.
    faults: Vec<(FaultKind, u64, f64)>,
    plan_zero: Option<u64>,
    watch_from_us: Option<u64>,
    broken_at: Option<(u64, Break)>,
    broken: bool,
    late: Option<(u64, u64)>,
    mail: Vec<(u64, Vec<u8>)>,
    written: bool,
    waited_for_nothing: bool,
    /// Everything the bench sent, with the tick.
    pub sent: Vec<(u64, HostMessage)>,
    /// Bytes from the bench that were no frame of its own.
    pub malformed: u32,
    /// What the rig did, from the moment asked for on.
    pub looks: Vec<Look>,
    /// Calls of `wait`.
    pub wakes: u64,
    /// Waits for a deadline that had come before, although nothing had been sent or received.
    pub spins: u64,
    /// Ticks during which the bench had the line.
    pub ticks: u64,
}

impl Watched {
    /// Takes a rig that was just switched on.
    #[must_use]
    pub fn new(rig: VirtualRig, meddler: Meddler) -> Self {
        Self {
            rig,
            meddler,
            from_bench: Splitter::new(),
            faults: Vec::new(),
            plan_zero: None,
            watch_from_us: None,
            broken_at: None,
            broken: false,
            late: None,
            mail: Vec::new(),
            written: false,
            waited_for_nothing: false,
            sent: Vec::new(),
            malformed: 0,
            looks: Vec::new(),
            wakes: 0,
            spins: 0,
            ticks: 0,
        }
    }

    /// A fault `at_us` after the plan's zero.
    pub fn fault(&mut self, kind: FaultKind, at_us: u64, size: f64) {
        self.faults.push((kind, at_us, size));
    }

    /// Looks at the rig in every step of the plant from `at_us` after the plan's zero on.
    pub const fn watch_from(&mut self, at_us: u64) {
        self.watch_from_us = Some(at_us);
    }

    /// Breaks the bench's side `at_us` after the plan's zero.
    pub const fn break_at(&mut self, at_us: u64, how: Break) {
        self.broken_at = Some((at_us, how));
    }

    /// Lets the host sleep `by_us` longer than it wanted, once, `at_us` after the plan's zero.
    pub const fn oversleep(&mut self, at_us: u64, by_us: u64) {
        self.late = Some((at_us, by_us));
    }

    /// The rig.
    #[must_use]
    pub const fn rig(&self) -> &VirtualRig {
        &self.rig
    }

    /// The rig, for hands on it after the run.
    pub const fn rig_mut(&mut self) -> &mut VirtualRig {
        &mut self.rig
    }

    /// Rig tick of the plan's zero.
    #[must_use]
    pub const fn plan_zero(&self) -> Option<u64> {
        self.plan_zero
    }

    fn moment(&self) -> Moment {
        let tick = self.rig.tick();
        let plan_us = self.plan_zero.map_or(0, |zero| tick.saturating_sub(zero));
        Moment { tick, plan_us }
    }

    /// Lets time go on, in steps while it is being watched, until `tick` or until the rig says something.
    fn go_on(&mut self, tick: u64, stop_at_output: bool) {
        loop {
            let moment = self.moment();
            if moment.tick >= tick {
                return;
            }
            let watched =
                self.plan_zero.is_some() && self.watch_from_us.is_some_and(|from| moment.plan_us >= from);
            self.rig.advance_to((moment.tick + STEP_US).min(tick));
            if watched {
                self.looks.push(Look {
                    tick: self.rig.tick(),
                    state: self.rig.truth().state,
                    motor_nm: self.rig.motor_torque_nm(),
                    rim_nm: self.rig.truth().plant.rim_torque_nm(),
                    rim_rad: self.rig.rim_angle_rad(),
                    rim_rad_s: self.rig.rim_speed_rad_s(),
                });
            }
            if self.collect() && stop_at_output {
                return;
            }
        }
    }

    /// Takes what the rig has written; whether there was anything.
    fn collect(&mut self) -> bool {
        let mut raw = Vec::new();
        self.rig.transmit(&mut raw);
        if raw.is_empty() {
            return false;
        }
        let moment = self.moment();
        let due = moment.tick + self.meddler.delay_us(moment);
        let bytes = self.meddler.pass_to_bench(moment, &raw);
        self.mail.push((due, bytes));
        true
    }

    fn deliver(&mut self, inbox: &mut Vec<u8>) {
        let now = self.rig.tick();
        while self.mail.first().is_some_and(|(due, _)| *due <= now) {
            inbox.extend(self.mail.remove(0).1);
        }
    }

    fn failed() -> LineError {
        LineError::Io {
            port: "the test's line".to_owned(),
            doing: "reading",
            source: std::io::ErrorKind::BrokenPipe.into(),
        }
    }

    /// Whether the line is gone, which it may be from now on.
    fn is_gone(&mut self) -> bool {
        let moment = self.moment();
        if let Some((at_us, how)) = self.broken_at
            && self.plan_zero.is_some()
            && moment.plan_us >= at_us
        {
            self.broken_at = None;
            self.broken = true;
            if how == Break::Freeze {
                self.go_on(moment.tick + 200_000, false);
            }
        }
        self.broken
    }

    fn note_sent(&mut self, bytes: &[u8]) {
        let tick = self.rig.tick();
        let mut splitter = core::mem::take(&mut self.from_bench);
        splitter.feed(bytes, |frame| {
            match frame.ok().and_then(|frame| HostMessage::parse(frame).ok()) {
                Some(message) => {
                    if let (HostMessage::Setpoints(setpoints), None) = (&message, self.plan_zero) {
                        self.plan_zero = Some(setpoints.first_tick());
                    }
                    self.sent.push((tick, message));
                }
                None => self.malformed += 1,
            }
        });
        self.from_bench = splitter;
        if let Some(zero) = self.plan_zero {
            for (kind, at_us, size) in self.faults.drain(..) {
                let start_tick = zero + at_us;
                self.rig.add_fault(Fault {
                    kind,
                    start_tick,
                    size,
                });
            }
        }
    }
}

impl Line for Watched {
    fn now(&self) -> HostNs {
        HostNs(self.rig.tick().saturating_mul(1_000))
    }

    fn wait(&mut self, until: HostNs, inbox: &mut Vec<u8>) -> Result<(), LineError> {
        if self.is_gone() {
            return Err(Self::failed());
        }
        let began = self.rig.tick();
        self.wakes += 1;
        if until <= self.now() && self.waited_for_nothing && !self.written {
            self.spins += 1;
        }
        self.written = false;
        self.collect();
        self.deliver(inbox);
        if inbox.is_empty() {
            let mut deadline = until.0.div_ceil(1_000).max(began + 1);
            let moment = self.moment();
            let sleepy = self
                .late
                .filter(|(at_us, _)| self.plan_zero.is_some() && moment.plan_us >= *at_us);
            if let Some((_, by_us)) = sleepy {
                self.late = None;
                deadline += by_us;
            } else if let Some((due, _)) = self.mail.first() {
                deadline = deadline.min(*due).max(began + 1);
            }
            self.go_on(deadline, sleepy.is_none());
            self.deliver(inbox);
        }
        self.waited_for_nothing = inbox.is_empty();
        self.ticks += self.rig.tick() - began;
        Ok(())
    }

    fn write(&mut self, bytes: &[u8], _discard_first: bool) -> Result<(), LineError> {
        self.written = true;
        self.note_sent(bytes);
        if self.is_gone() {
            return Err(Self::failed());
        }
        let moment = self.moment();
        let passed = self.meddler.pass_to_rig(moment, bytes);
        self.rig.receive(&passed);
        Ok(())
    }
}
