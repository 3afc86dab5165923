//! Files that a procedure names, traces among them: read beside it, or taken from a recording.
//!
//! A trace file is text: rows of numbers separated by comma, semicolon or tab under a row of names; lines that begin with `#`
//! and empty lines are left out. Fields may stand in quotes, which names and numbers have no other use for.

#![allow(clippy::result_large_err)] // a file is refused once, before anything moves

use std::path::Path;
use std::sync::Arc;

use bench_core::excitation::{Correction, Trace, TraceProblem, TraceSamples, TraceTime};
use bench_core::plan::Plan;
use bench_core::procedure::{Placed, Procedure};
use bench_core::rig::{Mounting, Rig};
use settings_file::{Finding, Place};

use super::{SessionError, SettingsText, corrections};
use crate::recording::{Recording, RecordingError};

/// Largest file, bytes: ten minutes at the highest rate with a dozen columns.
const LARGEST: u64 = 256 << 20;

/// Reads a procedure and the trace files beside it, and lays it out for a rig.
///
/// # Errors
/// [`SessionError`] naming file, line, value, allowed range and fix.
pub fn plan_for(procedure: &SettingsText, rig: &Rig, seed: u64) -> Result<Plan, SessionError> {
    let read = |trace: &Trace| {
        let (path, text) = beside(procedure, &trace.file)?;
        samples(&path, text, trace).map(Arc::new)
    };
    let curve = |correction: &Correction| {
        let (path, text) = beside(procedure, &correction.file)?;
        corrections::curve(&path, text).map(Arc::new)
    };
    let checked = Procedure::from_toml(&procedure.file, &procedure.text)?
        .with_traces(read)?
        .with_corrections(curve)?;
    Ok(checked.plan(rig, seed)?)
}

/// Path and text of a file that a procedure names.
fn beside(procedure: &SettingsText, named: &Placed<String>) -> Result<(String, String), Finding> {
    let folder = Path::new(&procedure.file).parent().unwrap_or(Path::new(""));
    let path = folder.join(&named.value);
    let unreadable = |what: String| {
        let problem = format!("{} {what}", path.display());
        let fix = "name a file beside the procedure, relative to the procedure's folder";
        Finding::new(&procedure.file, &named.place, problem, fix)
    };
    let length = std::fs::metadata(&path).map_err(|e| unreadable(format!("cannot be read: {e}")))?;
    if length.len() > LARGEST {
        let what = format!(
            "has {} bytes, a file beside a procedure has at most {LARGEST}",
            length.len()
        );
        return Err(unreadable(what));
    }
    let text = std::fs::read_to_string(&path).map_err(|e| unreadable(format!("cannot be read: {e}")))?;
    Ok((path.display().to_string(), text))
}

/// The plan of a recording's run, made again from the recording alone.
///
/// # Errors
/// [`SessionError`] where it holds no procedure or no rig file, or they do not fit each other.
pub fn plan_of(recording: &Recording) -> Result<Plan, SessionError> {
    let header = recording.header();
    let own = |name: &str| {
        let file = header.files.iter().find(|(known, _)| known == name);
        file.map(|(_, text)| text.clone())
    };
    let needed = |name: &str| {
        own(name).ok_or_else(|| {
            let why = format!("it holds no {name}; only recordings of this bench tell what was planned");
            SessionError::Recording(RecordingError::invalid(recording.path(), why))
        })
    };
    let held = Mounting::WORDS.iter().find(|(word, _)| *word == header.mounting);
    let rig = Rig::mounted(
        "rig.toml",
        &needed("rig.toml")?,
        held.map(|(_, mounting)| *mounting),
    )?;
    let kept = |named: &Placed<String>| {
        own(&named.value).ok_or_else(|| {
            let problem = "the recording does not hold it";
            Finding::new("procedure.toml", &named.place, problem, "use the file itself")
        })
    };
    let supply = |trace: &Trace| samples(&trace.file.value, kept(&trace.file)?, trace).map(Arc::new);
    let curve = |correction: &Correction| {
        corrections::curve(&correction.file.value, kept(&correction.file)?).map(Arc::new)
    };
    let procedure = Procedure::from_toml("procedure.toml", &needed("procedure.toml")?)?;
    let procedure = procedure.with_traces(supply)?.with_corrections(curve)?;
    Ok(procedure.plan(&rig, header.seed)?)
}

