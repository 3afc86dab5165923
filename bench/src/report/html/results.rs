//! Result tables, checks and definitions.

use truerim_analysis::estimate::Check;

use crate::fitting::{Family, FitDocument, Measurand, Quantity, Reading, ShownIn, plain};
use crate::report::{escape, words};

/// Anchor of a quantity's definition.
pub(super) fn definition_anchor(quantity: Quantity) -> String {
    format!("def-{}", quantity.text().id)
}

/// Anchor of a measurand's budget.
pub(super) fn budget_anchor(document: &FitDocument, measurand: &Measurand) -> String {
    format!("budget-{}", position(document, measurand))
}

/// Anchor of the reason why a measurand has no value.
fn reason_anchor(document: &FitDocument, measurand: &Measurand) -> String {
    format!("why-{}", position(document, measurand))
}

fn position(document: &FitDocument, measurand: &Measurand) -> usize {
    let mut all = document.measurands.iter();
    all.position(|m| std::ptr::eq(m, measurand)).unwrap_or(0)
}

/// Anchor of what a rational model is.
const MODEL: &str = "def-rational-model";

/// Results of one family: what most readers look for, the rest folded away, and so the groups that are not the headline.
pub(super) fn table(document: &FitDocument, family: Family) -> String {
    let headline = document
        .measurands
        .iter()
        .filter(|m| m.headline && m.quantity.family() == family);
    let (detail, first): (Vec<&Measurand>, Vec<&Measurand>) = headline.partition(|m| m.quantity.is_detail());
    let mut text = rows(document, &first);
    if !detail.is_empty() {
        let n = detail.len();
        text.push_str(&format!(
            "<details class=\"others\"><summary>In more detail: {n} further results</summary>\n{}</details>\n",
            rows(document, &detail)
        ));
    }
    match family {
        Family::Motion | Family::Static | Family::Heat => text,
        Family::Steps | Family::Drivetrain | Family::Traces | Family::Shock | Family::Small => {
            text + &others(document, family)
        }
        Family::Chirps => text + &models(document) + &others(document, family),
    }
}

/// Rational models: size, residual, poles and zeros.
fn models(document: &FitDocument) -> String {
    let mut text = String::new();
    for model in &document.models {
        let roots: String = model
            .roots
            .iter()
            .map(|root| {
                format!(
                    "<tr><th scope=\"row\"><a href=\"#{MODEL}\">{}{}</a></th><td class=\"number\">{}</td><td class=\"number\">{}</td></tr>\n",
                    escape(&root.kind),
                    if root.pair { " pair" } else { ", real" },
                    escape(&words::outcome(&root.frequency, ShownIn::Hertz)),
                    if root.pair {
                        escape(&words::outcome(&root.damping, ShownIn::Plain))
                    } else {
                        "–".into()
                    }
                )
            })
            .collect();
        let failed = failed(&model.checks);
        text.push_str(&format!(
            "<details class=\"others\"><summary>Rational model: {} poles, {} zeros and a delay</summary>\n<p>{}: fitted \
             to {} bands from {}, {} numbers of poles and zeros tried. Delay {}, gain at zero frequency {}. What is left \
             over is {} times the errors of the response. <a href=\"#{MODEL}\">What it is</a>.{failed}</p>\n<table class=\"groups\">\n<thead><tr><th \
             scope=\"col\">Root</th><th scope=\"col\">Frequency</th><th scope=\"col\">Damping</th></tr></thead>\n\
             <tbody>\n{roots}</tbody>\n</table></details>\n",
            model.poles,
            model.zeros,
            escape(&model.group),
            model.lines,
            escape(&words::range_hz(model.range_hz)),
            model.orders_tried,
            escape(&words::outcome(&model.delay, ShownIn::Milliseconds)),
            escape(&words::outcome(&model.gain, ShownIn::Plain)),
            plain(model.residual, 3),
        ));
    }
    text
}

