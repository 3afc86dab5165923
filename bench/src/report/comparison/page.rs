//! A comparison as one page.

use super::overlay::NAMES;
use super::table::{ways_heading, ways_reading};
use crate::compare::{
    Compared, Comparison, Row, RowOutcome, Severity, SpreadKind, Ways, against_spread, bound_text, chance,
    difference_text, sentence, short_verdict, would_find_text,
};
use crate::fitting::{Family, Quantity, Reading, plain};
use crate::report::html::page::{document, figures, section};
use crate::report::{Plot, PlotError, escape};

/// The comparison as one HTML file. `plots` are put into it as they are; all other text is escaped.
///
/// # Errors
/// [`PlotError`] if the drawing backend fails.
pub fn comparison_page(comparison: &Comparison, plots: &[Plot]) -> Result<String, PlotError> {
    let names: Vec<&str> = comparison.groups.iter().map(|g| g.name.as_str()).collect();
    let title = match names.split_first() {
        Some((reference, others)) => format!("{} against {reference}", others.join(", ")),
        None => "Comparison".into(),
    };
    let mut body = format!(
        "<header>\n<p class=\"over\">Comparison of wheelbase tests</p>\n<h1>{}</h1>\n{}</header>\n<main>\n",
        escape(&title),
        alerts(comparison, Severity::Spoils)
    );
    body.push_str(&in_short(comparison));
    for other in names.iter().skip(1) {
        let own: Vec<&Row> = comparison.rows.iter().filter(|row| row.now == *other).collect();
        let forest = super::forest::forest(comparison, other)?;
        let drawn: Vec<Plot> = forest.into_iter().collect();
        body.push_str(&section(
            &format!("against-{}", anchor(other)),
            &format!("{other} against {}", names.first().unwrap_or(&"")),
            "",
            &(figures(&drawn, &["differences"]).replace(
                "id=\"plot-differences\"",
                &format!("id=\"plot-differences-{}\"", anchor(other)),
            ) + &tables(&own)),
        ));
    }
    body.push_str(&section(
        "curves",
        "Curves over one another",
        "Told apart by colour and by dash.",
        &figures(plots, &NAMES),
    ));
    if !comparison.ways.is_empty() {
        body.push_str(&section(
            "ways",
            "The same in several ways",
            "Runs in different mountings tell these by different methods.",
            &ways(comparison),
        ));
    }
    body.push_str(&section(
        "setup",
        "What differs between the set-ups",
        "",
        &setup(comparison),
    ));
    body.push_str(&section(
        "definitions",
        "What each number means",
        "",
        &definitions(comparison),
    ));
    body.push_str(&section(
        "provenance",
        "Where the numbers come from",
        "",
        &runs(comparison),
    ));
    body.push_str(&section("cautions", "Cautions", "", CAUTIONS));
    body.push_str(&format!(
        "</main>\n<footer><p>{} {}</p></footer>\n",
        escape(&comparison.software.name),
        escape(&comparison.software.version)
    ));
    Ok(document(&title, &body))
}

const CAUTIONS: &str = "<ul>\n<li>What is rendered is compared; what is felt is not claimed. There is no score.</li>\n\
    <li>No difference shown does not mean alike: the size that it does not exceed stands beside it.</li>\n\
    <li>A difference between two units holds for these two, not for their makes.</li>\n\
    <li>An interval is one of each difference alone; the verdicts allow for all looks together.</li>\n</ul>\n";

fn anchor(name: &str) -> String {
    name.chars()
        .map(|c| if c.is_ascii_alphanumeric() { c } else { '-' })
        .collect()
}

fn alerts(comparison: &Comparison, severity: Severity) -> String {
    let found = comparison.warnings.iter().filter(|w| w.severity == severity);
    found
        .map(|w| {
            format!(
                "<p class=\"alert\" role=\"note\"><strong>Spoils the comparison.</strong> {}</p>\n",
                escape(&w.text)
            )
        })
        .collect()
}

