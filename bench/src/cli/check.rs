//! `check`.

use serde_json::json;

use super::args::CheckArgs;
use super::exit::{Exit, Problem};
use super::measure::warn_of_torque;
use super::say::Say;
use super::{contact, limits, permit, signals};
use crate::session;

/// Opens the rig, identifies it, and proves stop and watchdog at zero torque.
pub(super) fn check(args: &CheckArgs, say: &Say) -> Result<Exit, Problem> {
    if args.limits {
        return limits::show(args, say);
    }
    if args.signals {
        return signals::show(args, say);
    }
    let bench = contact::open(&args.rig, say)?;
    say.note(
        "The rig is armed twice at zero torque: once to be stopped, once to see its watchdog fire. No setpoint is sent.",
    );
    let permit = permit::ask(&bench, None, args.rig.yes, &args.rig.operator, say)?;
    let stop = contact::stop_flag()?;
    let checked = session::check(&bench, permit, &stop)?;
    let outcome = &checked.outcome;
    for line in checked.lines(&bench.rig) {
        say.result(&line);
    }
    say.json(&json!({
        "end": outcome.end.to_string(),
        "stop_round_trip_us": outcome.proofs.stop_round_trip_us,
        "watchdog_us": outcome.proofs.watchdog_us,
        "bad_frames": outcome.counters.bad_frames,
        "rows": outcome.counters.rows,
        "rows_lost": outcome.counters.rows_lost,
        "round_trip_us": checked.round_trips_us(),
    }));
    if outcome.end != bench_core::run::End::Completed {
        say.error(&outcome.end.to_string());
    }
    warn_of_torque(outcome, say);
    Ok(Exit::of(&outcome.end))
}
