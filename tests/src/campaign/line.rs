//! The line of a case: the virtual rig in lock-step, looked at in every step of the plant once the fault has begun.

use bench_core::time::HostNs;
use rig_link::{HostMessage, RigState, Splitter};
use truerim::drive::{Line, LineError};
use virtual_rig::faults::{Fault, FaultKind};
use virtual_rig::{Truth, VirtualRig};

use super::case::Onset;

/// Between two looks, ticks.
const STEP_US: u64 = 25;
/// Between two looks that are kept for a comparison, ticks.
pub const KEPT_US: u64 = 1_000;
/// Torque of the motor that counts as none, N·m.
pub const NONE_NM: f64 = 0.02;

/// What the rig really did from the onset on.
#[derive(Debug, Clone, Default)]
pub struct Seen {
    /// Rig tick of the plan's zero, once a setpoint was sent.
    pub plan_zero: Option<u64>,
    /// Rig tick of the onset.
    pub onset: Option<u64>,
    /// Rim angle, rim speed at the onset, rad, rad/s.
    pub at_onset: [f64; 2],
    /// Whether the rig was armed at the onset.
    pub armed_at_onset: bool,
    /// Rim less far side at the onset where a drive turns that, rad.
    pub reference_rad: f64,
    /// Greatest travel of the rim since then, on a drive against the drive, rad.
    pub travel_rad: f64,
    /// Greatest rim speed, on a drive against the drive, rad/s.
    pub speed_rad_s: f64,
    /// Longest time without a break above the limit of speed, ticks.
    pub fast_us: u64,
    fast_since: Option<u64>,
    /// Greatest torque of the motor, N·m.
    pub motor_nm: f64,
    /// Greatest torque at the rim, N·m.
    pub rim_nm: f64,
    /// Furthest that the clamp has crept, rad.
    pub crept_rad: f64,
    /// Last tick at which the armed rig's motor made torque.
    pub driven: Option<u64>,
    /// Whether the rig stopped being armed after the onset without having been told to.
    pub left_by_itself: Option<bool>,
    /// Rim angle, motor torque every [`KEPT_US`].
    pub kept: Vec<[f32; 2]>,
    next_kept: u64,
}

/// See the module's text.
pub struct Looking {
    rig: VirtualRig,
    on_drive: bool,
    limit_rad_s: f64,
    from_bench: Splitter,
    fault: Option<(Onset, FaultKind, f64)>,
    watch: Option<Onset>,
    stop_sent: bool,
    /// Whether the bench has asked for permission to make torque.
    asked: bool,
    /// What was seen.
    pub seen: Seen,
    /// Whether the last that the bench said was a stop, or the end of samples after one.
    pub last_words_stop: bool,
}

impl Looking {
    /// Takes a rig that was just switched on, and the limit of its rim's speed. With `kind: None` nothing goes wrong, but it is looked at from `onset` on.
    #[must_use]
    pub fn new(
        rig: VirtualRig,
        on_drive: bool,
        limit_rad_s: f64,
        onset: Onset,
        kind: Option<(FaultKind, f64)>,
    ) -> Self {
        Self {
            rig,
            on_drive,
            limit_rad_s,
            from_bench: Splitter::new(),
            fault: kind.map(|(kind, size)| (onset, kind, size)),
            watch: Some(onset),
            stop_sent: false,
            asked: false,
            seen: Seen::default(),
            last_words_stop: false,
        }
    }

