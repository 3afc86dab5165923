//! What the certificate that a rig file names is worth today.

use std::path::Path;

use bench_core::rig::Rig;

use super::certificate::{Certificate, Subject};

/// The certificate of a rig file, and what is wrong with it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Reference {
    /// Identity of the certificate; `None` when it cannot be read or was changed.
    pub identity: Option<String>,
    /// What does not hold, a sentence each; empty when all is well.
    pub warnings: Vec<String>,
}

/// Looks the certificate of a rig file up, from the rig file's folder; `None` when the rig file names none.
#[must_use]
pub fn of(rig: &Rig, today: &str) -> Option<Reference> {
    let name = rig.torque_sensor.calibration.as_deref()?;
    let folder = Path::new(&rig.file).parent().unwrap_or_else(|| Path::new(""));
    Some(match Certificate::read(&folder.join(name)) {
        Ok(certificate) => Reference {
            warnings: warnings(rig, &certificate, today),
            identity: Some(certificate.identity),
        },
        Err(error) => Reference {
            identity: None,
            warnings: vec![format!("the certificate of the torque sensor is no use: {error}")],
        },
    })
}

fn warnings(rig: &Rig, certificate: &Certificate, today: &str) -> Vec<String> {
    let (sensor, head) = (&rig.torque_sensor, &certificate.head);
    let mut all = Vec::new();
    let Subject::Torque { gain_uncertainty, .. } = &certificate.subject else {
        return vec![
            "the certificate named for the torque sensor is of an angle; name that of truerim calibrate torque"
                .to_owned(),
        ];
    };
    if head.due.as_str() < today {
        all.push(format!(
            "the calibration of the torque sensor ran out on {}; today is {today}: calibrate it again",
            head.due
        ));
    }
    if head.date.as_str() > today {
        all.push(format!(
            "the certificate of the torque sensor is of {}, after today, {today}: set this computer's clock",
            head.date
        ));
    }
    if head.serial != sensor.serial || head.model != sensor.model {
        all.push(format!(
            "the certificate is of the sensor {} {}, the rig file says {} {}: name the right certificate",
            head.model, head.serial, sensor.model, sensor.serial
        ));
    }
    let dates = [
        ("calibrated", sensor.calibrated.to_string(), &head.date),
        ("due", sensor.due.to_string(), &head.due),
    ];
    for (key, ours, theirs) in dates {
        if ours != *theirs {
            all.push(format!(
                "rig.torque_sensor.{key} is {ours}, the certificate says {theirs}: write {theirs} into the rig file"
            ));
        }
    }
    // A rig file may state more than the certificate, not less.
    if sensor.gain_uncertainty < 0.99 * gain_uncertainty {
        all.push(format!(
            "rig.torque_sensor.gain_uncertainty is {:.4} %, less than the {:.4} % of the certificate: raise it",
            100.0 * sensor.gain_uncertainty,
            100.0 * gain_uncertainty
        ));
    }
    all
}

impl Reference {
    /// What a recording keeps of it: name and value.
    #[must_use]
    pub fn facts(&self) -> Vec<(String, String)> {
        let identity = self.identity.clone().unwrap_or_else(|| "none".to_owned());
        let mut facts = vec![("calibration_identity".to_owned(), identity)];
        if !self.warnings.is_empty() {
            facts.push(("calibration_warnings".to_owned(), self.warnings.join("; ")));
        }
        facts
    }
}
