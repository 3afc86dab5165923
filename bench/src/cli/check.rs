//! `check`.

use bench_core::run::End;
use serde_json::json;

use super::args::CheckArgs;
use super::exit::{Exit, Problem};
use super::measure::warn_of_torque;
use super::say::Say;
use super::{contact, limits, permit, signals};
use crate::drive::clock::wall_clock;
use crate::drive::{StopFlag, ports};
use crate::session::checkup::page::page;
use crate::session::checkup::{
    Extras, Pressed, Smallest, Verdict, findings, smallest_torque, watch_emergency_stop,
};
use crate::session::{self, Bench, Checked};

/// Time to press the emergency stop, and to release it, s.
const PRESS_S: u32 = 30;

/// Opens the rig, identifies it, proves stop and watchdog at zero torque, and says what to do about what it finds.
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
    let mut extras = Extras {
        account: checked.account.clone(),
        ..Extras::default()
    };
    // The stop before what it may have to stop.
    if args.emergency_stop {
        say.note(&format!(
            "Press the emergency stop within {PRESS_S} s, wait a second, and release it."
        ));
        extras.emergency = Some(watch_emergency_stop(&bench, PRESS_S).map_err(|error| error.to_string()));
    }
    if args.torque {
        extras.torque = push(&bench, args, &checked, &extras, &stop, say).transpose();
    }
    let findings = findings(&bench, &checked, &extras);
    let outcome = &checked.outcome;
    say.json(&json!({
        "end": outcome.end.to_string(),
        "stop_round_trip_us": outcome.proofs.stop_round_trip_us,
        "watchdog_us": outcome.proofs.watchdog_us,
        "bad_frames": outcome.counters.bad_frames,
        "rows": outcome.counters.rows,
        "rows_lost": outcome.counters.rows_lost,
        "round_trip_us": checked.round_trips_us(),
        "findings": findings.iter().map(|finding| json!({
            "name": finding.name,
            "verdict": finding.verdict.word(),
            "found": finding.found,
            "advice": finding.advice,
        })).collect::<Vec<_>>(),
    }));
    for finding in &findings {
        let word = finding.verdict.word();
        say.result(&format!("{word:<10} {:<20} {}", finding.name, finding.found));
        if !finding.advice.is_empty() {
            say.result(&format!("{:31} {}", "", finding.advice));
        }
    }
    if let Some(path) = &args.page {
        let page = page(&bench.rig.name, &wall_clock(), &findings, &ports::list());
        std::fs::write(path, page).map_err(|source| Problem::Io {
            doing: "write",
            path: path.display().to_string(),
            source,
        })?;
        say.note(&format!("Open {}", path.display()));
    }
    if let Some(Ok(smallest)) = &extras.torque {
        warn_of_torque(&smallest.outcome, say);
        if smallest.outcome.end != End::Completed {
            return Ok(Exit::of(&smallest.outcome.end));
        }
    }
    if outcome.end != End::Completed {
        say.error(&outcome.end.to_string());
    }
    warn_of_torque(outcome, say);
    let bad: Vec<&str> = findings
        .iter()
        .filter(|finding| finding.verdict == Verdict::Bad)
        .map(|finding| finding.name.as_str())
        .collect();
    Ok(match Exit::of(&outcome.end) {
        Exit::Done if !bad.is_empty() => {
            say.error(&format!(
                "do not measure before this is mended: {}",
                bad.join(", ")
            ));
            Exit::Rig
        }
        exit => exit,
    })
}

/// The smallest torque, or why it was not played; `None` where the rim would turn.
fn push(
    bench: &Bench,
    args: &CheckArgs,
    checked: &Checked,
    extras: &Extras,
    stop: &StopFlag,
    say: &Say,
) -> Result<Option<Smallest>, String> {
    if checked.outcome.end != End::Completed {
        return Err("nothing is pushed before stop and watchdog are proved".to_owned());
    }
    if matches!(
        &extras.emergency,
        Some(Ok(Pressed::OpenAlready | Pressed::NotSeen))
    ) {
        return Err("nothing is pushed before the emergency stop is seen".to_owned());
    }
    say.note("Now the smallest torque: the motor pushes with 5 % of its peak.");
    permit::ask(bench, None, args.rig.yes, &args.rig.operator, say)
        .and_then(|permit| Ok(smallest_torque(bench, permit, stop)?))
        .map_err(|problem| problem.to_string())
}

/// The serial ports of this computer, with what they are.
pub(super) fn list_ports(say: &Say) -> Result<Exit, Problem> {
    let ports = ports::list();
    for port in &ports {
        say.result(&port.to_string());
    }
    if ports.is_empty() {
        say.result("no serial ports");
    }
    say.json(&json!({ "ports": ports.iter().map(ToString::to_string).collect::<Vec<_>>() }));
    Ok(Exit::Done)
}
