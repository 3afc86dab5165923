//! Uncertainty budgets, one folded line a measurand.

use super::results::budget_anchor;
use crate::fitting::{FitDocument, Measurand, Reading, ShownIn};
use crate::report::escape;
use truerim_analysis::estimate::{Estimate, Kind};

pub(super) fn section(document: &FitDocument) -> String {
    let lines = |headline: bool| -> Vec<String> {
        let chosen = document.measurands.iter().filter(|m| m.headline == headline);
        chosen
            .filter_map(|m| m.estimate().map(|e| line(document, m, e)))
            .collect()
    };
    let (mut text, others) = (lines(true).concat(), lines(false));
    if !others.is_empty() {
        text.push_str(&format!(
            "<details class=\"others rest\"><summary>The {} results of the other groups</summary>\n{}</details>\n",
            others.len(),
            others.concat()
        ));
    }
    if text.is_empty() {
        "<p>No result, so no budget.</p>\n".into()
    } else {
        text
    }
}

fn line(document: &FitDocument, measurand: &Measurand, estimate: &Estimate) -> String {
    let shown_in = measurand.shown_in;
    let group = if measurand.group.is_empty() || measurand.headline {
        String::new()
    } else {
        format!(" <small>{}</small>", escape(&measurand.group))
    };
    let total: f64 = estimate.budget.iter().map(|c| c.std_uncertainty.powi(2)).sum();
    let rows: String = estimate
        .budget
        .iter()
        .map(|c| {
            let kind = match c.kind {
                Kind::A => "A, from repeats",
                Kind::B => "B, otherwise",
            };
            let dof = c.dof.map_or_else(|| "∞".into(), |d| format!("{d:.0}"));
            let share = if total > 0.0 {
                100.0 * c.std_uncertainty.powi(2) / total
            } else {
                0.0
            };
            format!(
                "<tr><th scope=\"row\">{}</th><td>{kind}</td><td class=\"number\">{}</td>\
                 <td class=\"number\">{dof}</td><td class=\"number\">{share:.0} %</td></tr>\n",
                escape(&c.source),
                standard(c.std_uncertainty, shown_in)
            )
        })
        .collect();
    let checks: String = estimate
        .checks
        .iter()
        .map(|c| {
            let (class, word) = if c.passed {
                ("good", "passed")
            } else {
                ("bad", "failed")
            };
            format!(
                "<li><span class=\"{class}\">{word}</span> {}: {}</li>\n",
                escape(&c.name),
                escape(&c.detail)
            )
        })
        .collect();
    let checks = if checks.is_empty() {
        checks
    } else {
        format!("<ul class=\"inner\">\n{checks}</ul>\n")
    };
    let dof = if estimate.dof.is_finite() {
        format!("{:.1}", estimate.dof)
    } else {
        "∞".into()
    };
    format!(
        "<details id=\"{}\"><summary>{}{group} <span class=\"number\">{}</span></summary>\n\
         <p><b>Method</b> {}</p>\n<table class=\"budget\">\n<thead><tr><th scope=\"col\">Contribution</th>\
         <th scope=\"col\">Type</th><th scope=\"col\">Standard uncertainty</th><th scope=\"col\">Degrees of \
         freedom</th><th scope=\"col\">Share</th></tr></thead>\n<tbody>\n{rows}</tbody>\n<tfoot><tr><th \
         scope=\"row\">Combined</th><td></td><td class=\"number\">{}</td><td class=\"number\">{dof}</td><td></td></tr>\
         </tfoot>\n</table>\n{checks}</details>\n",
        budget_anchor(document, measurand),
        escape(&measurand.name),
        Reading::of(estimate, shown_in),
        escape(&estimate.method),
        standard(estimate.std_uncertainty, shown_in),
    )
}

/// A standard uncertainty to two digits with its unit.
fn standard(u: f64, shown_in: ShownIn) -> String {
    let shown = u * shown_in.factor();
    let reading = Reading::from_interval(shown, 0.0, 2.0 * shown, shown_in.unit());
    format!("{}{}", reading.value, reading.spaced_unit())
}
