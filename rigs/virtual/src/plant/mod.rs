//! The wheelbase and what it is mounted on, as a two-mass model with everything referred to the rim.
//!
//! ```text
//! J_m·dω_m/dt = T_motor + T_ripple(θ_m) − T_friction,m − T_drive(θ_m − θ_h)     J_m = N²·J_rotor
//! J_h·dω_h/dt = T_drive − T_friction,h − T_sensor(θ_h) + T_bearing(θ_h) + T_stops(θ_h)
//! ```
//!
//! A unit with a gear stage in front of its belt has a third mass between the two ([`GearParameters`]).
//!
//! Each block has its own file with its equations. Steps are drift – kick – drift: half a step of motion, the torques
//! at the mid-point with the bristles stepped by the implicit mid-point rule, then the other half. Springs are thereby followed to
//! second order and give no energy away or in. What depends on speed takes that in the middle of the step, from the last two (after
//! Adams and Bashforth), and is of second order too, but for the step within which teeth hit: with the speed at the beginning the first
//! mode of the belt unit would be a seventh of a percent high at steps of 25 µs, and its response above it 0.4 %.

mod current_loop;
mod drive;
mod faults;
mod firmware;
mod friction;
mod gear;
mod heat;
mod hub;
mod mounting;
mod parameters;
mod ripple;
mod turning;

pub use current_loop::{CurrentLoop, MotorParameters, PowerStage, TorqueParameters};
pub use drive::{DriveParameters, UnevenDrive};
pub use firmware::{Firmware, FirmwareParameters};
pub use friction::{Friction, FrictionParameters};
pub use gear::GearParameters;
pub use heat::{COPPER_PER_K, DeratingParameters, Heat, HeatParameters, Thermal};
pub use hub::{BearingParameters, EndStopParameters, UnevenFriction};
pub use mounting::{FarSide, Mounting, MountingParameters};
pub use parameters::PlantParameters;
pub use ripple::{RippleOrder, ripple_energy_j, ripple_nm};
pub use turning::{Turning, TurningParameters};

use rand_chacha::ChaCha8Rng;

use crate::random::unit;
use gear::Shaft;

/// Steps of the heat model come this often, s.
const HEAT_STEP_S: f64 = 1.0e-3;

/// A speed half a step on, as it has changed over the step before.
fn ahead(speed_rad_s: f64, before_rad_s: f64) -> f64 {
    speed_rad_s + 0.5 * (speed_rad_s - before_rad_s)
}

/// The simulated wheelbase.
#[derive(Debug, Clone)]
pub struct Plant {
    parameters: PlantParameters,
    step_s: f64,
    steps: u64,
    random: ChaCha8Rng,
    firmware: Firmware,
    current_loop: CurrentLoop,
    motor_friction: Friction,
    output_friction: Friction,
    mounting: Mounting,
    heat: Heat,
    thermal: Thermal,
    shaft: Option<Shaft>,
    stage: PowerStage,
    setpoint_nm: f64,
    /// Changes of the setpoint within the step to come: when (s) and to what (N·m).
    changes: Vec<(f64, f64)>,
    /// Torque the motor makes whatever it is told (a fault), N·m.
    runaway_nm: Option<f64>,
    /// Friction of a hand on the rim, N·m; how far the belt has slipped, rad; whether it is broken (faults).
    grab_nm: f64,
    slipped_rad: f64,
    broken: bool,
    motor_angle_rad: f64,
    motor_speed_rad_s: f64,
    hub_angle_rad: f64,
    hub_speed_rad_s: f64,
    /// Speeds of motor and hub a step before.
    before_rad_s: [f64; 2],
    sensor_nm: f64,
    square_sum_a2: f64,
    heat_steps: u32,
    heat_every: u32,
}

impl Plant {
    /// A wheelbase at rest with its power stage off, for steps of `step_s`; `random` drives the firmware's jitter.
    pub fn new(parameters: PlantParameters, step_s: f64, random: ChaCha8Rng) -> Self {
        let heat = Heat::new(parameters.heat, parameters.motor.resistance_ohm);
        Self {
            step_s,
            steps: 0,
            random,
            firmware: Firmware::new(parameters.firmware),
            current_loop: CurrentLoop::new(parameters.torque, parameters.motor, step_s),
            motor_friction: Friction::new(parameters.motor_friction),
            output_friction: Friction::new(parameters.output_friction),
            mounting: Mounting::new(parameters.mounting.clone()),
            thermal: parameters.thermal(&heat),
            heat,
            shaft: parameters.gear.map(Shaft::new),
            stage: PowerStage::Coast,
            setpoint_nm: 0.0,
            changes: Vec::new(),
            runaway_nm: None,
            grab_nm: 0.0,
            slipped_rad: 0.0,
            broken: false,
            motor_angle_rad: 0.0,
            motor_speed_rad_s: 0.0,
            hub_angle_rad: 0.0,
            hub_speed_rad_s: 0.0,
            before_rad_s: [0.0; 2],
            sensor_nm: 0.0,
            square_sum_a2: 0.0,
            heat_steps: 0,
            heat_every: (HEAT_STEP_S / step_s).ceil().max(1.0) as u32,
            parameters,
        }
    }

