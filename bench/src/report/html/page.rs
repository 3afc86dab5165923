//! The page from head to foot.

use super::{budget, plain_words, provenance, results};
use sha2::{Digest as _, Sha256};

use crate::fitting::{Family, FitDocument};
use crate::report::{Plot, escape, words};

pub(in crate::report) const STYLE: &str = include_str!("../style.css");
const SCRIPT: &str = include_str!("../plots.js");

/// Sections of what a driver gets beside steps: family, anchor, title, lead, plot.
const OF_THE_DRIVER: [(Family, &str, &str, &str, &str); 3] = [
    (
        Family::Shock,
        "shock",
        "What of short pulses arrives",
        "Half-sine pulses, alone and close behind each other: what share of the crest comes, how late, how wide, and what is left.",
        "shock",
    ),
    (
        Family::Small,
        "small",
        "What small changes come to",
        "Small steps and sines on preloads, and torque that is held: what is told from noise, and how restless torque is.",
        "resolution",
    ),
    (
        Family::Heat,
        "heat",
        "What warming takes",
        "Long holds: how fast the motor warms and cools, what it costs in torque, and what can be held for good.",
        "heat",
    ),
];

/// The report as one HTML file. `plots` are put into it as they are; all other text is escaped.
pub fn html(report: &FitDocument, plots: &[Plot]) -> String {
    let recording = &report.recording;
    let unit = words::or_unknown(
        format!("{} {}", recording.unit.model, recording.unit.serial).trim(),
        "unit without name",
    );
    let day = day(&recording.created);
    let mut page = header(report, &unit, &day);
    page.push_str("<main>\n");
    page.push_str(&plain_words::section(report));
    let has = |family| report.measurands.iter().any(|m| m.quantity.family() == family);
    page.push_str(&section(
        "driver",
        "What the driver gets",
        "Steps: how late, how fast and how cleanly torque reaches the rim. Latency is taken over all steps; for the rest the group with the largest change from a preload stands for all. The other groups are folded in below.",
        &(results::table(report, Family::Steps) + &figures(plots, &["steps", "latency"])),
    ));
    page.push_str(&section(
        "frequency",
        "What arrives, by frequency",
        "Which frequencies of the commanded torque reach the rim, how late, and what comes with them that nobody asked for.",
        &(results::table(report, Family::Chirps) + &figures(plots, &["frequency"])),
    ));
    if has(Family::Static) {
        page.push_str(&section(
            "static",
            "What steady torque arrives",
            "A staircase of commands up and down: what torque settles at, and how far it is from a straight line.",
            &(results::table(report, Family::Static) + &figures(plots, &["static-map"])),
        ));
    }
    if has(Family::Traces) {
        page.push_str(&section(
            "traces",
            "What of a steering trace arrives",
            "A car's steering torque, played as it is: how late and how truly it comes, and what is left of the drop at the grip limit.",
            &(results::table(report, Family::Traces) + &figures(plots, &["trace"])),
        ));
    }
    for (family, id, title, text, plot) in OF_THE_DRIVER {
        if has(family) {
            let content = results::table(report, family) + &figures(plots, &[plot]);
            page.push_str(&section(id, title, text, &content));
        }
    }
    if has(Family::Motion) {
        page.push_str(&section(
            "motion",
            "What turning shows",
            "A rim that turns: friction and inertia of the drivetrain.",
            &results::table(report, Family::Motion),
        ));
    }
    if has(Family::Drivetrain) {
        page.push_str(&section(
            "drivetrain",
            "What the drivetrain does",
            "Slow torque or slow turning: gaps, springs, friction over speed, torque over the angle, the position sensor.",
            &(results::table(report, Family::Drivetrain) + &figures(plots, &["loops", "stops", "friction", "around", "cogging"])),
        ));
    }
    page.push_str(&section(
        "quality",
        "Data quality",
        "Checks on the recording as a whole. A result that a check rules out is refused above, not corrected.",
        &(results::checks(report) + &results::course(report)),
    ));
    page.push_str(&section(
        "budget",
        "Where the uncertainty comes from",
        "Every interval holds the true value with a probability of 95 %. Open a line for its contributions.",
        &budget::section(report),
    ));
    page.push_str(&section(
        "definitions",
        "What each number means",
        "Definition, method and source of every quantity above.",
        &results::definitions(report),
    ));
    page.push_str(&section(
        "provenance",
        "Where the numbers come from",
        "",
        &provenance::section(report),
    ));
    page.push_str(&section(
        "cautions",
        "Cautions",
        "",
        &provenance::cautions(report),
    ));
    page.push_str("</main>\n");
    page.push_str(&format!(
        "<footer><p>{} {} · run {}</p></footer>\n",
        escape(&report.software.name),
        escape(&report.software.version),
        escape(&recording.run_id)
    ));
    document(&format!("{unit} · {day}"), &page)
}

