//! What the rig controller can see of the plant: raw counts, with every sensor's own errors.

mod filter;
mod position;
mod rim_faults;
mod slow;
mod torque;

pub use filter::{LowPass, NOISE_BANDWIDTH, group_delay_s};
pub use position::{MotorPosition, MotorPositionParameters, RimEncoderParameters};
pub use slow::{SlowChannelParameters, slow_counts};
pub use torque::{TorqueSensor, TorqueSensorParameters};

use rand_chacha::ChaCha8Rng;

use crate::plant::Plant;
use crate::random::{Stream, generator};
use rim_faults::RimFaults;

/// All sensors of the rig.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SensorParameters {
    /// Torque at the rim.
    pub torque: TorqueSensorParameters,
    /// Angle of the rim.
    pub rim: RimEncoderParameters,
    /// Angle of the motor.
    pub motor: MotorPositionParameters,
    /// Current of the motor, A.
    pub current: SlowChannelParameters,
    /// Temperature of the winding, °C.
    pub temperature: SlowChannelParameters,
    /// Voltage at the wheelbase's terminals, V.
    pub supply: SlowChannelParameters,
}

/// Counts of all sensors at one moment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Readings {
    /// Torque sensor.
    pub torque: i32,
    /// Rim encoder.
    pub rim: i32,
    /// Position sensor on the motor.
    pub motor: i32,
    /// Current.
    pub current: i32,
    /// Temperature.
    pub temperature: i32,
    /// Supply.
    pub supply: i32,
}

/// The sensors with their states.
#[derive(Debug, Clone)]
pub struct Sensors {
    parameters: SensorParameters,
    torque: TorqueSensor,
    motor: MotorPosition,
    slow: ChaCha8Rng,
    /// Added to the temperature (a fault), K.
    heating_k: f64,
    rim_faults: RimFaults,
    /// Since when (s) and how fast the torque sensor's zero wanders (a fault), N·m/s.
    wandering: Option<(f64, f64)>,
}

impl Sensors {
    /// Sensors for physics in steps of `step_s`.
    pub fn new(parameters: SensorParameters, step_s: f64, seed: u64) -> Self {
        Self {
            torque: TorqueSensor::new(parameters.torque, step_s, generator(seed, Stream::TorqueNoise)),
            motor: MotorPosition::new(parameters.motor, generator(seed, Stream::PositionNoise)),
            slow: generator(seed, Stream::SlowNoise),
            heating_k: 0.0,
            rim_faults: RimFaults::default(),
            wandering: None,
            parameters,
        }
    }

    /// Follows the plant through one step.
    pub fn step(&mut self, plant: &Plant) {
        self.torque.step(plant.rim_torque_nm());
    }

    /// Reads every sensor now.
    pub fn read(&mut self, plant: &Plant) -> Readings {
        let p = &self.parameters;
        let rise_k = plant.case_degc() - plant.parameters().heat.ambient_degc;
        self.torque.drift(plant.time_s(), rise_k);
        if let Some((since_s, nm_per_s)) = self.wandering {
            self.torque.wander(nm_per_s * (plant.time_s() - since_s));
        }
        Readings {
            torque: self.torque.counts(),
            rim: self.rim_faults.apply(p.rim.counts(plant.rim_angle_rad())),
            motor: self.motor.counts(plant.motor_angle_rad()),
            current: slow_counts(p.current, plant.current_a(), &mut self.slow),
            temperature: slow_counts(
                p.temperature,
                plant.winding_degc() + self.heating_k,
                &mut self.slow,
            ),
            supply: slow_counts(p.supply, plant.terminal_v(), &mut self.slow),
        }
    }

    /// The torque sensor repeats its present counts from now on (a fault).
    pub fn stick_torque(&mut self) {
        self.torque.stick();
    }

    /// The torque sensor is at the end of its range from now on, on the side of `sign` (a fault).
    pub fn saturate_torque(&mut self, sign: f64) {
        self.torque.saturate(sign);
    }

    /// The torque sensor gives its counts at zero torque from now on (a fault).
    pub fn drop_torque_out(&mut self) {
        self.torque.drop_out();
    }

    /// The torque sensor's zero wanders from now on by this much each second, N·m (a fault).
    pub fn drift_torque(&mut self, nm_per_s: f64, plant: &Plant) {
        self.wandering = Some((plant.time_s(), nm_per_s));
    }

    /// The rim encoder jumps by this angle, rad (a fault).
    pub fn jump_rim(&mut self, angle_rad: f64) {
        self.rim_faults
            .jump((angle_rad / self.parameters.rim.step_rad()).round() as i32);
    }

    /// The rim encoder repeats its present counts from now on (a fault).
    pub fn stick_rim(&mut self, plant: &Plant) {
        self.rim_faults
            .stick(self.parameters.rim.counts(plant.rim_angle_rad()));
    }

    /// The rim encoder counts the other way from now on (a fault).
    pub fn invert_rim(&mut self, plant: &Plant) {
        self.rim_faults
            .invert(self.parameters.rim.counts(plant.rim_angle_rad()));
    }

    /// Adds to the temperature from now on (a fault), K.
    pub fn set_heating_k(&mut self, heating_k: f64) {
        self.heating_k = heating_k;
    }
}