/// Of each group what differs, and what of most interest does not.
fn in_short(comparison: &Comparison) -> String {
    let mut text = String::from("<section id=\"short\" class=\"short\">\n<h2>In short</h2>\n");
    let reference = comparison.groups.first().map_or("", |g| g.name.as_str());
    for group in comparison.groups.iter().skip(1) {
        let own = || {
            comparison
                .rows
                .iter()
                .filter(|row| row.headline && row.now == group.name)
        };
        let differs = |r: &&Row| matches!(&r.outcome, RowOutcome::Compared(c) if c.differs);
        let alike = |r: &&Row| {
            LEADING.contains(&r.quantity) && matches!(&r.outcome, RowOutcome::Compared(c) if !c.differs)
        };
        let mut found: Vec<&Row> = own().filter(differs).collect();
        found.sort_by_key(|row| (row.quantity.is_detail(), row.quantity));
        let items: String = found
            .iter()
            .take(MOST)
            .copied()
            .chain(own().filter(alike))
            .map(item)
            .collect();
        let more = match found.len().saturating_sub(MOST) {
            0 => String::new(),
            n => format!(
                "<li>{n} further results differ; see the <a href=\"#against-{}\">table</a>.</li>\n",
                anchor(&group.name)
            ),
        };
        let none = if found.is_empty() {
            "<p><strong>Nothing differs beyond chance.</strong></p>\n"
        } else {
            ""
        };
        text.push_str(&format!(
            "<h3>{} against {}</h3>\n{none}<ul>\n{items}{more}</ul>\n",
            escape(&group.name),
            escape(reference)
        ));
    }
    let cautions = match comparison.warnings.len() {
        0 => "Nothing recorded differs between the set-ups.".into(),
        1 => "One <a href=\"#setup\">caution on the set-ups</a>.".into(),
        n => format!("{n} <a href=\"#setup\">cautions on the set-ups</a>."),
    };
    text.push_str(&format!(
        "<p class=\"under\">± is the 95 % interval of one difference alone. {} differences were looked at; p allows for all of them, \
         and that any is called one by chance has a probability of {} % at most (Holm's method). {cautions}</p>\n</section>\n",
        comparison.family,
        plain(100.0 * comparison.significance, 3),
    ));
    text
}

/// Most differences that are said at the head of the page.
const MOST: usize = 8;

/// One sentence with its link.
fn item(row: &Row) -> String {
    let repeatability = match &row.outcome {
        RowOutcome::Compared(c) if c.differs => {
            let words = against_spread(c);
            if words.is_empty() {
                words
            } else {
                format!(" <small>{}.</small>", escape(&words))
            }
        }
        _ => String::new(),
    };
    format!(
        "<li><a class=\"said\" href=\"#def-{}\">{}</a>{repeatability}</li>\n",
        row.quantity.text().id,
        escape(&sentence(row))
    )
}

/// What most readers look for, and thus is said even where it does not differ.
const LEADING: [Quantity; 5] = [
    Quantity::Latency,
    Quantity::Overshoot,
    Quantity::FlatBand,
    Quantity::StaticGain,
    Quantity::Coulomb,
];

const FAMILIES: [(Family, &str); 9] = [
    (Family::Steps, "Steps"),
    (Family::Chirps, "By frequency"),
    (Family::Static, "Steady torque"),
    (Family::Traces, "Steering traces"),
    (Family::Shock, "Short pulses"),
    (Family::Small, "Small changes"),
    (Family::Heat, "Warming"),
    (Family::Motion, "A rim that turns"),
    (Family::Drivetrain, "The drivetrain"),
];

fn tables(rows: &[&Row]) -> String {
    let mut text = String::new();
    for (family, name) in FAMILIES {
        let own = |headline: bool| -> Vec<&Row> {
            let all = rows.iter().copied();
            all.filter(|r| r.quantity.family() == family && r.headline == headline)
                .collect()
        };
        let (first, others) = (own(true), own(false));
        if !first.is_empty() {
            text.push_str(&format!(
                "<h3>{name}</h3>\n{}",
                table(&label(name, first[0], ""), &first)
            ));
        }
        if !others.is_empty() {
            text.push_str(&format!(
                "<details class=\"others\"><summary>{name}: {} results of the other groups of repeats</summary>\n{}</details>\n",
                others.len(),
                table(&label(name, others[0], ", other groups of repeats"), &others)
            ));
        }
    }
    text
}

/// What a table is called for whoever hears the page.
fn label(name: &str, row: &Row, further: &str) -> String {
    escape(&format!("{name}{further}: {} against {}", row.now, row.then))
}

