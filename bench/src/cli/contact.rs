//! What every command does that is about to talk to a rig.

use super::args::RigArgs;
use super::exit::Problem;
use super::say::Say;
use crate::calibration::reference;
use crate::drive::StopFlag;
use crate::drive::clock::today;
use crate::session::Bench;

/// The rig that the arguments name.
pub(super) fn open(args: &RigArgs, say: &Say) -> Result<Bench, Problem> {
    let mut bench = Bench::open(
        &args.rig,
        args.mounting,
        args.port.clone(),
        args.seed,
        args.operator.clone(),
    )?
    .with_faults(&args.fault)?;
    bench.clamping.clone_from(&args.clamping);
    tell_faults(&bench.faults, say);
    let calibration = reference::of(&bench.rig, &today());
    for warning in calibration.iter().flat_map(|found| &found.warnings) {
        say.error(&format!("warning: {warning}"));
    }
    Ok(bench)
}

/// Says which faults are scripted, if any are.
pub(super) fn tell_faults(faults: &[String], say: &Say) {
    if !faults.is_empty() {
        say.note(&format!("Faults scripted: {}.", faults.join("; ")));
    }
}

/// A flag that Ctrl-C and the system's requests to end set. Without one nothing may be armed.
pub(super) fn stop_flag() -> Result<StopFlag, Problem> {
    StopFlag::on_signals().map_err(|source| Problem::Io {
        doing: "watch for",
        path: "Ctrl-C and SIGTERM".to_owned(),
        source,
    })
}
