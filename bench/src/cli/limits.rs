//! `check --limits`: the limits in force, each with how it follows; touches no port.

use bench_core::bounds::{Bounds, Row};
use bench_core::rig::Rig;
use bench_core::run::RunOptions;
use serde_json::json;

use super::args::CheckArgs;
use super::columns::columns;
use super::exit::{Exit, Problem};
use super::say::Say;
use crate::session::{self, SessionError, SettingsText};

/// Longest line of a derivation on a terminal.
const WIDTH: usize = 76;

/// Prints the limits that a run of the procedure on the rig would have.
pub(super) fn show(args: &CheckArgs, say: &Say) -> Result<Exit, Problem> {
    let text = SettingsText::read(&args.rig.rig)?;
    let rig = Rig::mounted(&text.file, &text.text, args.rig.mounting).map_err(SessionError::from)?;
    let plan = match &args.procedure {
        Some(procedure) => {
            let procedure = SettingsText::read(procedure)?;
            Some(session::plan_for(&procedure, &rig, args.rig.seed)?)
        }
        None => None,
    };
    let rows = Bounds::new(&rig, plan.as_ref()).table(&rig, &RunOptions::default());
    let head = match &plan {
        Some(plan) => format!("{} on {}, {}", plan.procedure(), rig.name, rig.mounting),
        None => format!("{}, {}, without a procedure", rig.name, rig.mounting),
    };
    say.result(&head);
    say.result(&text_table(&rows));
    let rows: Vec<_> = rows
        .iter()
        .map(|row| {
            json!({
                "name": row.name,
                "limit": row.limit,
                "enforced_by": row.sides.word(),
                "mounting": row.mounting,
                "after": row.after,
                "derivation": row.derivation,
            })
        })
        .collect();
    say.json(&json!({
        "rig": rig.name,
        "mounting": rig.mounting.word(),
        "procedure": plan.as_ref().map(bench_core::plan::Plan::procedure),
        "limits": rows,
    }));
    Ok(Exit::Done)
}

/// One limit a line, its derivation indented below it.
fn text_table(rows: &[Row]) -> String {
    let heads = ["condition", "limit in force", "by", "after"].map(str::to_owned);
    let cells = |row: &Row| {
        vec![
            row.name.to_owned(),
            row.limit.clone(),
            row.sides.word().to_owned(),
            format!("{} ({})", row.after, row.mounting),
        ]
    };
    let table: Vec<Vec<String>> = std::iter::once(heads.to_vec())
        .chain(rows.iter().map(cells))
        .collect();
    let mut lines = columns(&table).into_iter();
    let mut text = lines.next().unwrap_or_default();
    for (row, line) in rows.iter().zip(lines) {
        text += "\n";
        text += &line;
        for part in wrapped(&row.derivation) {
            text += "\n    ";
            text += &part;
        }
    }
    text
}

/// Words in lines of at most [`WIDTH`] letters.
fn wrapped(text: &str) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if line.chars().count() + word.chars().count() < WIDTH => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}
