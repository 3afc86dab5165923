//! The whole rig in lock-step: plant, sensors and controller on one clock that the caller moves.

use rig_link::{FULL_SCALE_COUNTS, RigState};
use settings_file::Findings;

use crate::clock::LocalClock;
use crate::controller::{Controller, Counts, Output, Wiring};
use crate::faults::{Fault, FaultKind};
use crate::line_faults::{LineFaults, Way};
use crate::parameters::{Mounting, RigParameters};
use crate::plant::{Plant, PowerStage};
use crate::random::{Stream, generator};
use crate::sensors::{Readings, Sensors};

/// What nobody can measure: the parameters with everything that was drawn from the seed.
#[derive(Debug, Clone, Copy)]
pub struct Truth<'a> {
    /// All parameters.
    pub parameters: &'a RigParameters,
    /// The plant with its states.
    pub plant: &'a Plant,
    /// State of the controller.
    pub state: RigState,
}

/// A simulated rig. Bytes go in with [`Self::receive`], time goes on with [`Self::advance_to`], bytes come out with
/// [`Self::transmit`]; nothing else moves it, so the same calls give the same bytes.
#[derive(Debug, Clone)]
pub struct VirtualRig {
    parameters: RigParameters,
    plant: Plant,
    sensors: Sensors,
    controller: Controller,
    line: LineFaults,
    faults: Vec<Fault>,
    tick: u64,
    /// Ticks up to which the plant has been stepped: a multiple of the step.
    stepped: u64,
    /// The controller's timer, from 0 when it boots, and up to where by it the controller has been stepped: a multiple of
    /// the step too. While the clock is right both grids are one.
    clock: LocalClock,
    controlled: u64,
    emergency_stop_closed: bool,
    /// Since when and how fast the temperature channel climbs (a fault): tick, K/s.
    climb: Option<(u64, f64)>,
    /// Torque that something else than this controller asks of the wheelbase, N·m: then the controller's own setpoints move nothing.
    pushed_nm: Option<f64>,
    pending: Vec<u8>,
}

impl VirtualRig {
    /// Reads a rig file's `[virtual]` table and switches the rig on.
    ///
    /// # Errors
    /// Everything wrong with the table, each with its line and what to do.
    pub fn from_toml(file: &str, text: &str, seed: u64) -> Result<Self, Findings> {
        RigParameters::from_toml(file, text, seed).map(|parameters| Self::new(parameters, seed))
    }

    /// As [`Self::from_toml`], with the rim held in another of the mountings that the file describes.
    ///
    /// # Errors
    /// As [`Self::from_toml`], and a mounting that the file does not describe.
    pub fn mounted(file: &str, text: &str, seed: u64, mounting: Option<Mounting>) -> Result<Self, Findings> {
        RigParameters::mounted(file, text, seed, mounting).map(|parameters| Self::new(parameters, seed))
    }

    /// Switches a rig with these parameters on: tick 0, zero torque, everything at rest.
    pub fn new(parameters: RigParameters, seed: u64) -> Self {
        let step_s = parameters.step_s();
        let controller = Controller::new(
            parameters.controller.clone(),
            wiring(&parameters),
            generator(seed, Stream::Controller),
            0,
        );
        let mut rig = Self {
            plant: Plant::new(
                parameters.plant.clone(),
                step_s,
                generator(seed, Stream::Firmware),
            ),
            sensors: Sensors::new(parameters.sensors, step_s, seed),
            controller,
            line: LineFaults::new(seed),
            faults: sorted(parameters.faults.clone()),
            tick: 0,
            stepped: 0,
            clock: LocalClock::new(),
            controlled: 0,
            emergency_stop_closed: true,
            climb: None,
            pushed_nm: None,
            pending: Vec::new(),
            parameters,
        };
        if !rig.faults.is_empty() {
            rig.controller.admit_faults();
        }
        rig
    }

    /// Ticks since the rig was switched on. The controller's own count is the same until a fault makes it another: it
    /// reboots and starts from 0 again, its clock drifts, its count jumps.
    pub fn tick(&self) -> u64 {
        self.tick
    }

    /// Bytes from the bench arrive now and are carried out at once.
    pub fn receive(&mut self, bytes: &[u8]) {
        let now = self.clock.local(self.tick);
        if self.line.is_clean() {
            self.controller.receive(bytes, now);
        } else {
            self.line.send(Way::In, bytes, self.tick);
            let left = self.line.arrived(Way::In, self.tick);
            self.controller.receive(&left, now);
        }
        self.drive();
    }

