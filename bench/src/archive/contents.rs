//! What of a fit document is recorded.

use records::content::{Calibration, Fit, Measured, Procedure, Program, Recording, Rig, Unit};

use crate::fitting::{self, FitDocument, Measurand, RecordingFacts};

/// What is known besides the files.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Given {
    /// Name of the bench; without one it is the rig controller's serial number.
    pub bench: Option<String>,
    /// Batch of parts that the unit is of.
    pub batch: Option<String>,
}

/// The entries of a recording and its fit. `file`: where the recording lies. A fit of a recording without a seal has an empty
/// one, and is refused by the records.
#[must_use]
pub fn contents(document: &FitDocument, file: &str, given: &Given) -> (Recording, Fit) {
    let facts = &document.recording;
    let seal = facts.seal.clone().unwrap_or_default();
    let recording = Recording {
        seal: seal.clone(),
        seal_method: facts.seal_method.clone().unwrap_or_default(),
        run_id: facts.run_id.clone(),
        created: facts.created.clone(),
        unit: Unit {
            model: facts.unit.model.clone(),
            serial: facts.unit.serial.clone(),
            firmware: facts.unit.firmware.clone(),
        },
        bench: bench(facts, given),
        rig: Rig {
            name: facts.rig.name.clone(),
            kind: facts.rig.kind.clone(),
            fixture: facts.rig.fixture.clone(),
            sha256: extra(facts, "sha256 of rig.toml").to_owned(),
        },
        mounting: facts.mounting.clone(),
        operator: facts.operator.clone(),
        batch: given.batch.clone().unwrap_or_default(),
        calibration: calibration(facts),
        procedure: Procedure {
            name: extra(facts, "procedure").to_owned(),
            sha256: extra(facts, "sha256 of procedure.toml").to_owned(),
        },
        software: program(&facts.software),
        seed: facts.seed,
        samples: facts.samples,
        duration_s: facts.duration_s,
        completion: facts.completion.state.clone(),
        cause: facts.completion.cause.clone(),
        file: file.to_owned(),
    };
    let failed = document.quality.iter().filter(|check| !check.passed);
    let fit = Fit {
        seal,
        software: program(&document.software),
        sound: document.is_sound(),
        failed_checks: failed.map(|check| check.name.clone()).collect(),
        measured: document.measurands.iter().map(measured).collect(),
    };
    (recording, fit)
}

/// A fact that a recording keeps by name; empty where it has none.
fn extra<'f>(facts: &'f RecordingFacts, name: &str) -> &'f str {
    let found = facts.extra.iter().find(|(known, _)| known == name);
    found.map_or("", |(_, value)| value)
}

/// Benches are told apart by the rig controller where nobody named them: it stays when the computer is replaced.
fn bench(facts: &RecordingFacts, given: &Given) -> String {
    let known = [
        given.bench.as_deref().unwrap_or_default(),
        extra(facts, "rig_controller_serial"),
        &facts.rig.name,
    ];
    let named = known.into_iter().find(|name| !name.is_empty());
    named.unwrap_or("unknown").to_owned()
}

fn calibration(facts: &RecordingFacts) -> Calibration {
    let sensor = &facts.sensor;
    let identity = extra(facts, "calibration_identity");
    let began = facts.created.get(..10).unwrap_or_default();
    let overdue = match extra(facts, "calibration_overdue") {
        "" => !sensor.due.is_empty() && sensor.due.as_str() < began,
        said => said == "yes",
    };
    Calibration {
        sensor: format!("{} {}", sensor.model, sensor.serial).trim().to_owned(),
        certificate: sensor.certificate.clone(),
        identity: if identity == "none" { "" } else { identity }.to_owned(),
        calibrated: sensor.calibrated.clone(),
        due: sensor.due.clone(),
        overdue,
        warnings: extra(facts, "calibration_warnings").to_owned(),
    }
}

fn program(program: &fitting::Program) -> Program {
    Program {
        name: program.name.clone(),
        version: program.version.clone(),
        build: program.build.clone(),
    }
}

fn measured(measurand: &Measurand) -> Measured {
    let temperature = measurand.conditions.temperature.as_ref();
    let mut one = Measured {
        id: measurand.id.clone(),
        temperature_degc: temperature.map(|t| t.mean_degc).filter(|t| t.is_finite()),
        ..Measured::default()
    };
    match (measurand.estimate(), measurand.result.refused()) {
        (Some(estimate), _) if estimate.value.is_finite() && estimate.std_uncertainty.is_finite() => {
            one.unit.clone_from(&estimate.unit);
            one.value = Some(estimate.value);
            one.u = Some(estimate.std_uncertainty);
            one.interval = Some(estimate.interval).filter(|ends| ends.iter().all(|end| end.is_finite()));
            one.level = Some(estimate.level);
            one.n = Some(estimate.n as u64);
            one.dof = Some(estimate.dof).filter(|dof| dof.is_finite());
        }
        (Some(_), _) => one.refused = Some("not_finite".to_owned()),
        (None, Some(refused)) => one.refused = Some(refused.code.clone()),
        (None, None) => one.refused = Some("unknown".to_owned()),
    }
    one
}
