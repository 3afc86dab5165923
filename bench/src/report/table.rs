//! The table for the terminal, at most 100 columns wide.

use truerim_analysis::estimate::Check;

use crate::fitting::{Family, FitDocument, Measurand, Quantity, Reading, plain};

use super::words;

/// Widest line.
pub(super) const COLUMNS: usize = 100;
/// Widest name.
const NAME: usize = 30;
/// Widest name of a group.
const GROUP: usize = 56;
const HEADS: [&str; 6] = ["measurand", "value", "± (95 %)", "unit", "n", "conditions"];

/// Results as aligned columns: measurand, value, ± (95 %), unit, n, conditions. A refused one keeps its place and
/// gives its reason. The groups that do not stand for their quantity follow, one a line, then checks that failed.
pub fn table(document: &FitDocument) -> String {
    let headline = document.measurands.iter().filter(|m| m.headline);
    let (detail, first): (Vec<_>, Vec<_>) = headline.partition(|m| m.quantity.is_detail());
    let mut text = heading(document);
    text.push_str(&columns(HEADS, first.into_iter().map(row)));
    if !detail.is_empty() {
        let heads = [["in more detail"].as_slice(), &HEADS[1..]].concat();
        text.push('\n');
        text.push_str(&columns(heads, detail.into_iter().map(row)));
    }
    text.push_str(&models(document));
    for family in [
        Family::Drivetrain,
        Family::Traces,
        Family::Shock,
        Family::Small,
        Family::Steps,
        Family::Chirps,
    ] {
        text.push_str(&others(document, family));
    }
    let failed = failed(&document.quality, COLUMNS);
    if !failed.is_empty() {
        text.push('\n');
    }
    for line in failed {
        push_line(&mut text, &line);
    }
    text
}

/// Checks that did not pass, in lines.
fn failed(checks: &[Check], most: usize) -> Vec<String> {
    let failed = checks.iter().filter(|check| !check.passed);
    let words = failed.map(|check| format!("check failed, {}: {}", check.name, check.detail));
    words.flat_map(|words| wrapped(&words, most)).collect()
}

/// Rows under their heads; below a refused one its reason.
pub(super) fn columns<'h>(
    heads: impl IntoIterator<Item = &'h str>,
    rows: impl Iterator<Item = (Vec<String>, Option<String>)>,
) -> String {
    let heads: Vec<String> = heads.into_iter().map(str::to_owned).collect();
    let rows: Vec<(Vec<String>, Option<String>)> = rows.collect();
    let cells: Vec<&Vec<String>> = std::iter::once(&heads)
        .chain(rows.iter().map(|(cells, _)| cells))
        .collect();
    let widths = widths(&cells);
    let right = |i: usize| matches!(i, 1 | 2 | 4);
    let mut text = String::new();
    push_line(&mut text, &aligned(&heads, &widths, right));
    push_line(&mut text, &rule(&widths));
    for (cells, reason) in &rows {
        push_line(&mut text, &aligned(cells, &widths, right));
        for line in reason.iter().flat_map(|r| wrapped(r, COLUMNS - 4)) {
            push_line(&mut text, &format!("    {line}"));
        }
    }
    text
}

/// Each model in a few lines: its size and residual, then its poles and zeros.
fn models(document: &FitDocument) -> String {
    let mut text = String::new();
    for model in &document.models {
        let head = format!(
            "rational model, {}: {} poles, {} zeros and a delay over {}; residual {} times the errors",
            model.group,
            model.poles,
            model.zeros,
            words::range_hz(model.range_hz),
            plain(model.residual, 3)
        );
        text.push('\n');
        for line in wrapped(&head, COLUMNS) {
            push_line(&mut text, &line);
        }
        for root in &model.roots {
            push_line(&mut text, &format!("    {}", words::root(root)));
        }
        for line in failed(&model.checks, COLUMNS - 4) {
            push_line(&mut text, &format!("    {line}"));
        }
    }
    text
}