    /// Lets time go on to `tick`; a tick in the past changes nothing.
    pub fn advance_to(&mut self, tick: u64) {
        let step = u64::from(self.parameters.step_us);
        while self.stepped + step <= tick {
            let next = self.stepped + step;
            self.tick = next;
            self.begin_faults(next);
            if self.line.is_holding(Way::In) {
                let left = self.line.arrived(Way::In, next);
                let now = self.clock.local(next).min(self.controlled + step);
                self.controller.receive(&left, now);
                self.drive();
            }
            self.play_between(next);
            self.plant.step();
            self.sensors.step(&self.plant);
            self.stepped = next;
            self.control(next);
        }
        // Between two steps: what is due by now is in force before anything arrives now.
        self.play_between(tick.saturating_add(1));
        self.tick = tick.max(self.tick);
        self.control(self.tick);
    }

    /// Steps the controller as far as its timer has come by `tick`: once a step of the plant while its clock is right.
    fn control(&mut self, tick: u64) {
        let local = self.clock.local(tick);
        let step = u64::from(self.parameters.step_us);
        while self.controlled + step <= local {
            self.controlled += step;
            if self.controller.wants_counts(self.controlled) {
                let counts = self.read_sensors();
                self.controller.step(self.controlled, Some(&counts));
            } else {
                self.controller.step(self.controlled, None);
            }
            self.drive();
        }
    }

    /// Moves what the controller has written to the end of `out`.
    pub fn transmit(&mut self, out: &mut Vec<u8>) {
        if self.line.is_clean() {
            self.controller.transmit(out);
        } else {
            self.controller.transmit(&mut self.pending);
            self.line.send(Way::Out, &self.pending, self.tick);
            self.pending.clear();
            out.extend(self.line.arrived(Way::Out, self.tick));
        }
    }

    /// When the controller will next write by itself unless something happens before: a batch of samples or a status.
    /// The end of time when it is not sampling. Events (a trip, a finished brake) come when they come, at the latest
    /// seen with the next batch.
    pub fn next_output_tick(&self) -> u64 {
        self.clock.true_at(self.controller.next_output_tick())
    }

    /// Adds a fault to the script. One whose time is over begins with the next step.
    pub fn add_fault(&mut self, fault: Fault) {
        let place = self
            .faults
            .partition_point(|other| other.start_tick > fault.start_tick);
        self.faults.insert(place, fault);
        self.controller.admit_faults();
    }

    /// The faults that have not begun yet, the next one first.
    pub fn faults(&self) -> Vec<Fault> {
        self.faults.iter().rev().copied().collect()
    }

    /// Presses (`false`) or releases (`true`) the emergency stop now: the power stage loses its supply by hardware,
    /// and the controller sees its input change.
    pub fn set_emergency_stop_closed(&mut self, closed: bool) {
        self.emergency_stop_closed = closed;
        self.controller
            .set_emergency_stop(closed, self.clock.local(self.tick));
        self.drive();
    }

    /// From now on the wheelbase takes its torque by another way than from the controller, which goes through its setpoints, states and limits
    /// all the same: as where a wheelbase is a force-feedback device and the controller measures. The emergency stop cuts either.
    pub fn push_from_outside(&mut self, torque_nm: f64) {
        if self.pushed_nm != Some(torque_nm) {
            self.pushed_nm = Some(torque_nm);
            self.drive();
        }
    }