    /// The setpoint the rig controller offers from now on, N·m.
    pub fn set_setpoint_nm(&mut self, setpoint_nm: f64) {
        self.setpoint_nm = setpoint_nm;
        self.changes.clear();
    }

    /// The setpoint that the rig controller offers from `at_s` on, a time in the step to come. Times must rise.
    pub fn change_setpoint_at(&mut self, at_s: f64, setpoint_nm: f64) {
        self.changes.push((at_s, setpoint_nm));
    }

    /// Switches the power stage. Leaving `On` also empties the firmware's delay line: what was on its way is lost.
    pub fn set_stage(&mut self, stage: PowerStage) {
        if self.stage == PowerStage::On && stage != PowerStage::On {
            self.firmware.flush();
            self.set_setpoint_nm(0.0);
        }
        self.stage = stage;
    }

    /// Puts both sides at the given angles and speeds (initial conditions of a test); a shaft between them goes with
    /// the motor.
    pub fn set_motion(&mut self, motor: [f64; 2], hub: [f64; 2]) {
        [self.motor_angle_rad, self.motor_speed_rad_s] = motor;
        [self.hub_angle_rad, self.hub_speed_rad_s] = hub;
        self.before_rad_s = [motor[1], hub[1]];
        if let Some(shaft) = &mut self.shaft {
            shaft.set_motion(motor);
        }
    }

    /// Puts the far side of the sensor at the given angle and speed (initial conditions of a test); a drive goes on with
    /// its script.
    pub fn set_far_motion(&mut self, motion: [f64; 2]) {
        self.mounting.set_far_motion(motion);
    }

    /// One step of `step_s`.
    pub fn step(&mut self) {
        let h = self.step_s;
        let now_s = self.steps as f64 * h;
        self.steps += 1;
        let random = &mut self.random;
        let (before, changes) = (self.setpoint_nm, &self.changes);
        let setpoint = |t: f64| {
            changes
                .iter()
                .rfind(|(at, _)| *at <= t)
                .map_or(before, |&(_, nm)| nm)
        };
        let demand = self.firmware.step(now_s, h, setpoint, || unit(random));
        if let Some((_, last)) = self.changes.pop() {
            self.set_setpoint_nm(last);
        }
        let demand = self.runaway_nm.unwrap_or(demand);
        let motor_rad_s = ahead(self.motor_speed_rad_s, self.before_rad_s[0]);
        let hub_rad_s = ahead(self.hub_speed_rad_s, self.before_rad_s[1]);
        self.before_rad_s = [self.motor_speed_rad_s, self.hub_speed_rad_s];
        let motor_nm = self
            .current_loop
            .step(self.stage, demand, motor_rad_s, &self.thermal);

        self.drift(0.5 * h);
        let ripple = ripple_nm(&self.parameters.ripple, self.motor_angle_rad, motor_nm);
        let last = self.parameters.drive_at(self.hub_angle_rad);
        // Mesh and belt where there is a shaft between them; otherwise the drive alone.
        let (slipped, broken) = (self.slipped_rad, self.broken);
        let (mesh, drive, load) = match &mut self.shaft {
            None => {
                let drive = last.torque_nm(
                    self.motor_angle_rad - self.hub_angle_rad - slipped,
                    motor_rad_s - hub_rad_s,
                );
                let drive = if broken { 0.0 } else { drive };
                (drive, drive, 0.0)
            }
            Some(shaft) => {
                let shaft_rad_s = shaft.ahead_rad_s();
                let (mesh, load) = shaft.mesh(self.motor_angle_rad, motor_rad_s - shaft_rad_s);
                let twist_rad = shaft.angle_rad - self.hub_angle_rad - slipped;
                let drive = last.torque_nm(twist_rad, shaft_rad_s - hub_rad_s);
                let drive = if broken { 0.0 } else { drive };
                shaft.push(drive, h);
                (mesh, drive, load)
            }
        };
        let motor_friction = self.motor_friction.step_loaded(motor_rad_s, h, load);
        let uneven = self.parameters.uneven.level_nm(self.hub_angle_rad);
        let output_friction = self
            .output_friction
            .step_loaded(hub_rad_s, h, self.grab_nm + uneven);
        let sensor = self.mounting.torque_ahead_nm(self.hub_angle_rad, hub_rad_s);
        let hub = self.hub_nm(hub_rad_s);
        self.motor_speed_rad_s +=
            h * (motor_nm + ripple - motor_friction - mesh) / self.parameters.reflected_kg_m2();
        self.hub_speed_rad_s += h * (drive - output_friction - sensor + hub) / self.parameters.hub_kg_m2;
        self.mounting.push(sensor, self.hub_angle_rad, h);
        self.drift(0.5 * h);
        self.sensor_nm = self.mounting.torque_nm(self.hub_angle_rad, self.hub_speed_rad_s);

        let current = self.current_loop.current_a();
        self.square_sum_a2 += current * current;
        self.heat_steps += 1;
        if self.heat_steps >= self.heat_every {
            let n = f64::from(self.heat_steps);
            let mean_a2 = self.square_sum_a2 * self.parameters.motor.loss_factor / n;
            self.heat.step(mean_a2, n * h);
            self.thermal = self.parameters.thermal(&self.heat);
            self.square_sum_a2 = 0.0;
            self.heat_steps = 0;
        }
    }

