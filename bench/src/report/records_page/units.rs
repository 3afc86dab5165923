//! Units: those that are odd, and the history of all.

use super::Sheet;
use super::figure::{chance, number};
use super::judge::Judged;
use super::parts::wide;
use crate::report::escape;
use quality::Refusal;
use quality::outliers::OddUnit;
use std::collections::BTreeMap;

/// Most rows of the history; a page has to stay a page.
const MOST: usize = 400;

/// Odd units with the measurands that make them so.
pub(super) fn odd(sheet: &Sheet, found: &Result<(Vec<usize>, Vec<OddUnit>), Refusal>) -> String {
    let (rows, units) = match found {
        Ok(found) => found,
        Err(refusal) => return format!("<p class=\"lead\">{}</p>\n", escape(&refusal.to_string())),
    };
    if units.is_empty() {
        return "<p>None: every unit lies where the others do.</p>\n".into();
    }
    let body: String = units
        .iter()
        .map(|odd| {
            let row = &sheet.rows[rows[odd.unit]];
            let because: Vec<String> = odd
                .because
                .iter()
                .map(|o| {
                    let name = &sheet.measurands[o.measurand].name;
                    if o.alone.abs() < 3.0 {
                        format!("{} does not fit its other values ({:+.1} sigma; alone {:+.1})", name, o.given_others, o.alone)
                    } else {
                        format!("{} ({:+.1} sigma)", name, o.alone)
                    }
                })
                .collect();
            format!(
                "<tr data-row=\"{}\"><th scope=\"row\">{}</th><td>{}</td><td>{}</td><td class=\"number\">{}</td></tr>\n",
                rows[odd.unit],
                escape(&row.unit),
                escape(&row.date),
                escape(&because.join("; ").replace('-', "−")),
                chance(odd.p)
            )
        })
        .collect();
    wide(&format!(
        "<table>\n<thead><tr><th>unit</th><th>measured</th><th>because of</th><th>p, all units \
         counted</th></tr></thead>\n<tbody>\n{body}</tbody>\n</table>"
    ))
}

/// The history: the newest rows, those of a unit together, what fails marked.
pub(super) fn history(sheet: &Sheet, judged: &[Judged<'_>]) -> String {
    let mut of: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    let mut order: Vec<&str> = Vec::new();
    for (place, row) in sheet.rows.iter().enumerate().rev().take(MOST) {
        let rows = of.entry(&row.unit).or_default();
        if rows.is_empty() {
            order.push(&row.unit);
        }
        rows.push(place);
    }
    let mut body = String::new();
    for place in order.iter().flat_map(|unit| &of[unit]) {
        let row = &sheet.rows[*place];
        let values: String = row
            .values
            .iter()
            .zip(judged)
            .map(|(value, judged)| match value {
                Some(v) if judged.fails(*v) => {
                    format!(
                        "<td class=\"number bad\">{} <span aria-label=\"outside its limits\">✕</span></td>",
                        number(*v)
                    )
                }
                Some(v) => format!("<td class=\"number\">{}</td>", number(*v)),
                None => "<td class=\"number\">–</td>".into(),
            })
            .collect();
        body += &format!(
            "<tr data-row=\"{place}\"><th scope=\"row\">{}</th><td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td>{values}</tr>\n",
            escape(&row.unit),
            escape(&row.date),
            escape(&row.bench),
            escape(&row.fixture),
            escape(&row.firmware),
            escape(&row.batch)
        );
    }
    let heads: String = sheet
        .measurands
        .iter()
        .map(|m| format!("<th>{}, {}</th>", escape(&m.name), escape(&m.unit)))
        .collect();
    let cut = if sheet.rows.len() > MOST {
        format!(
            "<p class=\"lead\">The newest {MOST} of {} measurements.</p>\n",
            sheet.rows.len()
        )
    } else {
        String::new()
    };
    format!(
        "{cut}<div class=\"scroll tall\" tabindex=\"0\"><table class=\"groups\">\n<thead><tr><th>unit</th><th>measured</th><th>bench</th><th>fixture</th>\
         <th>firmware</th><th>batch</th>{heads}</tr></thead>\n<tbody>\n{body}</tbody>\n</table></div>\n"
    )
}
