//! `measure` and `record`.

use std::path::{Path, PathBuf};

use bench_core::plan::Plan;
use bench_core::run::{Failure, Outcome};
use records::content::Judgement;
use records::limits::Limits;
use serde_json::json;

use super::args::RunArgs;
use super::exit::{Exit, Problem};
use super::records::measured::Entering;
use super::records::table;
use super::say::Say;
use super::{contact, fit, permit, report};
use crate::archive::{self, LimitsNote, RECORDING};
use crate::drive::clock::wall_clock_for_names;
use crate::drive::lateness::EDGES_US;
use crate::fitting::FitDocument;
use crate::session::{self, Bench, Session, SettingsText};

/// Records, fits and reports.
pub(super) fn measure(args: &RunArgs, say: &Say) -> Result<Exit, Problem> {
    let Recorded {
        session,
        recording,
        folder,
        entering,
        limits,
    } = record_into_folder(args, say)?;
    let mut exit = exit_of(&session);
    let began = session.seal.is_some();
    if !began || session.outcome.counters.rows == 0 {
        say.json(&summary(&session, exit, &Found::default()));
        return Ok(exit);
    }
    // A run that ended early still has something to say; the document says that it is partial.
    let document = fit::fit_file(&recording, say)?;
    let files = report::write(&folder, &document, say)?;
    say.result(&crate::report::table(&document));
    let judgement = match &limits {
        Some(limits) => Some(judged(&document, limits, &folder, say)?),
        None => None,
    };
    // How the run ended matters more than what its results come to.
    if let (Exit::Done, Some(judgement)) = (exit, &judgement) {
        exit = Exit::of_verdict(judgement.verdict);
    }
    let found = Found {
        document: Some(&document),
        judgement: judgement.as_ref(),
        records: entering.map(|entering| entering.deliver(say)),
    };
    say.json(&summary(&session, exit, &found));
    for file in files.iter().filter(|file| file.ends_with("report.html")) {
        say.note(&format!("Open {}", file.display()));
    }
    Ok(exit)
}

/// Records only.
pub(super) fn record(args: &RunArgs, say: &Say) -> Result<Exit, Problem> {
    let Recorded {
        session,
        recording,
        entering,
        ..
    } = record_into_folder(args, say)?;
    if session.seal.is_some() {
        say.result(&recording.display().to_string());
    }
    if entering.is_some() {
        say.note("It waits for the records: truerim records catch-up fits it and adds it.");
    }
    let exit = exit_of(&session);
    say.json(&summary(&session, exit, &Found::default()));
    Ok(exit)
}

/// Judges what was found, says it, and leaves it beside the fit and on the page.
fn judged(document: &FitDocument, limits: &Limits, folder: &Path, say: &Say) -> Result<Judgement, Problem> {
    let judgement = archive::judge_document(document, limits)?;
    let recording = &document.recording;
    let unit = &recording.unit;
    let of = (
        unit.model.as_str(),
        unit.serial.as_str(),
        recording.created.as_str(),
    );
    say.result(&table::judgement(of, &judgement));
    archive::keep_judgement(folder, limits, &judgement)?;
    Ok(judgement)
}

/// The limits that a unit is to be judged by, with the text that they were read from. Looked at before anything moves.
fn limits_for(args: &RunArgs, model: &str) -> Result<Option<(Limits, LimitsNote)>, Problem> {
    let Some(path) = &args.enter.limits else {
        return Ok(None);
    };
    let SettingsText { file, text } = SettingsText::read(path)?;
    let note = LimitsNote { file, text };
    let limits = note.limits()?;
    match limits.text.model == model {
        true => Ok(Some((limits, note))),
        false => Err(Problem::Usage(format!(
            "{} holds limits for the model {}, and the rig file names a {model}",
            note.file, limits.text.model
        ))),
    }
}

struct Recorded {
    session: Session,
    recording: PathBuf,
    folder: PathBuf,
    /// What the records are to have of it; none where none were asked for, or nothing was recorded.
    entering: Option<Entering>,
    limits: Option<Limits>,
}

fn record_into_folder(args: &RunArgs, say: &Say) -> Result<Recorded, Problem> {
    let mut bench = contact::open(&args.rig, say)?;
    if let Some(unit) = &args.enter.unit {
        bench.rig.wheelbase.serial.clone_from(unit);
    }
    let limits = limits_for(args, &bench.rig.wheelbase.model)?;
    let procedure = SettingsText::read(&args.procedure)?;
    let plan = session::plan_for(&procedure, &bench.rig, args.rig.seed)?;
    say.note(&plan.summary().to_string());
    let folder = match &args.out {
        Some(folder) => folder.clone(),
        None => PathBuf::from("out").join(folder_name(&bench, &plan)),
    };
    let recording = folder.join(RECORDING);
    if recording.exists() {
        return Err(Problem::Usage(format!(
            "{} exists; recordings are never overwritten: give another --out",
            recording.display()
        )));
    }
    std::fs::create_dir_all(&folder).map_err(|source| Problem::Io {
        doing: "make the folder",
        path: folder.display().to_string(),
        source,
    })?;
    let permit = permit::ask(&bench, Some(&plan), args.rig.yes, &args.rig.operator, say)?;
    let stop = contact::stop_flag()?;
    let (limits, note) = limits.unzip();
    let entering = Entering::begin(&args.enter, &folder, &args.rig.operator, note.as_ref())?;
    let bar = say.bar();
    let session = session::record(
        &bench,
        &procedure,
        plan,
        permit,
        &recording,
        &stop,
        &mut |progress| {
            bar.show(progress);
        },
    );
    bar.done();
    let entering = match recording.exists() {
        true => entering,
        false => {
            entering.into_iter().for_each(|entering| entering.nothing(say));
            None
        }
    };
    let session = session?;
    tell(&session, &recording, say);
    Ok(Recorded {
        session,
        recording,
        folder,
        entering,
        limits,
    })
}

