//! Two-node heat model of the motor.
//!
//! ```text
//! C_w·dϑ_w/dt = i²·R(ϑ_w) − (ϑ_w − ϑ_c)/R_wc      winding
//! C_c·dϑ_c/dt = (ϑ_w − ϑ_c)/R_wc − (ϑ_c − ϑ_a)/R_ca   case, to ambient ϑ_a
//! R(ϑ) = R_20·(1 + 0.00393·(ϑ − 20 °C))            copper, as in IEC 60034-1's (235 + ϑ) rule
//! ```
//!
//! Two things follow the temperatures: magnets, which sit at the case's temperature, lose flux,
//! `Φ = 1 − α·(ϑ_c − 20 °C)`, and with it torque per ampere and back-EMF; and the firmware derates, asking for less than
//! the peak from a winding temperature on ([`DeratingParameters`]).
//!
//! °C, W, K/W, J/K. Stepped by explicit Euler once a millisecond; the fastest time constant is tens of seconds.

/// Copper's temperature coefficient at 20 °C, 1/K.
pub const COPPER_PER_K: f64 = 0.00393;

/// How the firmware takes the peak torque back when the winding gets hot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DeratingParameters {
    /// Winding temperature from which it takes back, °C.
    pub from_degc: f64,
    /// Winding temperature at which no more than `left` is left, °C; above `from_degc`.
    pub to_degc: f64,
    /// Share of the peak that is left from there on, 1; 0 to 1.
    pub left: f64,
}

impl DeratingParameters {
    /// Share of the peak at winding temperature `winding_degc`: 1, then falling in a straight line to `left`.
    pub fn peak_share(&self, winding_degc: f64) -> f64 {
        let x = ((winding_degc - self.from_degc) / (self.to_degc - self.from_degc)).clamp(0.0, 1.0);
        1.0 - x * (1.0 - self.left)
    }
}

/// What torque control feels of the temperatures.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thermal {
    /// Resistance of the winding, ohm.
    pub resistance_ohm: f64,
    /// Torque per ampere, and back-EMF, over their values at 20 °C, 1.
    pub flux: f64,
    /// Share of the peak torque that the firmware allows, 1.
    pub peak_share: f64,
}

/// Heat paths and capacities.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatParameters {
    /// Winding to case, K/W; above 0.
    pub winding_case_k_per_w: f64,
    /// Case to air, K/W; above 0.
    pub case_air_k_per_w: f64,
    /// Winding, J/K; above 0.
    pub winding_j_per_k: f64,
    /// Case, J/K; above 0.
    pub case_j_per_k: f64,
    /// Air, °C; winding and case start there.
    pub ambient_degc: f64,
}

/// The two temperatures.
#[derive(Debug, Clone)]
pub struct Heat {
    parameters: HeatParameters,
    cold_resistance_ohm: f64,
    winding_degc: f64,
    case_degc: f64,
}

impl Heat {
    /// Everything at ambient; `cold_resistance_ohm` is the winding's resistance at 20 °C.
    pub fn new(parameters: HeatParameters, cold_resistance_ohm: f64) -> Self {
        Self {
            parameters,
            cold_resistance_ohm,
            winding_degc: parameters.ambient_degc,
            case_degc: parameters.ambient_degc,
        }
    }

    /// Resistance of the winding at its present temperature, ohm.
    pub fn resistance_ohm(&self) -> f64 {
        self.cold_resistance_ohm * (1.0 + COPPER_PER_K * (self.winding_degc - 20.0))
    }

    /// Advances by `step_s` with mean square current `current_a2` (A²).
    pub fn step(&mut self, current_a2: f64, step_s: f64) {
        let p = &self.parameters;
        let inward = current_a2 * self.resistance_ohm();
        let across = (self.winding_degc - self.case_degc) / p.winding_case_k_per_w;
        let out = (self.case_degc - p.ambient_degc) / p.case_air_k_per_w;
        self.winding_degc += step_s * (inward - across) / p.winding_j_per_k;
        self.case_degc += step_s * (across - out) / p.case_j_per_k;
    }

    /// Winding temperature, °C.
    pub fn winding_degc(&self) -> f64 {
        self.winding_degc
    }

    /// Case temperature, °C.
    pub fn case_degc(&self) -> f64 {
        self.case_degc
    }
}
