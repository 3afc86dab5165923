//! From torque demand to air-gap torque: clipping, slew limit, voltage limit, current loop, power stage.
//!
//! All torques are at the rim: `T = Φ·K_t·N·η·i` with torque constant `K_t` (N·m/A, at 20 °C), ratio `N`, drive efficiency
//! `η`, and the magnets' flux Φ over its value at 20 °C, which the firmware does not know: it controls the current, so its
//! torques are nominal, `K_t·N·η·i`.
//!
//! - firmware scaling: `T_target = clip(gain·demand + offset, ±peak)`, the peak derated when hot;
//! - slew limit: `|dT_demand/dt| ≤ slew`;
//! - voltage limit: the current can not be pushed beyond `(±V − Φ·K_e·N·ω)/R`, so
//!   `T_demand ∈ K_t·N·η·[(−V − Φ·K_e·N·ω)/R, (V − Φ·K_e·N·ω)/R]`, `R` that of winding and supply in series;
//! - current loop: first order, `dT/dt = 2π·f_loop·(T_demand − T)`, stepped with its exact exponential.
//!
//! With the power stage off the current decays with the loop's time constant (`coast`), or the windings are shorted
//! and `T = −Φ²·K_t·K_e·N²·η·ω/R`, at most peak (`brake`).

use std::f64::consts::TAU;

use super::heat::Thermal;

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
    /// Supply, V; above 0.
    pub supply_v: f64,
    /// Largest voltage at the winding, V; above 0: the supply's, or what the power stage makes of it.
    pub voltage_limit_v: f64,
    /// Resistance of the supply, ohm; 0 or more.
    pub supply_resistance_ohm: f64,
    /// Copper loss over `i²·R`, 1: 1 for direct current, 1.5 for three phases with `i` and `R` those of one.
    pub loss_factor: f64,
    /// Loss of the magnets' flux α, 1/K, about 20 °C; 0 or more.
    pub flux_loss_per_k: f64,
}

impl MotorParameters {
    /// Rim torque per ampere, N·m/A.
    pub fn rim_nm_per_a(&self) -> f64 {
        self.torque_constant_nm_per_a * self.ratio * self.efficiency
    }

    /// The least and the largest nominal rim torque the supply can push at `rim_speed_rad_s`, N·m.
    pub fn voltage_limits_nm(&self, rim_speed_rad_s: f64, thermal: &Thermal) -> (f64, f64) {
        let emf = self.emf_v(rim_speed_rad_s, thermal.flux);
        let per_volt = self.rim_nm_per_a() / (thermal.resistance_ohm + self.supply_resistance_ohm);
        (
            per_volt * (-self.voltage_limit_v - emf),
            per_volt * (self.voltage_limit_v - emf),
        )
    }

    fn emf_v(&self, rim_speed_rad_s: f64, flux: f64) -> f64 {
        self.back_emf_v_s_per_rad * self.ratio * rim_speed_rad_s * flux
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
    /// Nominal torque, which stands for the current.
    nominal_nm: f64,
    flux: f64,
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
            nominal_nm: 0.0,
            flux: 1.0,
        }
    }

    /// One step; returns the mean motor torque over it, N·m at the rim.
    pub fn step(
        &mut self,
        stage: PowerStage,
        setpoint_nm: f64,
        rim_speed_rad_s: f64,
        thermal: &Thermal,
    ) -> f64 {
        let before = self.nominal_nm;
        self.flux = thermal.flux;
        let target = match stage {
            PowerStage::On => {
                let peak = thermal.peak_share * self.torque.peak_nm;
                let wanted = (self.torque.gain * setpoint_nm + self.torque.offset_nm).clamp(-peak, peak);
                let most = self.torque.slew_nm_per_s * self.step_s;
                let old = self.demand_nm;
                self.demand_nm += (wanted - old).clamp(-most, most);
                let (low, high) = self.motor.voltage_limits_nm(rim_speed_rad_s, thermal);
                // The demand in the middle of the step; a ramp is followed to second order.
                (0.5 * (old + self.demand_nm)).clamp(low, high)
            }
            PowerStage::Coast => {
                self.demand_nm = 0.0;
                0.0
            }
            PowerStage::Brake => {
                self.demand_nm = 0.0;
                let emf = self.motor.emf_v(rim_speed_rad_s, thermal.flux);
                (-self.motor.rim_nm_per_a() * emf / thermal.resistance_ohm)
                    .clamp(-self.torque.peak_nm, self.torque.peak_nm)
            }
        };
        self.nominal_nm += self.approach * (target - self.nominal_nm);
        thermal.flux * (0.5 * (before + self.nominal_nm))
    }

    /// The supply has changed, and what the power stage can make of it.
    pub fn set_motor(&mut self, motor: MotorParameters) {
        self.motor = motor;
    }

    /// Motor torque now, N·m at the rim.
    pub fn torque_nm(&self) -> f64 {
        self.flux * self.nominal_nm
    }

    /// Motor current now, A.
    pub fn current_a(&self) -> f64 {
        self.nominal_nm / self.motor.rim_nm_per_a()
    }
}
