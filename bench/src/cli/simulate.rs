//! `virtual`.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use serde_json::json;
use virtual_rig::VirtualRig;
use virtual_rig::describe::{TruthRow, describe, describe_text};
use virtual_rig::parameters::RigParameters;

use super::args::VirtualArgs;
use super::contact;
use super::exit::{Exit, Problem};
use super::say::Say;
use crate::drive::schedule::ask_for_real_time;
use crate::platform;
use crate::session::{SessionError, SettingsText, faults_of, simulated};

/// Serves a virtual rig on a pseudo terminal until it is told to end.
pub(super) fn simulate(args: &VirtualArgs, say: &Say) -> Result<Exit, Problem> {
    let text = SettingsText::read(&args.rig)?;
    let mounting = args.mounting.map(simulated);
    let mut parameters =
        RigParameters::mounted(&text.file, &text.text, args.seed, mounting).map_err(SessionError::from)?;
    if args.describe {
        tell(&describe(&parameters), say);
        return Ok(Exit::Done);
    }
    let faults = faults_of(&args.fault, parameters.plant.tooth_rad)?;
    parameters.faults.extend(faults);
    let mut rig = VirtualRig::new(parameters, args.seed);
    let script: Vec<String> = rig.faults().iter().map(ToString::to_string).collect();
    contact::tell_faults(&script, say);
    let ending = Arc::new(AtomicBool::new(false));
    let wished = Arc::clone(&ending);
    platform::on_wish_to_end(move |_| wished.store(true, Ordering::SeqCst)).map_err(|source| {
        Problem::Io {
            doing: "watch for",
            path: "Ctrl-C and SIGTERM".to_owned(),
            source,
        }
    })?;
    // A rig controller is not held up by other programs: neither should its stand-in be.
    let granted = ask_for_real_time();
    let served = platform::serve(
        &mut rig,
        |port| {
            say.result(&port.display().to_string());
            say.json(&port);
            say.note(&format!(
                "Open this port with --port; Ctrl-C ends the rig. Host: {granted}."
            ));
        },
        &ending,
    );
    match served {
        Err(error) if !ending.load(Ordering::SeqCst) => Err(Problem::Refused(format!(
            "the virtual rig cannot be served on a pseudo terminal: {error}"
        ))),
        _ => Ok(Exit::Done),
    }
}

/// The true values, for people or as JSON.
fn tell(rows: &[TruthRow], say: &Say) {
    let rows_json: Vec<_> = rows
        .iter()
        .map(|row| json!({ "id": row.id, "name": row.name, "value": row.value, "unit": row.unit, "follows": row.follows }))
        .collect();
    say.json(&rows_json);
    say.result(describe_text(rows).trim_end());
}
