//! Certificates: what was found, by whom and when, with an identity that tells one from another.

use std::path::Path;

use records::{canonical, sha256};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use truerim_analysis::calibration::angle::{self, Protractor};
use truerim_analysis::calibration::series::{Readings, Series};
use truerim_analysis::calibration::torque::{Known, TorqueCalibration, evaluate};

use super::setup::{AngleReadings, AngleSetup, Head, Loads, TorqueSetup};
use super::{CalibrationError, read_text};

/// What the first field of every certificate says.
pub const FORMAT: &str = "truerim calibration 1";

/// What a certificate is about.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "lowercase")]
pub enum Subject {
    /// A torque sensor.
    Torque {
        /// Weights and arm.
        loads: Loads,
        /// What was known beside the readings.
        known: Known,
        /// Torque of each step, N·m.
        torque_nm: Vec<f64>,
        /// The readings, N·m.
        series: Vec<Series>,
        /// What they show.
        result: TorqueCalibration,
        /// Relative standard uncertainty of the sensitivity: what a rig file's `gain_uncertainty` is.
        gain_uncertainty: f64,
    },
    /// An angle.
    Angle {
        /// The readings.
        readings: AngleReadings,
        /// What they show.
        result: AngleResult,
    },
}

/// What an angle calibration shows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum AngleResult {
    /// From an index.
    CountsPerTurn(angle::Value),
    /// From a protractor.
    Protractor(Protractor),
}

/// A certificate.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Certificate {
    /// [`FORMAT`].
    pub format: String,
    /// SHA-256 of the content: of the JSON without this field, keys in order, without spaces.
    pub identity: String,
    /// Program and version that made it.
    pub software: String,
    /// Who, when, what.
    pub head: Head,
    /// What it is about.
    pub subject: Subject,
}

impl Certificate {
    fn new(head: Head, subject: Subject) -> Self {
        let software = crate::software();
        let mut certificate = Self {
            format: FORMAT.to_owned(),
            identity: String::new(),
            software: format!("{} {}", software.name, software.version),
            head,
            subject,
        };
        certificate.identity = identity(&certificate.value());
        certificate
    }

    fn value(&self) -> Value {
        serde_json::to_value(self).unwrap_or(Value::Null)
    }

    /// Evaluates a torque calibration.
    ///
    /// # Errors
    /// [`CalibrationError::Refused`] when the readings make none.
    pub fn of_torque(setup: TorqueSetup) -> Result<Self, CalibrationError> {
        let TorqueSetup {
            file,
            head,
            loads,
            known,
            series,
        } = setup;
        let refused = |refusal| CalibrationError::Refused {
            file: file.clone(),
            refusal,
        };
        let torque_nm = torques(&loads).map_err(refused)?;
        let readings = Readings { torque_nm, series };
        let result = evaluate(&readings, &known).map_err(refused)?;
        Ok(Self::new(
            head,
            Subject::Torque {
                loads,
                known,
                torque_nm: readings.torque_nm,
                series: readings.series,
                gain_uncertainty: result.gain_uncertainty(),
                result,
            },
        ))
    }

    /// Evaluates an angle calibration.
    ///
    /// # Errors
    /// [`CalibrationError::Refused`] when the readings make none.
    pub fn of_angle(setup: AngleSetup) -> Result<Self, CalibrationError> {
        let AngleSetup { file, head, readings } = setup;
        let result = match &readings {
            AngleReadings::Index { passes } => angle::counts_per_turn(passes).map(AngleResult::CountsPerTurn),
            AngleReadings::Protractor {
                angles_rad,
                indicated_rad,
                uncertainty_rad,
            } => angle::protractor(angles_rad, indicated_rad, *uncertainty_rad).map(AngleResult::Protractor),
        };
        let result = result.map_err(|refusal| CalibrationError::Refused { file, refusal })?;
        Ok(Self::new(head, Subject::Angle { readings, result }))
    }

    /// Its JSON.
    #[must_use]
    pub fn json(&self) -> String {
        let text = serde_json::to_string_pretty(&self.value()).unwrap_or_default();
        text + "\n"
    }

    /// Reads a certificate and compares its content with its identity.
    ///
    /// # Errors
    /// [`CalibrationError`] when the file cannot be read, is none, or its content is not what its identity is of.
    pub fn read(path: &Path) -> Result<Self, CalibrationError> {
        let text = read_text(path)?;
        let wrong = |problem: String| CalibrationError::Certificate {
            path: path.to_owned(),
            problem,
        };
        let none = |error: serde_json::Error| {
            wrong(format!(
                "no certificate of this program ({error}); name the JSON that truerim calibrate wrote"
            ))
        };
        let value: Value = serde_json::from_str(&text).map_err(none)?;
        let found = identity(&value);
        let certificate: Self = serde_json::from_value(value).map_err(none)?;
        if certificate.format != FORMAT {
            return Err(wrong(format!(
                "format \"{}\"; this version reads \"{FORMAT}\"",
                certificate.format
            )));
        }
        if certificate.identity != found {
            return Err(wrong(format!(
                "the content has the identity {found:.16}…, the certificate says {:.16}…: it was changed; fetch the original, or calibrate again",
                certificate.identity
            )));
        }
        Ok(certificate)
    }

    /// The first digits of its identity, for people.
    #[must_use]
    pub fn short_identity(&self) -> &str {
        self.identity.get(..16).unwrap_or(&self.identity)
    }
}

/// Torque of each step, N·m, clockwise positive.
///
/// # Errors
/// The refusal of a mass, an arm or a density.
pub fn torques(loads: &Loads) -> Result<Vec<f64>, truerim_analysis::calibration::CalibrationRefusal> {
    let sign = if loads.clockwise { 1.0 } else { -1.0 };
    let each = loads.masses_kg.iter().map(|kg| loads.place.torque_nm(*kg));
    each.map(|nm| nm.map(|nm| sign * nm)).collect()
}

/// SHA-256 of a document without its own identity, in hexadecimal.
fn identity(value: &Value) -> String {
    let mut value = value.clone();
    if let Some(map) = value.as_object_mut() {
        map.remove("identity");
    }
    sha256(canonical(&value))
}