/// The other groups of a family, a table for each set of quantities that groups have.
fn others(document: &FitDocument, family: Family) -> String {
    let mut tables: Vec<(Vec<Quantity>, Vec<Named<'_>>)> = Vec::new();
    if matches!(
        family,
        Family::Motion | Family::Drivetrain | Family::Traces | Family::Shock | Family::Small
    ) {
        for group in document.other_groups(family) {
            let own: Vec<Quantity> = group.1.iter().map(|m| m.quantity).collect();
            match tables.iter_mut().find(|(quantities, _)| *quantities == own) {
                Some((_, groups)) => groups.push(group),
                None => tables.push((own, vec![group])),
            }
        }
    } else {
        tables.push((document.other_quantities(family), document.other_groups(family)));
    }
    let one =
        |(quantities, groups): (Vec<Quantity>, Vec<Named<'_>>)| others_alike(family, quantities, &groups);
    tables.into_iter().map(one).collect()
}

/// A group with its results.
type Named<'d> = (&'d str, Vec<&'d Measurand>);

/// One line a group, one column a quantity; reasons of refusals below.
fn others_alike(family: Family, mut quantities: Vec<Quantity>, groups: &[Named<'_>]) -> String {
    // What stands in the second table would make this one too wide; the page has it.
    quantities.retain(|q| !q.is_detail());
    if groups.is_empty() {
        return String::new();
    }
    let mut rows = vec![vec![
        match family {
            Family::Steps => "other steps",
            Family::Chirps => "other signals",
            Family::Motion
            | Family::Static
            | Family::Drivetrain
            | Family::Traces
            | Family::Shock
            | Family::Small
            | Family::Heat => "one by one",
        }
        .to_owned(),
    ]];
    rows[0].extend(quantities.iter().map(|q| column_head(*q)));
    rows[0].push("n".into());
    let mut reasons = Vec::new();
    for (name, list) in groups {
        let mut cells = vec![shortened(name, GROUP)];
        for quantity in &quantities {
            let measurand = list.iter().find(|m| m.quantity == *quantity);
            cells.push(match measurand.map(|m| (m, m.estimate())) {
                Some((m, Some(estimate))) => short(&Reading::of(estimate, m.shown_in)),
                Some((_, None)) => "refused".into(),
                None => "–".into(),
            });
            if let Some((m, refused)) = measurand.and_then(|m| m.result.refused().map(|r| (m, r))) {
                reasons.push(format!("{name}, {}: {}", m.name, refused.message));
            }
        }
        let n = list.iter().filter_map(|m| m.estimate()).map(|e| e.n).max();
        cells.push(n.map_or("–".into(), |n| n.to_string()));
        rows.push(cells);
    }
    let widths = widths(&rows.iter().collect::<Vec<_>>());
    let mut text = String::from("\n");
    for (i, cells) in rows.iter().enumerate() {
        push_line(&mut text, &aligned(cells, &widths, |i| i > 0));
        if i == 0 {
            push_line(&mut text, &rule(&widths));
        }
    }
    for line in reasons.iter().flat_map(|r| wrapped(r, COLUMNS - 4)) {
        push_line(&mut text, &format!("    {line}"));
    }
    text
}

/// One word and the unit; the whole name stands in the table above.
fn column_head(quantity: Quantity) -> String {
    let word = match quantity {
        Quantity::LatencyJitter => "jitter",
        Quantity::TransitionDuration => "transition",
        Quantity::SettlingTime => "settling",
        Quantity::SteadyGain => "gain",
        Quantity::Bandwidth => "−3 dB",
        Quantity::FlatBand => "±3 dB",
        Quantity::PhaseDelay => "delay",
        Quantity::ResonanceDamping => "damping",
        Quantity::RangeStiffness | Quantity::StiffnessSector => "stiffness",
        Quantity::GapSector => "backlash",
        Quantity::DragAtSpeed => "drag",
        Quantity::CoggingOrder => "amplitude",
        Quantity::CoggingPhase => "phase",
        Quantity::RippleUnderLoad => "under load",
        // The rest have one word of their own.
        other => other.text().id,
    };
    let unit = quantity.text().shown_in.unit();
    if unit.is_empty() {
        word.into()
    } else {
        format!("{word} {unit}")
    }
}

fn short(reading: &Reading) -> String {
    if reading.symmetrical {
        format!("{}±{}", reading.value, reading.half_width)
    } else {
        format!("{} ({}…{})", reading.value, reading.low, reading.high)
    }
}

fn widths(rows: &[&Vec<String>]) -> Vec<usize> {
    let columns = rows.iter().map(|cells| cells.len()).max().unwrap_or(0);
    (0..columns)
        .map(|i| {
            rows.iter()
                .filter_map(|cells| cells.get(i))
                .map(|cell| cell.chars().count())
                .max()
                .unwrap_or(0)
        })
        .collect()
}

fn rule(widths: &[usize]) -> String {
    "─".repeat((widths.iter().sum::<usize>() + 2 * widths.len().saturating_sub(1)).min(COLUMNS))
}

fn heading(document: &FitDocument) -> String {
    let r = &document.recording;
    let mut head = String::new();
    let origin = match r.rig.kind.as_str() {
        "virtual" => " (simulated)",
        "imported" => " (imported)",
        _ => "",
    };
    let unit = format!("{} {}{origin}", r.unit.model, r.unit.serial);
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
    let name = shortened(&measurand.name, NAME);
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

/// Cells in columns, two spaces between, some pushed to the right.
pub(super) fn aligned(cells: &[String], widths: &[usize], to_the_right: impl Fn(usize) -> bool) -> String {
    let mut line = String::new();
    for (i, (cell, width)) in cells.iter().zip(widths).enumerate() {
        let cell = clean(cell);
        let pad = " ".repeat(width.saturating_sub(cell.chars().count()));
        if i > 0 {
            line.push_str("  ");
        }
        line.push_str(&if to_the_right(i) {
            format!("{pad}{cell}")
        } else {
            format!("{cell}{pad}")
        });
    }
    shortened(line.trim_end(), COLUMNS)
}

pub(super) fn push_line(text: &mut String, line: &str) {
    text.push_str(line);
    text.push('\n');
}

/// Control characters from a file must not reach a terminal.
pub(super) fn clean(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_control() { ' ' } else { c })
        .collect()
}

pub(super) fn shortened(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let mut cut: String = text.chars().take(most.saturating_sub(1)).collect();
    cut.push('…');
    cut
}

/// Words in lines of at most `most` characters; a longer word is cut.
pub(super) fn wrapped(text: &str, most: usize) -> Vec<String> {
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
