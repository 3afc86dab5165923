//! What the pages of a model, a unit and a bench have in common.

use crate::report::escape;
use crate::report::html::page::{STYLE, base64};
use sha2::{Digest as _, Sha256};
use std::collections::BTreeSet;
use std::fmt::Write as _;

const OWN_STYLE: &str = include_str!("page.css");
const SCRIPT: &str = include_str!("filter.js");

/// Something that rows can be filtered by, and what each row has of it.
pub(super) struct Choice {
    name: &'static str,
    levels: Vec<String>,
}

impl Choice {
    pub(super) fn of<R>(name: &'static str, rows: &[R], level: impl Fn(&R) -> String) -> Self {
        Self {
            name,
            levels: rows.iter().map(level).collect(),
        }
    }
}

/// Choices for the filter, and which row has what: hidden until the script is there to use them.
pub(super) fn filters(choices: &[Choice]) -> String {
    let mut text = "<form id=\"filters\" aria-label=\"Show only\" hidden>\n".to_owned();
    for Choice { name, levels } in choices {
        let levels: BTreeSet<&String> = levels.iter().collect();
        let options: String = levels
            .iter()
            .map(|l| {
                format!(
                    "<option value=\"{}\">{}</option>",
                    escape(&kept(l)),
                    if l.is_empty() {
                        "not said".to_owned()
                    } else {
                        escape(l)
                    }
                )
            })
            .collect();
        // Writing to a String cannot fail.
        let _ = writeln!(
            text,
            "<label>{name} <select name=\"{name}\"><option value=\"*\">all</option>{options}</select></label>"
        );
    }
    let count = choices.iter().map(|c| c.levels.len()).max().unwrap_or(0);
    let rows: Vec<String> = (0..count)
        .map(|row| {
            let of = choices
                .iter()
                .map(|c| c.levels.get(row).map_or("", String::as_str));
            of.map(|level| escape(&kept(level))).collect::<Vec<_>>().join("|")
        })
        .collect();
    text + &format!(
        "<output></output>\n</form>\n<div id=\"rows\" hidden>{}</div>\n",
        rows.join("\n")
    )
}

/// A level without what separates levels and rows.
fn kept(level: &str) -> String {
    level.replace(['|', '\n'], " ")
}

/// Heading of a page, with facts below it.
pub(super) fn header(over: &str, title: &str, facts: &[String]) -> String {
    let facts: String = facts
        .iter()
        .map(|fact| format!("<span>{}</span>", escape(fact)))
        .collect();
    format!(
        "<header>\n<p class=\"over\">{}</p>\n<h1>{}</h1>\n<p class=\"facts\">{facts}</p>\n</header>\n",
        escape(over),
        escape(title)
    )
}

/// What a page says in short, a paragraph a line; lines are markup.
pub(super) fn short(lines: &[String]) -> String {
    let body: String = lines.iter().map(|l| format!("<p>{l}</p>\n")).collect();
    format!("<div class=\"short\">{body}</div>\n")
}

/// A cell with a warning behind it where there is one to give; both are markup.
pub(super) fn warned(cell: String, warn: bool, words: &str) -> String {
    match warn {
        true => format!("{cell} <span class=\"bad\">{words}</span>"),
        false => cell,
    }
}

/// A table that may be wider than the screen. Cells are markup; a row's number is what the filter knows it by.
pub(super) fn table(heads: &[&str], rows: &[(usize, Vec<String>)]) -> String {
    let heads: String = heads
        .iter()
        .map(|head| format!("<th>{}</th>", escape(head)))
        .collect();
    let mut body = String::new();
    for (number, cells) in rows {
        body += &match *number {
            usize::MAX => "<tr>".to_owned(),
            number => format!("<tr data-row=\"{number}\">"),
        };
        for (at, cell) in cells.iter().enumerate() {
            body += &match at {
                0 => format!("<th scope=\"row\">{cell}</th>"),
                _ => format!("<td>{cell}</td>"),
            };
        }
        body += "</tr>\n";
    }
    wide(&format!(
        "<table class=\"groups\">\n<thead><tr>{heads}</tr></thead>\n<tbody>\n{body}</tbody>\n</table>"
    ))
}

/// Room to scroll sideways in, by keyboard too.
pub(super) fn wide(table: &str) -> String {
    format!("<div class=\"scroll\" tabindex=\"0\">{table}</div>\n")
}

/// The whole file around a body.
pub(super) fn document(title: &str, body: &str) -> String {
    let software = crate::software();
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; img-src data:; \
         script-src 'sha256-{}'\">\n<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"color-scheme\" content=\"light dark\">\n<title>{}</title>\n<style>\n{STYLE}{OWN_STYLE}</style>\n\
         </head>\n<body>\n{body}<footer><p>{} {}</p></footer>\n<script>{SCRIPT}</script>\n</body>\n</html>\n",
        base64(&Sha256::digest(SCRIPT)),
        escape(title),
        escape(&software.name),
        escape(&software.version)
    )
}