fn folder_name(bench: &Bench, plan: &Plan) -> String {
    let name = format!(
        "{}-{}-{}",
        bench.rig.wheelbase.serial,
        plan.procedure(),
        wall_clock_for_names()
    );
    name.chars()
        .map(|c| {
            if c.is_alphanumeric() || "-_.".contains(c) {
                c
            } else {
                '_'
            }
        })
        .collect()
}

/// The code for how the run ended; a run that completed but could not be sealed has lost its recording.
const fn exit_of(session: &Session) -> Exit {
    match Exit::of(&session.outcome.end) {
        Exit::Done if session.recording_error.is_some() => Exit::RecordingLost,
        exit => exit,
    }
}

/// Says how the run ended; loudly when the motor may still push.
fn tell(session: &Session, recording: &Path, say: &Say) {
    let Session {
        outcome,
        seal,
        recording_error,
        granted,
        approach,
        lateness,
        account,
    } = session;
    for said in account {
        say.note(&said.words);
    }
    if let Some(granted) = granted {
        say.note(&format!(
            "Host: {granted}; of {} timed wakes the latest came {} us late.",
            lateness.count(),
            lateness.worst_us
        ));
    }
    if let Some(micros) = outcome.proofs.watchdog_us {
        say.note(&format!(
            "Proved at zero torque: stop confirmed, watchdog fired {:.1} ms after the last keep-alive.",
            micros as f64 * 1e-3
        ));
    }
    if let Some(gain) = approach {
        say.note(&format!(
            "First small torque: right sign, {:.1} % of the command.",
            gain * 100.0
        ));
    }
    if outcome.end != bench_core::run::End::Completed {
        say.error(&outcome.end.to_string());
    }
    warn_of_torque(outcome, say);
    match (seal, recording_error) {
        (Some(seal), _) => {
            let digest = seal.sha256.get(..16).unwrap_or(&seal.sha256);
            say.note(&format!(
                "Recording {} ({} samples), seal {digest}…",
                recording.display(),
                outcome.counters.rows
            ));
        }
        (None, Some(error)) => say.error(&error.to_string()),
        (None, None) => {}
    }
}

/// When nobody can vouch for zero torque, only the wire is left.
pub(super) fn warn_of_torque(outcome: &Outcome, say: &Say) {
    if outcome.was_armed && !outcome.zero_confirmed {
        let seen = match outcome.torque_after_nm {
            Some(torque) => format!(" The sensor still shows {torque:.2} N·m."),
            None => String::new(),
        };
        say.error(&format!(
            "\n*** ZERO TORQUE IS NOT CONFIRMED. PRESS THE EMERGENCY STOP NOW. ***{seen}\n\
             The rig did not do what a stop asks for, or could not be reached. Its own watchdog should have ended the\n\
             torque, but do not rely on it. Do not touch the rim before the motor's supply is off."
        ));
    }
}

/// What came of the results of a run.
#[derive(Default)]
struct Found<'a> {
    document: Option<&'a FitDocument>,
    judgement: Option<&'a Judgement>,
    records: Option<serde_json::Value>,
}

fn summary(session: &Session, exit: Exit, found: &Found<'_>) -> serde_json::Value {
    let outcome = &session.outcome;
    let no_answer = matches!(
        outcome.end,
        bench_core::run::End::Failed(Failure::NoAnswer { .. })
    );
    json!({
        "end": outcome.end.to_string(),
        "exit_code": exit as u8,
        "zero_torque_confirmed": outcome.zero_confirmed || !outcome.was_armed,
        "rig_answered": !no_answer,
        "rows": outcome.counters.rows,
        "rows_lost": outcome.counters.rows_lost,
        "bad_frames": outcome.counters.bad_frames,
        "latest_wake_us": outcome.counters.latest_wake_us,
        "host": session.granted.map(|granted| json!({
            "real_time_scheduling": granted.real_time,
            "memory_locked": granted.memory_locked,
            "wake_lateness": session.lateness,
            "wake_lateness_edges_us": EDGES_US,
        })),
        "stop_round_trip_us": outcome.proofs.stop_round_trip_us,
        "watchdog_us": outcome.proofs.watchdog_us,
        "seal": session.seal.as_ref().map(|seal| seal.sha256.clone()),
        "fit": found.document,
        "judgement": found.judgement,
        "records": found.records,
    })
}