/// One row a group, one column a quantity.
fn others(document: &FitDocument, family: Family) -> String {
    let groups = document.other_groups(family);
    if groups.is_empty() {
        return String::new();
    }
    let quantities = document.other_quantities(family);
    let heads: String = quantities
        .iter()
        .map(|q| {
            let anchor = definition_anchor(*q);
            format!(
                "<th scope=\"col\"><a href=\"#{anchor}\">{}</a></th>",
                escape(q.text().name)
            )
        })
        .collect();
    let mut reasons: Vec<String> = Vec::new();
    let mut body = String::new();
    for (name, list) in &groups {
        body.push_str(&format!("<tr><th scope=\"row\">{}</th>", escape(name)));
        for quantity in &quantities {
            let measurand = list.iter().find(|m| m.quantity == *quantity);
            body.push_str(&measurand.map_or_else(|| "<td></td>".into(), |m| cell(document, m)));
            if let Some((m, refused)) = measurand.and_then(|m| m.result.refused().map(|r| (m, r))) {
                reasons.push(format!(
                    "<li id=\"{}\">{}, {}: <code>{}</code> {}</li>\n",
                    reason_anchor(document, m),
                    escape(name),
                    escape(&m.name),
                    escape(&refused.code),
                    escape(&refused.message)
                ));
            }
        }
        let n = list.iter().filter_map(|m| m.estimate()).map(|e| e.n).max();
        body.push_str(&format!(
            "<td class=\"number\">{}</td></tr>\n",
            n.map_or("–".into(), |n| n.to_string())
        ));
    }
    let reasons = if reasons.is_empty() {
        String::new()
    } else {
        format!("<ul class=\"inner\">\n{}</ul>\n", reasons.concat())
    };
    let count = groups.len();
    let summary = match family {
        Family::Steps => format!("The other {count} groups of steps"),
        Family::Chirps => format!("The other {count} groups of signals"),
        Family::Traces => format!("One by one: {count} octaves and further traces"),
        Family::Shock => format!("One by one: {count} widths, heights and trains"),
        Family::Small => format!("One by one: {count} preloads, sines and bands"),
        Family::Motion | Family::Static | Family::Drivetrain | Family::Heat => {
            format!("One by one: {count} orders, speeds or ranges")
        }
    };
    format!(
        "<details class=\"others\"><summary>{summary}</summary>\n<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"{summary}\"><table \
         class=\"groups\">\n<thead><tr><th scope=\"col\">Group</th>{heads}<th scope=\"col\">n</th></tr></thead>\n\
         <tbody>\n{body}</tbody>\n</table></div>\n{reasons}</details>\n"
    )
}

fn cell(document: &FitDocument, measurand: &Measurand) -> String {
    match measurand.estimate() {
        None => {
            let code = measurand.result.refused().map_or("", |r| r.code.as_str());
            format!(
                "<td class=\"bad\"><a href=\"#{}\">refused</a> <code>{}</code></td>",
                reason_anchor(document, measurand),
                escape(code)
            )
        }
        Some(estimate) => {
            let reading = Reading::of(estimate, measurand.shown_in);
            let anchor = budget_anchor(document, measurand);
            let spread = if reading.symmetrical {
                format!("± {}", reading.half_width)
            } else {
                format!("({})", reading.interval())
            };
            format!(
                "<td class=\"number\"><a href=\"#{anchor}\">{} {spread}{}</a></td>",
                reading.value,
                reading.spaced_unit()
            )
        }
    }
}

fn rows(document: &FitDocument, measurands: &[&Measurand]) -> String {
    let body: String = measurands.iter().map(|m| row(document, m)).collect();
    format!(
        "<table class=\"results\">\n<thead><tr><th scope=\"col\">Measurand</th><th scope=\"col\">Value</th>\
         <th scope=\"col\">95 % interval</th><th scope=\"col\">n</th><th scope=\"col\">Conditions</th></tr></thead>\n\
         <tbody>\n{body}</tbody>\n</table>\n"
    )
}

fn row(document: &FitDocument, measurand: &Measurand) -> String {
    let name = format!(
        "<th scope=\"row\"><a href=\"#{}\">{}</a></th>",
        definition_anchor(measurand.quantity),
        escape(&measurand.name)
    );
    let spring = if measurand.conditions.rig_spring_nm_per_rad.is_some() {
        format!(
            "<br><small>{}</small>",
            escape(&words::rig_spring(measurand.conditions.rig_spring_nm_per_rad))
        )
    } else {
        String::new()
    };
    let conditions = escape(&words::conditions_short(&measurand.conditions)).replace(" °C", "\u{a0}°C");
    let Some(estimate) = measurand.estimate() else {
        let refused = measurand.result.refused();
        let (code, message) = refused.map_or(("", ""), |r| (r.code.as_str(), r.message.as_str()));
        return format!(
            "<tr class=\"refused\">{name}<td colspan=\"3\" data-label=\"Refused\"><strong>refused</strong> \
             <code>{}</code><br>{}</td><td data-label=\"Conditions\">{conditions}</td></tr>\n",
            escape(code),
            escape(message)
        );
    };
    let reading = Reading::of(estimate, measurand.shown_in);
    let plus_minus = if reading.symmetrical {
        format!(" ± {}", reading.half_width)
    } else {
        String::new()
    };
    let n = if estimate.n > 0 {
        estimate.n.to_string()
    } else {
        "–".into()
    };
    let failed = failed(&estimate.checks);
    format!(
        "<tr>{name}<td class=\"value\" data-label=\"Value\"><a href=\"#{anchor}\"><b>{value}</b>{plus_minus}{unit}</a>\
         {failed}</td><td class=\"number\" data-label=\"95 % interval\">{interval}{unit}</td>\
         <td class=\"number\" data-label=\"n\">{n}</td><td data-label=\"Conditions\">{conditions}{spring}</td></tr>\n",
        anchor = budget_anchor(document, measurand),
        value = reading.value,
        unit = reading.spaced_unit(),
        interval = reading.interval(),
    )
}