    /// Torque on the hub from bearing and end stops at a speed, N·m.
    fn hub_nm(&self, speed_rad_s: f64) -> f64 {
        let p = &self.parameters;
        p.bearing.torque_nm(self.hub_angle_rad)
            + p.end_stops
                .map_or(0.0, |stops| stops.torque_nm(self.hub_angle_rad, speed_rad_s))
    }

    fn drift(&mut self, time_s: f64) {
        self.motor_angle_rad += time_s * self.motor_speed_rad_s;
        self.hub_angle_rad += time_s * self.hub_speed_rad_s;
        if let Some(shaft) = &mut self.shaft {
            shaft.angle_rad += time_s * shaft.speed_rad_s;
        }
        self.mounting.drift(time_s);
    }

    /// The parameters.
    pub fn parameters(&self) -> &PlantParameters {
        &self.parameters
    }

    /// Plant time, s since boot.
    pub fn time_s(&self) -> f64 {
        self.steps as f64 * self.step_s
    }

    /// Torque of the motor, N·m at the rim.
    pub fn motor_torque_nm(&self) -> f64 {
        self.current_loop.torque_nm()
    }

    /// Torque through the sensor, N·m: what a perfect sensor reads.
    pub fn rim_torque_nm(&self) -> f64 {
        self.sensor_nm
    }

    /// Angle of the rim (hub), rad.
    pub fn rim_angle_rad(&self) -> f64 {
        self.hub_angle_rad
    }

    /// Speed of the rim (hub), rad/s.
    pub fn rim_speed_rad_s(&self) -> f64 {
        self.hub_speed_rad_s
    }

    /// Angle of the motor, rad at the rim.
    pub fn motor_angle_rad(&self) -> f64 {
        self.motor_angle_rad
    }

    /// Speed of the motor, rad/s at the rim.
    pub fn motor_speed_rad_s(&self) -> f64 {
        self.motor_speed_rad_s
    }

    /// Speed of what the rim is mounted on, rad/s: 0 on ground.
    pub fn far_speed_rad_s(&self) -> f64 {
        self.mounting.far_speed_rad_s()
    }

    /// Angle of the shaft between gear stage and belt, rad at the rim; the motor's where there is none.
    pub fn shaft_angle_rad(&self) -> f64 {
        self.shaft.map_or(self.motor_angle_rad, |shaft| shaft.angle_rad)
    }

    /// Angle of what the rim is mounted on, rad: 0 on ground unless the clamp has slipped.
    pub fn far_angle_rad(&self) -> f64 {
        self.mounting.far_angle_rad()
    }

    /// Motor current, A.
    pub fn current_a(&self) -> f64 {
        self.current_loop.current_a()
    }

    /// Temperature of the winding, °C.
    pub fn winding_degc(&self) -> f64 {
        self.heat.winding_degc()
    }

    /// Temperature of the case, °C.
    pub fn case_degc(&self) -> f64 {
        self.heat.case_degc()
    }

    /// Voltage at the wheelbase's terminals, V: the supply less the drop the motor's power causes in it.
    pub fn terminal_v(&self) -> f64 {
        let m = &self.parameters.motor;
        let current = self.current_a();
        let power = m.loss_factor * current * current * self.thermal.resistance_ohm
            + self.motor_torque_nm() / m.efficiency * self.motor_speed_rad_s;
        m.supply_v - m.supply_resistance_ohm * (power / m.supply_v)
    }

    /// Mechanical energy: moving masses, springs, bristles, ripple, J.
    pub fn energy_j(&self) -> f64 {
        let p = &self.parameters;
        0.5 * p.reflected_kg_m2() * self.motor_speed_rad_s * self.motor_speed_rad_s
            + 0.5 * p.hub_kg_m2 * self.hub_speed_rad_s * self.hub_speed_rad_s
            + self
                .shaft
                .map_or(0.0, |shaft| shaft.energy_j(self.motor_angle_rad))
            + if self.broken {
                0.0
            } else {
                p.drive_at(self.hub_angle_rad)
                    .energy_j(self.shaft_angle_rad() - self.hub_angle_rad - self.slipped_rad)
            }
            + p.bearing.energy_j(self.hub_angle_rad)
            + p.end_stops
                .map_or(0.0, |stops| stops.energy_j(self.hub_angle_rad))
            + self.mounting.energy_j(self.hub_angle_rad)
            + self.motor_friction.energy_j()
            + self.output_friction.energy_j()
            + ripple_energy_j(&p.ripple, self.motor_angle_rad)
    }
}
