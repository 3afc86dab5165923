//! The table for the terminal, at most 100 columns wide.

use crate::fitting::{FitDocument, Measurand, Reading};

use super::words;

/// Widest line.
const COLUMNS: usize = 100;
/// Widest name.
const NAME: usize = 30;
const HEADS: [&str; 6] = ["measurand", "value", "± (95 %)", "unit", "n", "conditions"];

/// Results as aligned columns: measurand, value, ± (95 %), unit, n, conditions. A refused one keeps its place and
/// gives its reason. Checks that failed follow.
pub fn table(document: &FitDocument) -> String {
    let rows: Vec<(Vec<String>, Option<String>)> = document.measurands.iter().map(row).collect();
    let mut widths: Vec<usize> = HEADS.iter().map(|h| h.chars().count()).collect();
    for (cells, _) in &rows {
        for (width, cell) in widths.iter_mut().zip(cells) {
            *width = (*width).max(cell.chars().count());
        }
    }
    let mut text = heading(document);
    let heads: Vec<String> = HEADS.iter().map(|h| (*h).to_owned()).collect();
    push_line(&mut text, &aligned(&heads, &widths));
    push_line(&mut text, &"─".repeat(aligned_width(&widths).min(COLUMNS)));
    for (cells, reason) in &rows {
        push_line(&mut text, &aligned(cells, &widths));
        for line in reason.iter().flat_map(|r| wrapped(r, COLUMNS - 4)) {
            push_line(&mut text, &format!("    {line}"));
        }
    }
    let failed: Vec<String> = document
        .quality
        .iter()
        .filter(|check| !check.passed)
        .map(|check| format!("check failed, {}: {}", check.name, check.detail))
        .collect();
    if !failed.is_empty() {
        text.push('\n');
    }
    for line in failed.iter().flat_map(|f| wrapped(f, COLUMNS)) {
        push_line(&mut text, &line);
    }
    text
}

fn heading(document: &FitDocument) -> String {
    let r = &document.recording;
    let mut head = String::new();
    let unit = format!("{} {}", r.unit.model, r.unit.serial);
    for line in wrapped(
        &format!(
            "{} · {} · {} · {}",
            unit.trim(),
            r.created,
            r.mounting,
            r.rig.name
        ),
        COLUMNS,
    ) {
        push_line(&mut head, &line);
    }
    if !r.completion.is_complete() {
        let note = format!(
            "partial result: the run ended as {} ({})",
            r.completion.state, r.completion.cause
        );
        for line in wrapped(&note, COLUMNS) {
            push_line(&mut head, &line);
        }
    }
    head.push('\n');
    head
}

fn row(measurand: &Measurand) -> (Vec<String>, Option<String>) {
    let name = if measurand.headline || measurand.group.is_empty() {
        measurand.name.clone()
    } else {
        format!("  {}", measurand.name)
    };
    let name = shortened(&name, NAME);
    let conditions = words::conditions_short(&measurand.conditions);
    match measurand.estimate() {
        Some(estimate) => {
            let reading = Reading::of(estimate, measurand.shown_in);
            let n = if estimate.n > 0 {
                estimate.n.to_string()
            } else {
                "–".into()
            };
            let cells = vec![
                name,
                reading.value.clone(),
                reading.spread(),
                reading.unit.to_owned(),
                n,
                conditions,
            ];
            (cells, None)
        }
        None => {
            let cells = vec![
                name,
                "refused".into(),
                "–".into(),
                String::new(),
                "–".into(),
                conditions,
            ];
            (cells, measurand.result.refused().map(|r| clean(&r.message)))
        }
    }
}

/// Numbers to the right, words to the left, two spaces between.
fn aligned(cells: &[String], widths: &[usize]) -> String {
    let mut line = String::new();
    for (i, (cell, width)) in cells.iter().zip(widths).enumerate() {
        let cell = clean(cell);
        let pad = " ".repeat(width.saturating_sub(cell.chars().count()));
        if i > 0 {
            line.push_str("  ");
        }
        let to_the_right = matches!(i, 1 | 2 | 4);
        line.push_str(&if to_the_right {
            format!("{pad}{cell}")
        } else {
            format!("{cell}{pad}")
        });
    }
    shortened(line.trim_end(), COLUMNS)
}

fn aligned_width(widths: &[usize]) -> usize {
    widths.iter().sum::<usize>() + 2 * (widths.len() - 1)
}

fn push_line(text: &mut String, line: &str) {
    text.push_str(line);
    text.push('\n');
}

/// Control characters from a file must not reach a terminal.
fn clean(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect()
}

fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let mut cut: String = text.chars().take(most.saturating_sub(1)).collect();
    cut.push('…');
    cut
}

/// Words in lines of at most `most` characters; a longer word is cut.
fn wrapped(text: &str, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in clean(text).split_whitespace() {
        let word = shortened(word, most);
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= most => {
                line.push(' ');
                line.push_str(&word);
            }
            _ => lines.push(word),
        }
    }
    lines
}
