//! The torque of a dead weight on a lever arm.
//!
//! `T = m·g·L·(1 − ρ_air/ρ_weight)`: the weight of a mass less the buoyancy of the air that it displaces. `m` is the true
//! mass; a certificate's conventional mass belongs to 8,000 kg/m³, and differs from it below 1 ppm for steel.
//!
//! Gravity is the normal gravity of WGS 84 by Somigliana's closed formula, with the free-air term to second order in the
//! height (NIMA TR8350.2, third edition, 2000, equations 4-1 and 4-3; its constants of chapter 3). The ground's own
//! gravity differs from it by tens of mGal, in mountains by up to 200 mGal; that is why it carries an uncertainty and a
//! value of the national service is better.

use serde::{Deserialize, Serialize};

use super::CalibrationRefusal;

/// Normal gravity at the equator, m/s².
const EQUATOR_M_S2: f64 = 9.780_325_335_9;
/// Somigliana's constant.
const SOMIGLIANA: f64 = 0.001_931_852_652_41;
/// First eccentricity squared.
const E2: f64 = 0.006_694_379_990_14;
/// Semi-major axis, m.
const A_M: f64 = 6_378_137.0;
/// Flattening.
const FLATTENING: f64 = 1.0 / 298.257_223_563;
/// `ω²a²b/GM`.
const M: f64 = 0.003_449_786_506_84;
/// Half width within which the ground's gravity differs from normal gravity, m/s²: 100 mGal.
pub const ANOMALY_M_S2: f64 = 1e-3;

/// Normal gravity, m/s², at a geodetic latitude (rad, −π/2 to π/2) and a height above the ellipsoid (m, −500 to 9,000).
///
/// # Errors
/// [`CalibrationRefusal::Value`] outside those ranges.
pub fn gravity_m_s2(latitude_rad: f64, height_m: f64) -> Result<f64, CalibrationRefusal> {
    let right = std::f64::consts::FRAC_PI_2;
    CalibrationRefusal::unless(
        latitude_rad.abs() <= right,
        "the latitude in rad",
        latitude_rad,
        "−π/2 to π/2",
    )?;
    CalibrationRefusal::unless(
        (-500.0..=9_000.0).contains(&height_m),
        "the height in m",
        height_m,
        "−500 to 9,000",
    )?;
    let s2 = latitude_rad.sin().powi(2);
    let ground = EQUATOR_M_S2 * (1.0 + SOMIGLIANA * s2) / (1.0 - E2 * s2).sqrt();
    let linear = 2.0 / A_M * (1.0 + FLATTENING + M - 2.0 * FLATTENING * s2) * height_m;
    let square = 3.0 * (height_m / A_M).powi(2);
    Ok(ground * (1.0 - linear + square))
}

/// Relative standard uncertainty of normal gravity as the gravity of a place: rectangular within [`ANOMALY_M_S2`].
#[must_use]
pub fn normal_gravity_uncertainty() -> f64 {
    ANOMALY_M_S2 / 3.0_f64.sqrt() / EQUATOR_M_S2
}

/// Where and with what weights hang.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Place {
    /// Local gravity, m/s².
    pub gravity_m_s2: f64,
    /// Density of the air, kg/m³; 1.2 at 20 °C and 1,013 hPa.
    pub air_kg_m3: f64,
    /// Density of the weights, kg/m³; 8,000 for steel by convention.
    pub weight_kg_m3: f64,
    /// Length of the lever arm, from the axis to the line of the force, m.
    pub arm_m: f64,
}

/// Relative standard uncertainties behind a weight's torque.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct WeightUncertainty {
    /// Of the masses, taken as fully correlated.
    pub mass: f64,
    /// Of local gravity.
    pub gravity: f64,
    /// Of the arm's length, its departure from the horizontal included.
    pub arm: f64,
    /// Of the buoyancy's factor.
    pub buoyancy: f64,
}

impl WeightUncertainty {
    /// Relative standard uncertainty of the torque (a product: JCGM 100, 5.1.6).
    #[must_use]
    pub fn combined(&self) -> f64 {
        [self.mass, self.gravity, self.arm, self.buoyancy]
            .iter()
            .map(|u| u * u)
            .sum::<f64>()
            .sqrt()
    }
}

impl Place {
    /// Torque of a mass, N·m.
    ///
    /// # Errors
    /// [`CalibrationRefusal::Value`] when something is not above zero, or the air is not lighter than the weight.
    pub fn torque_nm(&self, mass_kg: f64) -> Result<f64, CalibrationRefusal> {
        let above = "above zero";
        CalibrationRefusal::unless(mass_kg > 0.0, "a mass in kg", mass_kg, above)?;
        CalibrationRefusal::unless(
            self.gravity_m_s2 > 0.0,
            "gravity in m/s²",
            self.gravity_m_s2,
            above,
        )?;
        CalibrationRefusal::unless(self.arm_m > 0.0, "the arm's length in m", self.arm_m, above)?;
        CalibrationRefusal::unless(
            self.air_kg_m3 >= 0.0 && self.air_kg_m3 < self.weight_kg_m3,
            "the air's density in kg/m³",
            self.air_kg_m3,
            "zero or more and below that of the weights",
        )?;
        Ok(mass_kg * self.gravity_m_s2 * self.arm_m * (1.0 - self.air_kg_m3 / self.weight_kg_m3))
    }
}
