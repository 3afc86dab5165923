//! One check weight against a calibration.

use serde::{Deserialize, Serialize};

use super::CalibrationRefusal;

/// What a check weight showed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Verification {
    /// Load, N·m.
    pub load_nm: f64,
    /// Reading less its zero, N·m.
    pub reading_nm: f64,
    /// Reading less load times sensitivity, relative to the load, percent.
    pub deviation_pct: f64,
    /// What it may be either way, percent: the expanded uncertainties of load and sensor, and twice the reading's
    /// own over the load, in quadrature.
    pub allowed_pct: f64,
    /// Whether it is within.
    pub holds: bool,
}

/// Compares a reading with a load. `slope` is the sensitivity of the calibration, `sensor` its relative standard
/// uncertainty, `load` that of the load, `reading_nm` the standard uncertainty of the reading.
///
/// # Errors
/// [`CalibrationRefusal::Value`] when the load or the slope is zero, or something is no number.
pub fn verify(
    [load_nm, reading_nm]: [f64; 2],
    slope: f64,
    [sensor, load, reading_u_nm]: [f64; 3],
) -> Result<Verification, CalibrationRefusal> {
    CalibrationRefusal::unless(load_nm.abs() > 0.0, "the load in N·m", load_nm, "other than zero")?;
    CalibrationRefusal::unless(slope.abs() > 0.0, "the sensitivity", slope, "other than zero")?;
    CalibrationRefusal::unless(true, "the reading in N·m", reading_nm, "a finite number")?;
    let expected = load_nm * slope;
    let deviation_pct = 100.0 * (reading_nm - expected) / expected;
    let of_reading = reading_u_nm / expected.abs();
    let allowed_pct = 200.0 * (sensor * sensor + load * load + of_reading * of_reading).sqrt();
    CalibrationRefusal::unless(true, "what is allowed in percent", allowed_pct, "a finite number")?;
    Ok(Verification {
        load_nm,
        reading_nm,
        deviation_pct,
        allowed_pct,
        holds: deviation_pct.abs() <= allowed_pct,
    })
}
