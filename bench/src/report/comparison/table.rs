//! A comparison for the terminal, at most 100 columns wide.

use crate::compare::{Comparison, Row, RowOutcome, Severity, Told, Ways, sentence, short_verdict};
use crate::fitting::{Reading, plain};
use crate::report::table::{COLUMNS, columns, push_line, shortened, wrapped};

const HEADS: [&str; 5] = ["measurand", "reference", "against it", "unit", "verdict"];

/// Warnings first, then what stands for its quantity as aligned columns, then what else differs, in sentences.
pub fn comparison_table(comparison: &Comparison) -> String {
    let mut text = String::new();
    for group in &comparison.groups {
        let runs: Vec<String> = group
            .members
            .iter()
            .map(|m| format!("{} ({})", m.run_id, m.unit))
            .collect();
        say(&mut text, &format!("{}: {}", group.name, runs.join(", ")), 0);
    }
    for warning in &comparison.warnings {
        let word = match warning.severity {
            Severity::Spoils => "SPOILS THE COMPARISON",
            Severity::Caution => "caution",
        };
        say(&mut text, &format!("{word}: {}", warning.text), 0);
    }
    let Some((reference, others)) = comparison.groups.split_first() else {
        return text;
    };
    for other in others {
        text.push('\n');
        say(
            &mut text,
            &format!("{} against {}", other.name, reference.name),
            0,
        );
        let own = || comparison.rows.iter().filter(|row| row.now == other.name);
        text.push_str(&columns(HEADS, own().filter(|row| row.headline).map(cells)));
        let further: Vec<&Row> = own().filter(|row| !row.headline).collect();
        let differ = further
            .iter()
            .filter(|row| matches!(&row.outcome, RowOutcome::Compared(c) if c.differs));
        for row in differ {
            say(&mut text, &sentence(row), 4);
        }
        if !further.is_empty() {
            let compared = further
                .iter()
                .filter(|row| matches!(row.outcome, RowOutcome::Compared(_)));
            let line = format!(
                "In the other groups of repeats {} further results were compared; what differs among them stands above, all \
                 stand in the page and in the JSON.",
                compared.count()
            );
            say(&mut text, &line, 0);
        }
    }
    for ways in &comparison.ways {
        text.push('\n');
        say(&mut text, &ways_heading(ways), 0);
        for told in &ways.told {
            say(
                &mut text,
                &format!("{}: {} ({})", told.way, ways_reading(ways, told), told.run_id),
                4,
            );
        }
    }
    say(
        &mut text,
        &format!(
            "{} differences were looked at; that any is called one by chance has a probability of {} % at most (Holm). A 95 % \
             interval is one of each alone.",
            comparison.family,
            crate::fitting::plain(100.0 * comparison.significance, 3)
        ),
        0,
    );
    text
}

/// What several ways say together, in a sentence.
pub(super) fn ways_heading(ways: &Ways) -> String {
    let k = ways.shown_in.factor();
    let mean = Reading::from_interval(
        k * ways.mean,
        k * (ways.mean - TWO * ways.mean_u),
        k * (ways.mean + TWO * ways.mean_u),
        ways.shown_in.unit(),
    );
    format!(
        "{} of {} in {} ways: they {}, so far apart by chance in {} %; weighted mean {mean}",
        ways.name,
        ways.unit,
        ways.told.len(),
        if ways.agree { "agree" } else { "DO NOT AGREE" },
        plain(100.0 * ways.chance, 2),
    )
}

/// What one way says.
pub(super) fn ways_reading(ways: &Ways, told: &Told) -> String {
    let k = ways.shown_in.factor();
    let [low, high] = told.estimate.interval.map(|end| k * end);
    Reading::from_interval(k * told.estimate.value, low, high, ways.shown_in.unit()).to_string()
}

/// Normal quantile of a 95 % interval.
const TWO: f64 = 1.959_963_984_540_054;

fn say(text: &mut String, words: &str, indent: usize) {
    for line in wrapped(words, COLUMNS - indent) {
        push_line(text, &format!("{}{line}", " ".repeat(indent)));
    }
}

fn cells(row: &Row) -> (Vec<String>, Option<String>) {
    let name = shortened(&row.name, 24);
    match &row.outcome {
        RowOutcome::NotCompared { reason, .. } => {
            let dash = || "–".to_owned();
            let cells = vec![name, dash(), dash(), String::new(), "not compared".into()];
            (cells, Some(reason.clone()))
        }
        RowOutcome::Compared(compared) => {
            let k = row.shown_in.factor();
            let written = |known: &crate::compare::Known| {
                let [low, high] = known.interval.map(|end| k * end);
                Reading::from_interval(k * known.value, low, high, "").to_string()
            };
            let cells = vec![
                name,
                written(&compared.then),
                written(&compared.now),
                row.shown_in.unit().into(),
                short_verdict(row),
            ];
            let notes = (!row.notes.is_empty()).then(|| row.notes.join("; "));
            (cells, notes)
        }
    }
}
