//! Collects what a recording says about itself.

use std::path::Path;

use sha2::{Digest as _, Sha256};

use super::document::Program;
use super::facts::{Ending, RecordingFacts, RigFacts, SensorFacts, UnitFacts};
use crate::recording::{Header, Recording, hexadecimal};

/// `value` if it is a finite number.
pub(crate) fn declared(value: f64) -> Option<f64> {
    value.is_finite().then_some(value)
}

impl RecordingFacts {
    /// Collects what the header and the end of a recording say.
    pub(crate) fn of(recording: &Recording, file: &Path, duration_s: f64) -> Self {
        let header = recording.header();
        let seal = recording.seal();
        Self {
            file: file
                .file_name()
                .unwrap_or(file.as_os_str())
                .to_string_lossy()
                .into_owned(),
            run_id: header.run_id.clone(),
            created: header.created.clone(),
            software: Program {
                name: header.software.name.clone(),
                version: header.software.version.clone(),
                build: header.software.build.clone(),
            },
            operator: header.operator.clone(),
            mounting: header.mounting.clone(),
            unit: UnitFacts {
                model: header.unit.model.clone(),
                serial: header.unit.serial.clone(),
                firmware: header.unit.firmware.clone(),
            },
            rig: RigFacts {
                name: header.rig.name.clone(),
                kind: header.rig.kind.clone(),
                emergency_stop: header.rig.emergency_stop.clone(),
                fixture: header.rig.fixture.clone(),
                full_scale_nm: declared(header.rig.full_scale_nm).unwrap_or(0.0),
                update_period_s: declared(header.rig.update_period_s),
            },
            sensor: sensor_facts(header),
            files: header.files.iter().map(|(name, _)| name.clone()).collect(),
            file_sha256: header
                .files
                .iter()
                .map(|(name, text)| (name.clone(), hexadecimal(&Sha256::digest(text.as_bytes()))))
                .collect(),
            seed: header.seed,
            sample_rate_hz: declared(header.sample_rate_hz()).unwrap_or(0.0),
            duration_s,
            samples: recording.rows() as u64,
            completion: Ending::of(recording.completion()),
            seal: seal.map(|s| s.sha256.clone()),
            seal_method: seal.map(|s| s.method.clone()),
            extra: header.extra.clone(),
        }
    }
}

fn sensor_facts(header: &Header) -> SensorFacts {
    let sensor = &header.sensor;
    let torque = header
        .channel_index("torque")
        .and_then(|i| header.channels.get(i));
    SensorFacts {
        model: sensor.model.clone(),
        serial: sensor.serial.clone(),
        range_nm: declared(sensor.range_nm),
        calibrated: sensor.calibrated.clone(),
        due: sensor.due.clone(),
        certificate: sensor.certificate.clone(),
        gain_uncertainty: declared(sensor.gain_uncertainty),
        zero_uncertainty_nm: declared(sensor.zero_uncertainty_nm),
        group_delay_s: torque.and_then(|c| declared(c.group_delay_s)),
        delay_uncertainty_s: declared(sensor.delay_uncertainty_s),
    }
}