    /// The parameters and states behind what can be measured, for tests.
    pub fn truth(&self) -> Truth<'_> {
        Truth {
            parameters: &self.parameters,
            plant: &self.plant,
            state: self.controller.state(),
        }
    }

    /// Torque of the motor now, N·m at the rim.
    pub fn motor_torque_nm(&self) -> f64 {
        self.plant.motor_torque_nm()
    }

    /// Angle of the rim now, rad.
    pub fn rim_angle_rad(&self) -> f64 {
        self.plant.rim_angle_rad()
    }

    /// Speed of the rim now, rad/s.
    pub fn rim_speed_rad_s(&self) -> f64 {
        self.plant.rim_speed_rad_s()
    }

    /// Puts the controller's output on the wheelbase.
    fn drive(&mut self) {
        if let (Some(torque_nm), true) = (self.pushed_nm, self.emergency_stop_closed) {
            self.plant.set_stage(PowerStage::On);
            self.plant.set_setpoint_nm(torque_nm);
            return;
        }
        match self.controller.output() {
            // The hard-wired stop needs no controller.
            Output::Torque(_) if !self.emergency_stop_closed => self.plant.set_stage(PowerStage::Coast),
            Output::Torque(raw) => {
                self.plant.set_stage(PowerStage::On);
                self.plant
                    .set_setpoint_nm(f64::from(raw) * setpoint_scale_nm(&self.parameters));
            }
            Output::Off => self.plant.set_stage(PowerStage::Coast),
            Output::Brake => self.plant.set_stage(PowerStage::Brake),
        }
    }

    /// Setpoints whose ticks lie between the last step and `next` come into force at their own ticks.
    fn play_between(&mut self, next: u64) {
        while let Some(local) = self.controller.next_setpoint_tick() {
            let tick = self.clock.true_at(local);
            let step = u64::from(self.parameters.step_us);
            if local <= self.controlled || local >= self.controlled + step || tick >= next {
                return; // at the controller's next step, or at the first one after it came too late for its own
            }
            self.controller.step(local, None);
            match self.controller.output() {
                Output::Torque(_) if self.pushed_nm.is_some() => {}
                Output::Torque(raw) => {
                    let setpoint_nm = f64::from(raw) * setpoint_scale_nm(&self.parameters);
                    self.plant.change_setpoint_at(tick as f64 * 1e-6, setpoint_nm);
                }
                Output::Off | Output::Brake => self.drive(),
            }
        }
    }

    fn read_sensors(&mut self) -> Counts {
        if let Some((since, k_per_s)) = self.climb {
            self.sensors
                .set_heating_k(k_per_s * (self.tick - since) as f64 * 1e-6);
        }
        let Readings {
            torque,
            rim,
            motor,
            current,
            temperature,
            supply,
        } = self.sensors.read(&self.plant);
        Counts {
            torque,
            rim,
            motor,
            current,
            temperature,
            supply,
        }
    }

    fn begin_faults(&mut self, tick: u64) {
        while let Some(fault) = self
            .faults
            .last()
            .copied()
            .filter(|fault| fault.start_tick <= tick)
        {
            self.faults.pop();
            self.begin(fault);
        }
    }

    fn begin(&mut self, fault: Fault) {
        match fault.kind {
            FaultKind::TorqueRunaway => self.plant.set_runaway_nm(Some(fault.size)),
            FaultKind::ClampSlip => self.plant.set_clamp_holding_nm(fault.size),
            FaultKind::StreamFreeze => self.controller.freeze_stream(),
            FaultKind::BytesLost => self.line.lost = fault.size,
            FaultKind::BytesFlipped => self.line.flipped = fault.size,
            FaultKind::BytesDoubled => self.line.doubled = fault.size,
            FaultKind::BytesDelayed => self.line.delay_us = (fault.size * 1e6).round() as u64,
            FaultKind::BytesCut => self.line.cut_next(),
            FaultKind::PortVanishes => self.line.gone = true,
            FaultKind::Reboot => {
                // The controller's grid starts on the next step.
                self.clock.restart(self.stepped);
                self.controlled = 0;
                self.controller = self.controller.clone().rebooted();
                self.drive();
            }
            FaultKind::IgnoreStop => self.controller.ignore_stops(),
            FaultKind::ClockDrifts => self.clock.drift(self.stepped, fault.size),
            FaultKind::ClockJumps => {
                let ticks = (fault.size * 1e6).round() as i64;
                self.controller.jump_clock(ticks, self.controlled);
            }
            FaultKind::EmergencyStop => self.set_emergency_stop_closed(false),
            FaultKind::EmergencyStopReleased => self.set_emergency_stop_closed(true),
            FaultKind::TorqueSensorStuck => self.sensors.stick_torque(),
            FaultKind::TorqueSensorSaturated => self.sensors.saturate_torque(fault.size),
            FaultKind::TorqueSensorDropsOut => self.sensors.drop_torque_out(),
            FaultKind::TorqueSensorDrifts => self.sensors.drift_torque(fault.size, &self.plant),
            FaultKind::RimAngleJumps => self.sensors.jump_rim(fault.size),
            FaultKind::RimAngleStuck => self.sensors.stick_rim(&self.plant),
            FaultKind::RimAngleInverted => self.sensors.invert_rim(&self.plant),
            FaultKind::SupplySags => self.plant.sag_supply_v(fault.size),
            FaultKind::RimGrabbed => self.plant.set_grab_nm(fault.size),
            FaultKind::RimStruck => self.plant.strike(fault.size),
            FaultKind::BeltSlips => self.plant.slip_belt(fault.size),
            FaultKind::BeltBreaks => self.plant.break_belt(),
            FaultKind::TemperatureClimb => self.climb = Some((self.tick, fault.size)),
        }
    }
}

/// Latest first, so that the next one is at the end; equal ticks keep the order in which they were written.
fn sorted(mut faults: Vec<Fault>) -> Vec<Fault> {
    faults.reverse();
    faults.sort_by_key(|fault| std::cmp::Reverse(fault.start_tick));
    faults
}

fn setpoint_scale_nm(parameters: &RigParameters) -> f64 {
    parameters.controller.full_scale_nm / f64::from(FULL_SCALE_COUNTS)
}

fn wiring(parameters: &RigParameters) -> Wiring {
    let sensors = &parameters.sensors;
    Wiring {
        channels: crate::controller::ALL,
        setpoint_nm: setpoint_scale_nm(parameters),
        torque_nm: sensors.torque.scale_nm(),
        torque_end: sensors.torque.counts_at_range,
        torque_delay_ns: (sensors.torque.declared_delay_s * 1e9).round() as u32,
        rim_rad: sensors.rim.step_rad(),
        motor_rad: sensors.motor.step_rad,
        current_a: sensors.current.scale,
        temperature_k: sensors.temperature.scale,
        supply_v: sensors.supply.scale,
    }
}