fn table(name: &str, rows: &[&Row]) -> String {
    let body: String = rows.iter().map(|r| line(r)).collect();
    let behind: String = rows
        .iter()
        .filter_map(|row| match &row.outcome {
            RowOutcome::Compared(c) => Some(behind(row, c)),
            RowOutcome::NotCompared { .. } => None,
        })
        .collect();
    let behind = if behind.is_empty() {
        behind
    } else {
        format!(
            "<details class=\"others rest\"><summary>What is behind each difference</summary>\n<dl class=\"definitions\">{behind}</dl></details>\n"
        )
    };
    format!(
        "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"{name}\"><table class=\"groups compare\">\n<thead>\
         <tr><th scope=\"col\">Measurand</th><th scope=\"col\">Verdict</th><th scope=\"col\">Reference</th><th scope=\"col\">Held \
         against it</th><th scope=\"col\">Difference</th><th scope=\"col\">Would have found</th></tr></thead>\n<tbody>\n{body}</tbody>\n</table></div>\n{behind}"
    )
}

fn line(row: &Row) -> String {
    let group = if row.headline || row.group.is_empty() {
        String::new()
    } else {
        format!("<br><small>{}</small>", escape(&row.group))
    };
    let name = format!(
        "<th scope=\"row\"><a href=\"#def-{}\">{}</a>{group}</th>",
        row.quantity.text().id,
        escape(&row.name)
    );
    match &row.outcome {
        RowOutcome::NotCompared { code, reason } => format!(
            "<tr class=\"refused\">{name}<td colspan=\"5\"><strong>not compared</strong> <code>{}</code> {}</td></tr>\n",
            escape(code),
            escape(reason)
        ),
        RowOutcome::Compared(c) => {
            let k = row.shown_in.factor();
            let known = |value: &crate::compare::Known| {
                let [low, high] = value.interval.map(|end| k * end);
                escape(&Reading::from_interval(k * value.value, low, high, row.shown_in.unit()).to_string())
            };
            let verdict = if c.differs {
                format!("<strong class=\"bad\">{}</strong>", escape(&short_verdict(row)))
            } else {
                format!("none shown; below {}", escape(&bound_text(row, c)))
            };
            let sign = if c.difference.value < 0.0 { "− " } else { "+ " };
            format!(
                "<tr>{name}<td>{verdict}<br><small>{}</small>{}</td><td>{}</td><td>{}</td><td>{sign}{}</td><td>{}</td></tr>\n",
                escape(&chance(c.chance_adjusted)),
                notes(row),
                known(&c.then),
                known(&c.now),
                escape(&difference_text(row, c)),
                escape(&would_find_text(row, c)),
            )
        }
    }
}

fn notes(row: &Row) -> String {
    row.notes
        .iter()
        .map(|note| format!("<br><small>{}</small>", escape(note)))
        .collect()
}

/// Where the scatter is from, what cancelled, and the budget of the difference.
fn behind(row: &Row, c: &Compared) -> String {
    let k = row.shown_in.factor();
    let unit = row.shown_in.unit();
    let written = |u: f64| {
        let text = plain(k * u, 2);
        if unit.is_empty() {
            text
        } else {
            format!("{text} {unit}")
        }
    };
    let from = match c.spread.kind {
        SpreadKind::Remounting => "runs with the rim clamped anew",
        SpreadKind::Runs => "one run to the next",
        SpreadKind::WithinRuns => "repeats within the runs",
    };
    let multiple = c.spread.multiple.map_or_else(String::new, |m| {
        format!("; the difference is {} times that", plain(m, 2))
    });
    let shared = if c.shared.is_empty() {
        "Nothing cancels.".to_owned()
    } else {
        format!("Cancels, being one value for both: {}.", c.shared.join("; "))
    };
    let parts: Vec<String> = c
        .difference
        .budget
        .iter()
        .map(|part| format!("{} {}", escape(&part.source), written(part.std_uncertainty)))
        .collect();
    let group = if row.headline {
        String::new()
    } else {
        format!(", {}", row.group)
    };
    format!(
        "<dt>{}{}</dt>\n<dd>Scatter from {from}: {} standard deviation of one fit{multiple}. {}<br><small><b>Standard \
         uncertainties</b> {}</small></dd>\n",
        escape(&row.name),
        escape(&group),
        written(c.spread.sd),
        escape(&shared),
        parts.join("; ")
    )
}

