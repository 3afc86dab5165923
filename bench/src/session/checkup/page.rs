//! The findings as a page of their own: one file, nothing loaded from elsewhere.

use std::fmt::Write as _;

use super::{Finding, Verdict};
use crate::drive::ports::Port;

const STYLE: &str = ":root{color-scheme:light dark;--ink:#1d2733;--soft:#56616e;--line:#d9dcd6;--paper:#fbfbf9;--good:#2c6e49;--attention:#8a5a00;--bad:#a4262c}\
@media screen and (prefers-color-scheme:dark){:root{--ink:#e4e6e3;--soft:#a3abb3;--line:#363d44;--paper:#16191d;--good:#7cc79a;--attention:#e0b25c;--bad:#f0888c}}\
body{font:16px/1.5 system-ui,sans-serif;color:var(--ink);background:var(--paper);margin:2.5rem auto;max-width:62rem;padding:0 1.2rem;overflow-wrap:anywhere}\
h1{font-size:1.6rem;line-height:1.25;margin:0 0 .2rem}h2{font-size:1.1rem;margin:2.2rem 0 .5rem}p{margin:.3rem 0}.small{color:var(--soft)}\
.sum{margin:1.2rem 0 0;padding:.1rem 0 .1rem .9rem;border-left:4px solid;font-weight:600}ul{margin:.3rem 0;padding-left:1.2rem}\
table{border-collapse:collapse;width:100%}td,th{text-align:left;vertical-align:top;padding:.5rem .9rem .5rem 0;border-top:1px solid var(--line)}\
th{font-weight:600;width:12rem}td.v{white-space:nowrap;font-weight:600;width:7.5rem}.advice{display:block;margin-top:.15rem}.found{color:var(--soft)}\
.good{color:var(--good)}.attention{color:var(--attention)}.bad{color:var(--bad)}.not{color:var(--soft)}\
@media screen and (max-width:42rem){body{margin:1.2rem auto}tr{display:block;border-top:1px solid var(--line);padding:.5rem 0}td,th,td.v{display:inline-block;width:auto;border:0;padding:0 .7rem 0 0}td:last-child{display:block}}\
@media print{:root{--ink:#000;--soft:#444;--paper:#fff;--line:#bbb}body{font-size:10.5pt;margin:0;max-width:none;padding:0}td,th{padding-top:.25rem;padding-bottom:.25rem}h2{break-after:avoid}tr{break-inside:avoid}}";

/// A sign beside the word, so that colour alone tells nothing.
const fn sign(verdict: Verdict) -> (&'static str, &'static str) {
    match verdict {
        Verdict::Good => ("✓", "good"),
        Verdict::Attention => ("!", "attention"),
        Verdict::Bad => ("✕", "bad"),
        Verdict::NotTried => ("–", "not"),
    }
}

/// The page. `title` names the rig, `when` says when it was looked at.
#[must_use]
pub fn page(title: &str, when: &str, findings: &[Finding], ports: &[Port]) -> String {
    let count = |verdict| {
        findings
            .iter()
            .filter(|finding| finding.verdict == verdict)
            .count()
    };
    let (sum, class) = match (
        count(Verdict::Bad),
        count(Verdict::Attention),
        count(Verdict::NotTried),
    ) {
        (0, 0, 0) => (
            "Everything that was looked at is as it should be.".to_owned(),
            "good",
        ),
        (0, attention, open) => (
            format!("Nothing is wrong; {attention} to look at, {open} not tried."),
            if attention > 0 { "attention" } else { "not" },
        ),
        (bad, attention, open) => (
            format!(
                "{bad} wrong, {attention} to look at, {open} not tried. Do not measure before what is wrong is mended."
            ),
            "bad",
        ),
    };
    let mut out = String::new();
    let _ = write!(
        out,
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width\">\
         <title>Check of {title}</title><style>{STYLE}</style></head><body><main>\n<h1>Check of {title}</h1>\n\
         <p class=\"small\">{when}, truerim {version}</p>\n<p class=\"sum {class}\">{sum}</p>\n",
        title = escaped(title),
        when = escaped(when),
        version = env!("CARGO_PKG_VERSION"),
    );
    let of = |verdict| findings.iter().filter(move |finding| finding.verdict == verdict);
    let open = of(Verdict::Bad)
        .chain(of(Verdict::Attention))
        .chain(of(Verdict::NotTried));
    table(&mut out, "What to do", open);
    table(&mut out, "As it should be", of(Verdict::Good));
    out += "<h2>Serial ports of this computer</h2>\n<ul>\n";
    if ports.is_empty() {
        out += "<li>None.</li>\n";
    }
    for port in ports {
        let _ = writeln!(out, "<li>{}</li>", escaped(&port.to_string()));
    }
    out += "</ul>\n<h2>What this page does not show</h2>\n<p>That the emergency stop cuts the supply by wire: press it with the motor \
            pushing at its smallest and see. That guards and stops hold. The program's interlock is no safety function.</p>\n\
            </main></body></html>\n";
    out
}

/// Nothing for no findings.
fn table<'a>(out: &mut String, heading: &str, findings: impl Iterator<Item = &'a Finding>) {
    let mut findings = findings.peekable();
    if findings.peek().is_none() {
        return;
    }
    let _ = writeln!(out, "<h2>{heading}</h2>\n<table>");
    for finding in findings {
        let (sign, class) = sign(finding.verdict);
        let (found, word) = (escaped(&finding.found), finding.verdict.word());
        let _ = write!(
            out,
            "<tr><th scope=\"row\">{}</th><td class=\"v {class}\">{sign} {word}</td><td>",
            escaped(&finding.name)
        );
        let _ = if finding.advice.is_empty() {
            write!(out, "{found}")
        } else {
            let advice = escaped(&sentence(&finding.advice));
            write!(
                out,
                "<span class=\"found\">{found}</span> <span class=\"advice\">{advice}</span>"
            )
        };
        out.push_str("</td></tr>\n");
    }
    out.push_str("</table>\n");
}

/// With a capital and a full stop.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(char::to_uppercase).into_iter().flatten();
    first.chain(letters).chain(['.']).collect()
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}
