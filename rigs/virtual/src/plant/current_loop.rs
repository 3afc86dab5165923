//! From torque demand to air-gap torque: clipping, slew limit, voltage limit, current loop, power stage.
//!
//! All torques are at the rim: `T = K_t·N·η·i` with torque constant `K_t` (N·m/A), ratio `N`, drive efficiency `η`.
//!
//! - firmware scaling: `T_target = clip(gain·demand + offset, ±peak)`;
//! - slew limit: `|dT_demand/dt| ≤ slew`;
//! - voltage limit: the current can not be pushed beyond `(±V − K_e·N·ω)/R`, so
//!   `T_demand ∈ K_t·N·η·[(−V − K_e·N·ω)/R, (V − K_e·N·ω)/R]`, `V` the supply less its own drop;
//! - current loop: first order, `dT/dt = 2π·f_loop·(T_demand − T)`, stepped with its exact exponential.
//!
//! With the power stage off the current decays with the loop's time constant (`coast`), or the windings are shorted
//! and `T = −K_t·K_e·N²·η·ω/R`, at most peak (`brake`).

use std::f64::consts::TAU;

/// Torque control of the wheelbase.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TorqueParameters {
    /// Largest torque the firmware asks for, N·m at the rim; above 0.
    pub peak_nm: f64,
    /// Largest rate of the torque demand, N·m/s; above 0.
    pub slew_nm_per_s: f64,
    /// Bandwidth (−3 dB) of the current loop, Hz; above 0.
    pub loop_hz: f64,
    /// Rim torque asked for over setpoint, 1.
    pub gain: f64,
    /// Torque asked for at setpoint zero, N·m.
    pub offset_nm: f64,
}

/// Motor and supply.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MotorParameters {
    /// Torque constant on the motor shaft, N·m/A; above 0.
    pub torque_constant_nm_per_a: f64,
    /// Back-EMF constant on the motor shaft, V·s/rad; above 0.
    pub back_emf_v_s_per_rad: f64,
    /// Winding resistance at 20 °C, ohm; above 0.
    pub resistance_ohm: f64,
    /// Motor turns per rim turn, 1; above 0.
    pub ratio: f64,
    /// Share of the motor's torque that reaches the rim, 1; 0 to 1.
    pub efficiency: f64,
    /// Largest voltage at the winding, V; above 0.
    pub supply_v: f64,
    /// Resistance of the supply, ohm; 0 or more.
    pub supply_resistance_ohm: f64,
}

impl MotorParameters {
    /// Rim torque per ampere, N·m/A.
    pub fn rim_nm_per_a(&self) -> f64 {
        self.torque_constant_nm_per_a * self.ratio * self.efficiency
    }

    /// The least and the largest rim torque the supply can push at `rim_speed_rad_s`, N·m.
    pub fn voltage_limits_nm(&self, rim_speed_rad_s: f64, resistance_ohm: f64) -> (f64, f64) {
        let emf = self.back_emf_v_s_per_rad * self.ratio * rim_speed_rad_s;
        let per_volt = self.rim_nm_per_a() / (resistance_ohm + self.supply_resistance_ohm);
        (
            per_volt * (-self.supply_v - emf),
            per_volt * (self.supply_v - emf),
        )
    }
}

/// State of the wheelbase's power stage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PowerStage {
    /// The current loop works.
    On,
    /// Off: the current dies away, the rim turns freely.
    Coast,
    /// Off with the windings shorted: the motor brakes.
    Brake,
}

/// Torque control with its states.
#[derive(Debug, Clone)]
pub struct CurrentLoop {
    torque: TorqueParameters,
    motor: MotorParameters,
    approach: f64,
    step_s: f64,
    demand_nm: f64,
    torque_nm: f64,
}

impl CurrentLoop {
    /// A loop at rest for steps of `step_s`.
    pub fn new(torque: TorqueParameters, motor: MotorParameters, step_s: f64) -> Self {
        let approach = -(-TAU * torque.loop_hz * step_s).exp_m1();
        Self {
            torque,
            motor,
            approach,
            step_s,
            demand_nm: 0.0,
            torque_nm: 0.0,
        }
    }

    /// One step; returns the mean motor torque over it, N·m at the rim.
    pub fn step(
        &mut self,
        stage: PowerStage,
        setpoint_nm: f64,
        rim_speed_rad_s: f64,
        resistance_ohm: f64,
    ) -> f64 {
        let before = self.torque_nm;
        let target = match stage {
            PowerStage::On => {
                let wanted = (self.torque.gain * setpoint_nm + self.torque.offset_nm)
                    .clamp(-self.torque.peak_nm, self.torque.peak_nm);
                let most = self.torque.slew_nm_per_s * self.step_s;
                let old = self.demand_nm;
                self.demand_nm += (wanted - old).clamp(-most, most);
                let (low, high) = self.motor.voltage_limits_nm(rim_speed_rad_s, resistance_ohm);
                // The demand in the middle of the step; a ramp is followed to second order.
                (0.5 * (old + self.demand_nm)).clamp(low, high)
            }
            PowerStage::Coast => {
                self.demand_nm = 0.0;
                0.0
            }
            PowerStage::Brake => {
                self.demand_nm = 0.0;
                let emf = self.motor.back_emf_v_s_per_rad * self.motor.ratio * rim_speed_rad_s;
                (-self.motor.rim_nm_per_a() * emf / resistance_ohm)
                    .clamp(-self.torque.peak_nm, self.torque.peak_nm)
            }
        };
        self.torque_nm += self.approach * (target - self.torque_nm);
        0.5 * (before + self.torque_nm)
    }

    /// Motor torque now, N·m at the rim.
    pub fn torque_nm(&self) -> f64 {
        self.torque_nm
    }

    /// Motor current now, A.
    pub fn current_a(&self) -> f64 {
        self.torque_nm / self.motor.rim_nm_per_a()
    }
}