    /// The rig as it is.
    #[must_use]
    pub fn truth(&self) -> Truth<'_> {
        self.rig.truth()
    }

    /// The motor's torque now, N·m.
    #[must_use]
    pub fn motor_nm(&self) -> f64 {
        self.rig.motor_torque_nm()
    }

    /// Lets the rig go on without a bench until it rests, or for `longest_us`.
    pub fn settle(&mut self, longest_us: u64) {
        let until = self.rig.tick() + longest_us;
        let mut nothing = Vec::new();
        while self.rig.tick() < until {
            self.go_on((self.rig.tick() + 10_000).min(until));
            self.rig.transmit(&mut nothing);
            nothing.clear();
            let free_of_torque = self.rig.truth().state != RigState::Armed;
            if free_of_torque && !self.on_drive && self.rig.rim_speed_rad_s().abs() < 0.005 {
                return;
            }
        }
    }

    fn due(&self, onset: Onset) -> Option<u64> {
        match onset {
            Onset::SinceBoot(tick) => Some(tick),
            Onset::InPlan(us) => self.seen.plan_zero.map(|zero| zero + us),
        }
    }

    fn go_on(&mut self, tick: u64) {
        // Up to the onset in one go, from there in steps.
        if let Some(due) = self.watch.and_then(|onset| self.due(onset)) {
            if tick < due {
                self.rig.advance_to(tick);
                return;
            }
            self.rig.advance_to(due);
            self.watch = None;
            self.begin();
        } else if self.watch.is_some() {
            self.rig.advance_to(tick);
            return;
        }
        while self.rig.tick() < tick {
            self.rig.advance_to((self.rig.tick() + STEP_US).min(tick));
            self.look();
        }
    }

    fn begin(&mut self) {
        let (rim, speed) = (self.rig.rim_angle_rad(), self.rig.rim_speed_rad_s());
        let far = self.rig.truth().plant.far_angle_rad();
        self.seen.onset = Some(self.rig.tick());
        self.seen.next_kept = self.rig.tick();
        self.seen.at_onset = [rim, speed];
        self.seen.armed_at_onset = self.rig.truth().state == RigState::Armed;
        self.seen.reference_rad = if self.on_drive { rim - far } else { rim };
        if let Some((_, kind, size)) = self.fault.take() {
            self.rig.add_fault(Fault {
                kind,
                start_tick: self.rig.tick(),
                size,
            });
        }
        self.look();
    }

    fn look(&mut self) {
        let tick = self.rig.tick();
        let (motor, rim, speed) = (
            self.rig.motor_torque_nm(),
            self.rig.rim_angle_rad(),
            self.rig.rim_speed_rad_s(),
        );
        let truth = self.rig.truth();
        let (far, far_speed) = (truth.plant.far_angle_rad(), truth.plant.far_speed_rad_s());
        let rim_nm = truth.plant.rim_torque_nm();
        let armed = truth.state == RigState::Armed;
        let seen = &mut self.seen;
        let (place, moving) = if self.on_drive {
            (rim - far, speed - far_speed)
        } else {
            (rim, speed)
        };
        seen.travel_rad = seen.travel_rad.max((place - seen.reference_rad).abs());
        seen.speed_rad_s = seen.speed_rad_s.max(moving.abs());
        seen.fast_since = (moving.abs() > self.limit_rad_s).then(|| seen.fast_since.unwrap_or(tick));
        let fast_us = seen.fast_since.map_or(0, |since| tick - since);
        seen.fast_us = seen.fast_us.max(fast_us);
        seen.motor_nm = seen.motor_nm.max(motor.abs());
        seen.rim_nm = seen.rim_nm.max(rim_nm.abs());
        seen.crept_rad = seen.crept_rad.max(far.abs());
        if armed && motor.abs() >= NONE_NM {
            seen.driven = Some(tick);
        }
        if !armed && seen.armed_at_onset && seen.left_by_itself.is_none() {
            seen.left_by_itself = Some(!self.stop_sent);
        }
        if tick >= seen.next_kept {
            seen.kept.push([place as f32, motor as f32]);
            seen.next_kept += KEPT_US;
        }
    }

    fn note_sent(&mut self, bytes: &[u8]) {
        let mut splitter = core::mem::take(&mut self.from_bench);
        let mut asked = false;
        splitter.feed(bytes, |frame| {
            let Ok(Ok(message)) = frame.map(HostMessage::parse) else {
                return;
            };
            match message {
                HostMessage::Setpoints(setpoints) if self.seen.plan_zero.is_none() => {
                    self.seen.plan_zero = Some(setpoints.first_tick());
                }
                HostMessage::ArmRequest(_) => asked = true,
                HostMessage::ArmConfirm(_) => self.stop_sent = false,
                HostMessage::Stop(_) => self.stop_sent = true,
                _ => {}
            }
            self.last_words_stop =
                matches!(message, HostMessage::Stop(_)) || matches!(message, HostMessage::StopSampling(_));
        });
        self.from_bench = splitter;
        if asked && !self.asked {
            self.asked = true;
            self.count_from_here();
        }
    }

    /// What the rim did before the bench had seen it at rest is not of its making: it counts from the first request to arm.
    fn count_from_here(&mut self) {
        let (rim, far) = (self.rig.rim_angle_rad(), self.rig.truth().plant.far_angle_rad());
        let seen = &mut self.seen;
        seen.reference_rad = if self.on_drive { rim - far } else { rim };
        (seen.travel_rad, seen.speed_rad_s) = (0.0, 0.0);
        (seen.fast_us, seen.fast_since) = (0, None);
    }
}

impl Line for Looking {
    fn now(&self) -> HostNs {
        HostNs(self.rig.tick().saturating_mul(1_000))
    }

    fn wait(&mut self, until: HostNs, inbox: &mut Vec<u8>) -> Result<(), LineError> {
        let before = inbox.len();
        self.rig.transmit(inbox);
        if inbox.len() > before {
            return Ok(());
        }
        let deadline = until.0.div_ceil(1_000);
        // With bytes held back on the line nobody knows when the next ones come: look often then.
        let next = self
            .rig
            .next_output_tick()
            .min(deadline)
            .min(self.rig.tick() + 1_000);
        self.go_on(next.max(self.rig.tick() + 1));
        self.rig.transmit(inbox);
        Ok(())
    }

    fn write(&mut self, bytes: &[u8], _discard_first: bool) -> Result<(), LineError> {
        self.note_sent(bytes);
        self.rig.receive(bytes);
        Ok(())
    }
}
