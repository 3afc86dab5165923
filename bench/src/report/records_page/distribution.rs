//! How a measurand spreads within its limits.

use super::figure::{capital, ends, figure, number};
use super::histogram::Histogram;
use super::judge::Judged;
use crate::report::plots::Format;
use crate::report::plots::axis::Axis;
use crate::report::plots::canvas::{Canvas, Stroke, finish};
use crate::report::plots::legend::{self, Sample};
use crate::report::plots::palette::{BLUE, GREEN, VERMILION};
use crate::report::plots::panel::Panel;
use crate::report::{PlotError, escape};
use quality::capability::{Capability, Index, Spread, from_moments, product_spread};
use quality::distributions::normal_density;

const LIMIT: Stroke = Stroke::solid(VERMILION, 1.8).dashed(9.0, 4.0);
const NORMAL: Stroke = Stroke::solid(GREEN, 2.0);

/// Histogram with limits and the normal curve of the whole spread, and the indices below.
pub(super) fn capability(judged: &Judged<'_>, place: usize) -> Result<String, PlotError> {
    let Some(found) = &judged.capability else {
        return Ok(String::new());
    };
    let found = match found {
        Ok(found) => found,
        Err(refusal) => {
            return Ok(format!(
                "<p class=\"lead\">{}</p>\n",
                escape(&refusal.to_string())
            ));
        }
    };
    let drawn = figure(
        &format!("spread-{place}"),
        &format!("{} within its limits", capital(&judged.measurand.name)),
        "How the values spread, with the normal curve of the same mean and standard deviation.",
        |format| draw(judged, found, format),
    )?;
    Ok(drawn + &table(judged, found))
}

fn draw(judged: &Judged<'_>, found: &Capability, format: Format) -> Result<String, PlotError> {
    let width = format.width();
    let limits = ends(judged.measurand.limits.as_ref());
    let x = Axis::around(judged.values.iter().chain(&limits).copied(), 0.04, 55.0);
    let bars = Histogram::of(&judged.values, &x, format);
    let s = found.summary;
    let curve = |v: f64| s.n as f64 * bars.step / s.sd * normal_density((v - s.mean) / s.sd);
    let most = bars.most(curve(s.mean));
    let entries = vec![
        (Sample::Area(BLUE, 0.45), "measurements".to_owned()),
        (Sample::Line(NORMAL), "normal curve".to_owned()),
        (Sample::Line(LIMIT), "limits of the product".to_owned()),
    ];
    let top = 10.0 + legend::height(&entries, width - 20.0) + 30.0;
    let panel = Panel {
        left: 52.0,
        top,
        right: width - 12.0,
        bottom: top + 170.0,
        x,
        y: Axis::linear(0.0, 1.05 * most, 32.0),
    };
    let height = panel.bottom + 46.0;
    let mut drawn = String::new();
    let mut canvas = Canvas::new(&mut drawn, width, height);
    legend::draw(&mut canvas, &entries, (10.0, 8.0), width - 20.0)?;
    panel.axes(&mut canvas, true)?;
    bars.draw(&mut canvas, &panel)?;
    let along: Vec<f64> = (0..=160)
        .map(|i| x.low + (x.high - x.low) * f64::from(i) / 160.0)
        .collect();
    let heights: Vec<f64> = along.iter().map(|v| curve(*v)).collect();
    panel.curve(&mut canvas, &along, &heights, NORMAL)?;
    for limit in &limits {
        panel.upright(&mut canvas, *limit, LIMIT)?;
    }
    panel.names(&mut canvas, &judged.label(), "Measurements")?;
    canvas.close()?;
    let description = format!(
        "Mean {}, standard deviation {}, {} values.",
        number(s.mean),
        number(s.sd),
        s.n
    );
    Ok(finish(
        &drawn,
        width,
        height,
        &judged.measurand.name,
        &description,
    ))
}

fn table(judged: &Judged<'_>, found: &Capability) -> String {
    let index = |i: &Index| {
        format!(
            "<b>{:.2}</b> <small>{:.2} to {:.2}</small>",
            i.value, i.interval.low, i.interval.high
        )
        .replace('-', "−")
    };
    let mut rows = vec![(
        "Ppk, the whole spread".to_owned(),
        index(&found.performance.actual),
    )];
    rows.extend(
        found
            .performance
            .potential
            .iter()
            .map(|i| ("Pp".to_owned(), index(i))),
    );
    if let Some(short) = &found.capability {
        rows.push(("Cpk, from one unit to the next".into(), index(&short.actual)));
        rows.extend(short.potential.iter().map(|i| ("Cp".to_owned(), index(i))));
    }
    if let (Some(bench), Some(limits)) = (judged.measurand.bench_sd, judged.measurand.limits.as_ref()) {
        let alone = product_spread(found.summary.sd, bench).and_then(|sigma| {
            let spread = Spread {
                sigma,
                dof: found.summary.n as f64 - 1.0,
            };
            from_moments(found.summary.mean, found.summary.n, spread, limits, 0.95)
        });
        let text = alone.map_or_else(
            |refusal| escape(&refusal.to_string()),
            |i| format!("<b>{:.2}</b>", i.actual.value),
        );
        rows.push(("Ppk of the product, the bench's spread taken out".into(), text));
    }
    let outside = format!(
        "{} of {} <small>{:.2} % expected if normal</small>",
        found.seen_outside,
        found.summary.n,
        100.0 * found.performance.outside
    );
    rows.push(("outside the limits".into(), outside));
    let normal = match &judged.normal {
        Ok(n) if n.p < 0.01 => format!(
            "<span class=\"bad\">no</span> <small>Anderson and Darling, p {}; the indices mislead in the tails</small>",
            super::figure::chance(n.p)
        ),
        Ok(n) => format!(
            "no objection <small>Anderson and Darling, p {}</small>",
            super::figure::chance(n.p)
        ),
        Err(refusal) => escape(&refusal.to_string()),
    };
    rows.push(("normal".into(), normal));
    let body: String = rows
        .iter()
        .map(|(name, text)| {
            format!(
                "<tr><th scope=\"row\">{}</th><td class=\"value\">{text}</td></tr>\n",
                escape(name)
            )
        })
        .collect();
    format!("<table class=\"indices\">\n<tbody>\n{body}</tbody>\n</table>\n")
}