/// A whole HTML file around a body. Its policy lets nothing be fetched and no script run but the one whose hash it names.
pub(in crate::report) fn document(title: &str, body: &str) -> String {
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; img-src data:; \
         script-src 'sha256-{}'\">\n<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"color-scheme\" content=\"light dark\">\n<title>{}</title>\n<style>\n{STYLE}</style>\n\
         </head>\n<body>\n{body}<script>{SCRIPT}</script>\n</body>\n</html>\n",
        base64(&Sha256::digest(SCRIPT)),
        escape(title)
    )
}

fn header(document: &FitDocument, unit: &str, day: &str) -> String {
    let r = &document.recording;
    let facts = [
        ("mounting", r.mounting.as_str()),
        ("rig", r.rig.name.as_str()),
        ("operator", r.operator.as_str()),
    ];
    let facts: String = facts
        .iter()
        .filter(|(_, value)| !value.is_empty())
        .map(|(name, value)| format!("<span><b>{name}</b> {}</span>", escape(value)))
        .collect();
    let kind = match r.rig.kind.as_str() {
        "virtual" => "Test of a simulated wheelbase",
        "imported" => "Wheelbase test, imported data",
        _ => "Wheelbase test",
    };
    let partial = if r.completion.is_complete() {
        String::new()
    } else {
        format!(
            "<p class=\"alert\" role=\"note\"><strong>Partial result.</strong> The run ended as {}: {}. What was \
             recorded before is fitted; what is missing is refused.</p>\n",
            escape(&r.completion.state),
            escape(&r.completion.cause)
        )
    };
    format!(
        "<header>\n<p class=\"over\">{kind} · {}</p>\n<h1>{}</h1>\n<p class=\"facts\">{facts}</p>\n{partial}{}\
         </header>\n",
        escape(day),
        escape(unit),
        provenance::import_note(document)
    )
}

/// Bytes as RFC 4648, chapter 4, writes them.
pub(in crate::report) fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::new();
    for three in bytes.chunks(3) {
        let word =
            three.iter().fold(0u32, |word, byte| word << 8 | u32::from(*byte)) << (8 * (3 - three.len()));
        for place in 0..4 {
            let letter = LETTERS[(word >> (18 - 6 * place) & 63) as usize];
            text.push(if place <= three.len() {
                char::from(letter)
            } else {
                '='
            });
        }
    }
    text
}

/// A section with its heading, a line on what it holds, and its body.
pub(in crate::report) fn section(id: &str, title: &str, lead: &str, body: &str) -> String {
    let lead = if lead.is_empty() {
        String::new()
    } else {
        format!("<p class=\"lead\">{}</p>\n", escape(lead))
    };
    format!(
        "<section id=\"{id}\">\n<h2>{}</h2>\n{lead}{body}</section>\n",
        escape(title)
    )
}

pub(in crate::report) fn figures(plots: &[Plot], names: &[&str]) -> String {
    plots
        .iter()
        .filter(|plot| names.contains(&plot.name))
        .map(|plot| {
            format!(
                "<figure id=\"plot-{}\">\n<h3>{}</h3>\n<div class=\"wide\">{}</div>\n<div class=\"narrow\">{}</div>\n\
                 <figcaption>{}</figcaption>\n</figure>\n",
                plot.name,
                escape(&plot.title),
                plot.wide,
                plot.narrow,
                escape(&plot.reading)
            )
        })
        .collect()
}

/// The date of an RFC 3339 time stamp.
pub(in crate::report) fn day(created: &str) -> String {
    words::or_unknown(created.split('T').next().unwrap_or(created), "date not recorded")
}