/// The samples of a trace in the text of its file.
///
/// # Errors
/// A [`Finding`] in the file's line.
pub fn samples(file: &str, text: String, trace: &Trace) -> Result<TraceSamples, Finding> {
    let at = |line: usize, key: &str, written: &str| Place {
        line,
        key: key.to_owned(),
        written: written.chars().take(40).collect(),
    };
    let wanted = |line: &(usize, &str)| !(line.1.trim().is_empty() || line.1.trim_start().starts_with('#'));
    let mut lines = (1..).zip(text.lines()).filter(wanted);
    let Some((head_line, head)) = lines.next() else {
        let fix = "name another file: a row of names, then rows of numbers";
        return Err(Finding::new(file, &at(0, "", ""), "holds no rows", fix));
    };
    let separator = [',', ';', '\t']
        .into_iter()
        .find(|c| head.contains(*c))
        .unwrap_or(',');
    let bare = |field: &str| field.trim().trim_matches('"').trim().to_owned();
    let names: Vec<String> = head
        .trim_start_matches('\u{feff}')
        .split(separator)
        .map(bare)
        .collect();
    let column = |name: &str, key: &str| {
        names.iter().position(|known| known == name).ok_or_else(|| {
            let problem = format!("has no column \"{name}\"");
            let fix = format!("name one of them in the segment's `{key}`");
            let place = at(head_line, "", head);
            Finding::new(file, &place, problem, fix).allowing(names.join(", "))
        })
    };
    let torque_at = column(&trace.column.value, "column")?;
    let (time_at, unit_s) = match &trace.time {
        TraceTime::Column { name, unit_s } => (Some(column(&name.value, "time")?), *unit_s),
        TraceTime::Rate(rate_hz) => (None, 1.0 / rate_hz),
    };
    let (mut t_s, mut torque, mut numbers) = (Vec::new(), Vec::new(), Vec::new());
    for (line, row) in lines {
        let number = |index: usize| -> Result<f64, Finding> {
            let name = names.get(index).map_or("", String::as_str);
            let field = row.split(separator).nth(index).map(bare);
            let value = field.as_deref().and_then(|field| field.parse::<f64>().ok());
            value.filter(|value| value.is_finite()).ok_or_else(|| {
                let place = at(line, name, field.as_deref().unwrap_or(row));
                let fix = "write a number with a decimal point, or take the row out";
                Finding::new(file, &place, "is no finite number", fix)
            })
        };
        torque.push(number(torque_at)?);
        t_s.push(unit_s * time_at.map_or(Ok(t_s.len() as f64), &number)?);
        numbers.push((line, row));
    }
    TraceSamples::new(t_s, torque)
        .map(|samples| samples.of_text(text.clone()))
        .map_err(|problem| {
            let row = |row: usize| numbers.get(row).map_or((0, ""), |(line, row)| (*line, *row));
            let (line, written) = match &problem {
                TraceProblem::NotFinite { row: r }
                | TraceProblem::Close { row: r, .. }
                | TraceProblem::Gap { row: r, .. } => row(*r),
                TraceProblem::Few { .. } | TraceProblem::Long { .. } => (0, ""),
            };
            let (what, allowed, fix) = words(&problem);
            Finding::new(file, &at(line, "", written), what, fix).allowing(allowed)
        })
}

/// What is wrong, what is allowed, what to do.
fn words(problem: &TraceProblem) -> (String, String, &'static str) {
    match problem {
        TraceProblem::Few { count, needed } => (
            format!("has {count} rows"),
            format!("{needed} or more"),
            "use a longer trace",
        ),
        TraceProblem::NotFinite { .. } => (
            "holds what is no finite number".into(),
            "finite numbers".into(),
            "take the row out",
        ),
        TraceProblem::Close { step_s, .. } => (
            format!("comes {} ms after the row before", 1e3 * step_s),
            "0.25 ms or more, one row behind the other".into(),
            "put the rows in order, resample to 4 kHz or less, or set `time_unit`",
        ),
        TraceProblem::Gap { step_s, most_s, .. } => (
            format!("comes {} ms after the row before", 1e3 * step_s),
            format!("at most {} ms", 1e3 * most_s),
            "fill the gap, cut the trace there, or set `time_unit`",
        ),
        TraceProblem::Long { length_s, most_s } => (
            format!("lasts {length_s} s"),
            format!("at most {most_s} s"),
            "cut it, or set `time_unit`",
        ),
    }
}