fn ways(comparison: &Comparison) -> String {
    let table = |one: &Ways| {
        let rows: String = one
            .told
            .iter()
            .map(|told| {
                format!(
                    "<tr><th scope=\"row\">{}</th><td>{}</td><td>{}</td></tr>\n",
                    escape(&told.way),
                    escape(&ways_reading(one, told)),
                    escape(&told.run_id)
                )
            })
            .collect();
        format!(
            "<p>{}.</p>\n<table class=\"checks\">\n<thead><tr><th scope=\"col\">Way</th><th scope=\"col\">Value</th><th \
             scope=\"col\">Run</th></tr></thead>\n<tbody>\n{rows}</tbody>\n</table>\n",
            escape(&ways_heading(one))
        )
    };
    comparison.ways.iter().map(table).collect()
}

fn setup(comparison: &Comparison) -> String {
    if comparison.warnings.is_empty() {
        return "<p>Nothing that is recorded of them.</p>\n".into();
    }
    let items: String = comparison
        .warnings
        .iter()
        .map(|w| {
            let (class, word) = match w.severity {
                Severity::Spoils => ("bad", "spoils"),
                Severity::Caution => ("", "caution"),
            };
            format!(
                "<tr><th scope=\"row\"><code>{}</code></th><td class=\"{class}\">{word}</td><td>{}</td></tr>\n",
                escape(&w.code),
                escape(&w.text)
            )
        })
        .collect();
    format!(
        "<table class=\"checks\">\n<thead><tr><th scope=\"col\">What</th><th scope=\"col\">How bad</th><th \
         scope=\"col\">Found</th></tr></thead>\n<tbody>\n{items}</tbody>\n</table>\n"
    )
}

fn definitions(comparison: &Comparison) -> String {
    let mut seen: Vec<Quantity> = Vec::new();
    let mut text = String::from(
        "<p class=\"lead\">Differences: JCGM 100:2008, 5.2.2 and G.4.1 (Welch and Satterthwaite). Verdicts: Student's test, \
         corrected by Holm (1979). “Smaller than”: two one-sided tests (Schuirmann 1987). “Would have found”: the difference that \
         this comparison calls one in four of five cases.</p>\n<dl class=\"definitions\">\n",
    );
    for row in &comparison.rows {
        if seen.contains(&row.quantity) {
            continue;
        }
        seen.push(row.quantity);
        text.push_str(&format!(
            "<dt id=\"def-{}\">{}</dt>\n<dd>{}<br><small><b>Source</b> {}</small></dd>\n",
            row.quantity.text().id,
            escape(&row.name),
            escape(&row.definition),
            escape(&row.source)
        ));
    }
    text.push_str("</dl>\n");
    text
}

fn runs(comparison: &Comparison) -> String {
    let rows: String = comparison
        .groups
        .iter()
        .flat_map(|group| group.members.iter().map(move |m| (group, m)))
        .map(|(group, m)| {
            format!(
                "<tr><th scope=\"row\">{}</th><td>{}<br><small>{}</small></td><td>{}</td><td>{}</td><td>{}</td></tr>\n",
                escape(&group.name),
                escape(&m.run_id),
                escape(m.seal.as_deref().map_or("not sealed", |s| s)),
                escape(&m.unit),
                escape(&m.created),
                escape(m.clamping.as_deref().unwrap_or("not stated"))
            )
        })
        .collect();
    let further = if comparison.remounted > 0 {
        format!(
            "<p>{} further runs tell what clamping the rim anew does.</p>\n",
            comparison.remounted
        )
    } else {
        String::new()
    };
    format!(
        "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"Runs\"><table class=\"runs\">\n<thead><tr><th scope=\"col\">Group</th><th \
         scope=\"col\">Run and seal</th><th scope=\"col\">Unit</th><th scope=\"col\">Recorded</th><th \
         scope=\"col\">Clamping</th></tr></thead>\n<tbody>\n{rows}</tbody>\n</table></div>\n{further}"
    )
}
