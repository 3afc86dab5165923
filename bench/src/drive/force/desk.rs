//! In place of a rig controller, where a wheelbase is driven by force feedback and its torque is measured by a sensor of its own.
//!
//! It is the controller of the virtual rig on this computer's clock: what PROTOCOL.md asks of a rig controller holds, but nothing of it survives this
//! program, and its 2 ms are not promised by anybody. The rim's angle is the device's own axis, looked at whenever this thread wakes:
//! good for limits, not for a measurement of the angle. What ends torque without this program is the device: the length of its
//! effect, and the kernel, which erases effects when a program ends.

use std::time::Duration;

use bench_core::rig::Rig;
use bench_core::time::HostNs;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rig_link::FULL_SCALE_COUNTS;
use virtual_rig::ControllerParameters;
use virtual_rig::controller::{Controller, Counts, Wiring};

use crate::drive::clock::{HostClock, remaining, rest};
use crate::drive::{Line, LineError};

/// Control step, µs.
const STEP_US: u64 = 250;
/// Channels: setpoint and rim angle.
const CHANNELS: &[usize] = &[0, 2];
/// Steps made up for at most after a wait; a longer one is a jump in time, which the run notices.
const MOST_STEPS: u64 = 4_000;

/// The rim's angle in counts, or why it cannot be read.
pub type Angle = Box<dyn Fn() -> std::io::Result<i32>>;

/// A rig controller on this computer.
pub struct Desk {
    controller: Controller,
    clock: HostClock,
    begin: HostNs,
    controlled: u64,
    angle: Angle,
}

impl Desk {
    /// Switches it on. `angle` reads the rim in counts of `scale_rad`.
    #[must_use]
    pub fn new(rig: &Rig, full_scale_nm: f64, angle: Angle, scale_rad: f64, clock: HostClock) -> Self {
        let begin = clock.now();
        let parameters = ControllerParameters {
            model: "this computer".to_owned(),
            serial: "-".to_owned(),
            firmware: env!("CARGO_PKG_VERSION").to_owned(),
            full_scale_nm,
            period_us: 1_000,
            min_sample_period_us: STEP_US as u32,
            batch_rows: 8,
            queue_capacity: 256,
            brake: false,
            emergency_stop_input: false,
            supply_span_v: [f64::NEG_INFINITY, f64::INFINITY],
            own_sensor_torque_nm: f64::from(u16::MAX),
            own_rim_speed_rad_s: rig.limits.rim_speed_rad_s,
            own_temperature_degc: rig.limits.temperature_degc,
            simulated: false,
            step_us: STEP_US as u32,
        };
        let wiring = Wiring {
            channels: CHANNELS,
            setpoint_nm: full_scale_nm / f64::from(FULL_SCALE_COUNTS),
            rim_rad: scale_rad,
            // Of channels that there are not; the values keep their limits quiet.
            torque_nm: 1.0,
            torque_end: i32::MAX,
            torque_delay_ns: 0,
            motor_rad: 1.0,
            current_a: 1.0,
            temperature_k: 1.0,
            supply_v: 1.0,
        };
        let random = ChaCha8Rng::seed_from_u64(begin.0);
        Self {
            controller: Controller::new(parameters, wiring, random, 0),
            clock,
            begin,
            controlled: 0,
            angle,
        }
    }

    fn tick(&self) -> u64 {
        self.clock.now().us_since(self.begin)
    }

    /// Lets the controller catch up with the clock.
    fn advance(&mut self) -> Result<(), LineError> {
        let now = self.tick();
        let due = (now - self.controlled.min(now)) / STEP_US;
        if due > MOST_STEPS {
            self.controlled = now - now % STEP_US; // the run sees the gap, and stops
        }
        let rim = (self.angle)().map_err(|source| LineError::Io {
            port: "the force-feedback device".to_owned(),
            doing: "reading its axis",
            source,
        })?;
        let counts = Counts {
            rim,
            ..Counts::default()
        };
        while self.controlled + STEP_US <= now {
            self.controlled += STEP_US;
            let wanted = self.controller.wants_counts(self.controlled);
            self.controller.step(self.controlled, wanted.then_some(&counts));
        }
        Ok(())
    }
}

impl Line for Desk {
    fn now(&self) -> HostNs {
        self.clock.now()
    }

    fn wait(&mut self, until: HostNs, inbox: &mut Vec<u8>) -> Result<(), LineError> {
        let before = inbox.len();
        self.controller.transmit(inbox); // answers to what was written
        if inbox.len() > before {
            return Ok(());
        }
        let next = self.begin.plus_us(self.controller.next_output_tick());
        let pause = remaining(self.clock.now(), until.min(next));
        rest(pause.max(Duration::from_micros(50))); // never spinning
        self.advance()?;
        self.controller.transmit(inbox);
        Ok(())
    }

    fn write(&mut self, bytes: &[u8], _discard_first: bool) -> Result<(), LineError> {
        let now = self.tick().max(self.controlled);
        self.controller.receive(bytes, now);
        Ok(())
    }
}