/// Checks that did not pass, a line each.
fn failed(checks: &[Check]) -> String {
    let failed = checks.iter().filter(|check| !check.passed);
    failed
        .map(|check| {
            format!(
                "<br><small class=\"bad\">check failed, {}: {}</small>",
                escape(&check.name),
                escape(&check.detail)
            )
        })
        .collect()
}

/// Checks on the recording.
pub(super) fn checks(document: &FitDocument) -> String {
    let items: String = document
        .quality
        .iter()
        .map(|check| {
            let (class, word) = if check.passed {
                ("good", "passed")
            } else {
                ("bad", "failed")
            };
            format!(
                "<tr><th scope=\"row\">{}</th><td class=\"{class}\">{word}</td><td>{}</td></tr>\n",
                escape(&check.name),
                escape(&check.detail)
            )
        })
        .collect();
    format!(
        "<table class=\"checks\">\n<thead><tr><th scope=\"col\">Check</th><th scope=\"col\">Verdict</th>\
         <th scope=\"col\">Found</th></tr></thead>\n<tbody>\n{items}</tbody>\n</table>\n"
    )
}

/// What the run was like over its time: how warm it became, how long it was and how closely it was sampled.
pub(super) fn course(document: &FitDocument) -> String {
    let facts = &document.recording;
    let warm = document
        .measurands
        .iter()
        .filter_map(|m| m.conditions.temperature.as_ref());
    let (low, high) = warm.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), t| {
        (low.min(t.min_degc), high.max(t.max_degc))
    });
    let warm_up = if low <= high {
        format!(
            "{low:.1} to {high:.1} °C while it was measured, {:.1} K apart",
            high - low
        )
    } else {
        "temperature not measured".into()
    };
    let rows = [
        ("Warm-up", warm_up),
        (
            "Length",
            format!(
                "{} samples in {} s, {} a second",
                facts.samples,
                plain(facts.duration_s, 4),
                plain(facts.sample_rate_hz, 4)
            ),
        ),
    ];
    let rows: String = rows
        .iter()
        .map(|(name, found)| {
            format!(
                "<tr><th scope=\"row\">{name}</th><td>{}</td></tr>\n",
                escape(found)
            )
        })
        .collect();
    format!("<table class=\"provenance\">\n<tbody>\n{rows}</tbody>\n</table>\n")
}

/// Definition, method and source of each quantity that occurs.
pub(super) fn definitions(document: &FitDocument) -> String {
    let mut seen: Vec<Quantity> = Vec::new();
    let mut text = String::from("<dl class=\"definitions\">\n");
    for m in &document.measurands {
        if seen.contains(&m.quantity) {
            continue;
        }
        seen.push(m.quantity);
        let method = document
            .measurands
            .iter()
            .filter(|other| other.quantity == m.quantity)
            .find_map(|other| other.estimate())
            .map_or("no result, so no method was applied", |e| e.method.as_str());
        text.push_str(&format!(
            "<dt id=\"{}\">{}</dt>\n<dd>{}<br><small><b>Method</b> {}</small><br><small><b>Source</b> {}</small></dd>\n",
            definition_anchor(m.quantity),
            escape(&m.name),
            escape(&m.definition),
            escape(method),
            escape(&m.source)
        ));
    }
    if !document.models.is_empty() {
        text.push_str(&format!(
            "<dt id=\"{MODEL}\">Rational model</dt>\n<dd>Pure delay times a quotient of two polynomials that comes nearest to the \
             response over the bands that coherence allows; its poles are what rings, its zeros what is held back. Frequency and \
             damping of a root are its distance from zero over 2π and its share of decay.<br><small><b>Method</b> least squares \
             weighted by the errors of the response, started by vector fitting, the number of poles and zeros chosen by what is left \
             over</small><br><small><b>Source</b> Gustavsen and Semlyen, IEEE Trans. Power Delivery 14 (1999) 1052; Sanathanan and \
             Koerner, IEEE Trans. Automatic Control 8 (1963) 56</small></dd>\n"
        ));
    }
    text.push_str("</dl>\n");
    text
}
