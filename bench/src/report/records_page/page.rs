//! The page from head to foot.

use super::figure::{capital, chance, number};
use super::judge::{ALPHA, Judged, judge, odd};
use super::parts::{Choice, document, filters, header, short, wide};
use super::{Sheet, chart, checks, distribution, gauge, units};
use crate::report::html::page::section;
use crate::report::{PlotError, escape};
use quality::shifts::{Cause, Kind};

/// The records of a model as one HTML file that needs nothing else.
///
/// # Errors
/// [`PlotError`] if a drawing fails.
pub fn records_page(sheet: &Sheet) -> Result<String, PlotError> {
    let judged = judge(sheet);
    let found = odd(sheet);
    let checked = checks::judge(&sheet.checks);
    let choices = [
        Choice::of("bench", &sheet.rows, |r| r.bench.clone()),
        Choice::of("fixture", &sheet.rows, |r| r.fixture.clone()),
        Choice::of("firmware", &sheet.rows, |r| r.firmware.clone()),
        Choice::of("batch", &sheet.rows, |r| r.batch.clone()),
        Choice::of("operator", &sheet.rows, |r| r.operator.clone()),
    ];
    let count = format!("{} measurements", sheet.rows.len());
    let mut body = header("Records", &sheet.model, &[sheet.about.clone(), count]);
    body += &filters(&choices);
    body += "<main>\n";
    body += &section(
        "short",
        "In short",
        "",
        &in_short(sheet, &judged, found.as_ref().map_or(0, |f| f.1.len()), &checked),
    );
    body += &section(
        "causes",
        "What goes with shifts and drifts",
        &format!(
            "Levels that differ or creep beyond chance, each with all others accounted for. On a page without any cause one is named \
             with a probability of at most {ALPHA}."
        ),
        &causes(&judged),
    );
    for (place, judged) in judged.iter().enumerate() {
        let mut drawn = match &judged.chart {
            Ok(_) => chart::over_time(judged, place)?,
            Err(refusal) => format!("<p class=\"lead\">{}</p>\n", escape(&refusal.to_string())),
        };
        drawn += &distribution::capability(judged, place)?;
        body += &section(
            &format!("measurand-{place}"),
            &capital(&judged.measurand.name),
            "",
            &drawn,
        );
    }
    body += &section(
        "odd",
        "Odd units",
        "Units that do not lie where the others do, over all measurands together, and the measurands that make them so.",
        &units::odd(sheet, &found),
    );
    if !checked.is_empty() {
        body += &section(
            "checks",
            "Check units",
            "Measured before anything else. While a check is not good, nothing is accepted on it.",
            &checks::section(&checked)?,
        );
    }
    if let Some(data) = &sheet.gauge {
        body += &section(
            "gauge",
            "What the measurement itself adds",
            "",
            &gauge::section(data)?,
        );
    }
    body += &section("units", "Unit history", "", &units::history(sheet, &judged));
    body += "</main>\n";
    Ok(document(&sheet.model, &body))
}

fn in_short(sheet: &Sheet, judged: &[Judged<'_>], odd: usize, checked: &[checks::Checked<'_>]) -> String {
    let named: usize = judged
        .iter()
        .filter_map(|j| j.causes.as_ref().ok())
        .map(Vec::len)
        .sum();
    let failing = sheet
        .rows
        .iter()
        .filter(|r| {
            r.values
                .iter()
                .zip(judged)
                .any(|(v, j)| v.is_some_and(|v| j.fails(v)))
        })
        .count();
    let worst = judged
        .iter()
        .filter_map(|j| match &j.capability {
            Some(Ok(c)) => Some((c.performance.actual, &j.measurand.name)),
            _ => None,
        })
        .min_by(|a, b| a.0.value.total_cmp(&b.0.value));
    let bad = checked
        .iter()
        .filter(|c| !c.found.as_ref().is_ok_and(|f| f.is_good()))
        .count();
    let mut lines = vec![
        format!(
            "<b>{failing}</b> of {} measurements lie outside a limit; <b>{odd}</b> units do not lie where the others do.",
            sheet.rows.len()
        ),
        format!("<b>{named}</b> shifts or drifts go with a bench, a fixture, a firmware or a batch."),
    ];
    if let Some((index, name)) = worst {
        lines.push(format!(
            "The tightest measurand is {}: Ppk <b>{:.2}</b> ({:.2} to {:.2}).",
            escape(name),
            index.value,
            index.interval.low,
            index.interval.high
        ));
    }
    if !checked.is_empty() {
        lines.push(format!(
            "<b>{bad}</b> of {} check units are not good.",
            checked.len()
        ));
    }
    short(&lines)
}

/// What goes with shifts and drifts, a line a cause.
pub(super) fn causes(judged: &[Judged<'_>]) -> String {
    let mut rows = String::new();
    let mut refused = String::new();
    for j in judged {
        match &j.causes {
            Ok(found) => rows.extend(found.iter().map(|c| cause(j, c))),
            Err(refusal) => {
                refused += &format!(
                    "<p class=\"lead\">{}: {}</p>\n",
                    escape(&j.measurand.name),
                    escape(&refusal.to_string())
                );
            }
        }
    }
    if rows.is_empty() {
        return format!("<p>None found.</p>\n{refused}");
    }
    wide(&format!(
        "<table class=\"causes\">\n<thead><tr><th>measurand</th><th>goes with</th><th>effect, 95 % interval</th>\
         <th>measurements</th><th>p, all looks counted</th></tr></thead>\n<tbody>\n{rows}</tbody>\n</table>"
    )) + &refused
}

fn cause(judged: &Judged<'_>, cause: &Cause) -> String {
    // A level may say its factor itself.
    let level = cause
        .level
        .strip_prefix(&cause.factor)
        .unwrap_or(&cause.level)
        .trim();
    let what = match cause.kind {
        _ if cause.level.is_empty() => "a drift of all".to_owned(),
        Kind::Shift => format!("<b>{}</b> {}", escape(&cause.factor), escape(level)),
        Kind::Drift => format!("<b>{}</b> {}, creeping", escape(&cause.factor), escape(level)),
    };
    let instead = if cause.instead.is_empty() {
        String::new()
    } else {
        format!(
            "<br><small>cannot be told apart from {}</small>",
            escape(&cause.instead.join(", "))
        )
    };
    let (scale, per) = match cause.kind {
        Kind::Shift => (1.0, ""),
        Kind::Drift => (100.0, " in 100 days"),
    };
    let of = |v: f64| number(scale * v);
    let sign = if cause.effect > 0.0 { "+" } else { "" };
    format!(
        "<tr><th scope=\"row\">{}</th><td>{what}{instead}</td><td class=\"value\">{sign}{} {}{per} <small>{} to {}</small></td>\
         <td class=\"number\">{}</td><td class=\"number\">{}</td></tr>\n",
        escape(&judged.measurand.name),
        of(cause.effect),
        escape(&judged.measurand.unit),
        of(cause.interval.low),
        of(cause.interval.high),
        cause.n,
        chance(cause.p)
    )
}
