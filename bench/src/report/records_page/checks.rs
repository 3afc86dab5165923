//! Check units: may the benches be relied on?

use super::CheckSeries;
use super::figure::{capital, figure, mark};
use crate::report::plots::Format;
use crate::report::plots::axis::Axis;
use crate::report::plots::canvas::{Canvas, Stroke, finish};
use crate::report::plots::legend::{self, Sample};
use crate::report::plots::palette::{BLUE, GREEN, SOFT, VERMILION};
use crate::report::plots::panel::Panel;
use crate::report::{PlotError, escape};
use quality::Refusal;
use quality::charts::Baseline;
use quality::gauge::{CheckUnit, check_unit};

const CONTROL: Stroke = Stroke::solid(SOFT, 1.2).dashed(3.0, 3.0);
const AVERAGE: Stroke = Stroke::solid(GREEN, 2.0);

/// A check unit's series and its charts.
pub(super) struct Checked<'a> {
    pub(super) series: &'a CheckSeries,
    pub(super) found: Result<CheckUnit, Refusal>,
}

pub(super) fn judge(series: &[CheckSeries]) -> Vec<Checked<'_>> {
    let of = |series| Checked {
        found: found(series),
        series,
    };
    series.iter().map(of).collect()
}

fn found(series: &CheckSeries) -> Result<CheckUnit, Refusal> {
    let baseline = series
        .known
        .map_or(Baseline::All, |[centre, sigma]| Baseline::Known { centre, sigma });
    check_unit(&series.values, baseline)
}

/// What to do about a check unit, in a sentence.
pub(super) fn verdict(checked: &Checked<'_>) -> String {
    let name = escape(&checked.series.name);
    match &checked.found {
        Ok(found) if found.is_good() => format!("<span class=\"good\">good</span> {name}"),
        Ok(found) => match found.last_good.and_then(|at| checked.series.days.get(at)) {
            Some(day) => format!(
                "<span class=\"bad\">not good</span> {name}: last good check on day {day:.0}; judge what was accepted since again"
            ),
            None => format!("<span class=\"bad\">not good</span> {name}: no check was good"),
        },
        Err(refusal) => format!("{name}: {}", escape(&refusal.to_string())),
    }
}

pub(super) fn section(all: &[Checked<'_>]) -> Result<String, PlotError> {
    let mut body = String::new();
    for (place, checked) in all.iter().enumerate() {
        body += &format!("<p class=\"verdict\">{}</p>\n", verdict(checked));
        if let Ok(found) = &checked.found {
            body += &figure(
                &format!("check-{place}"),
                &capital(&checked.series.name),
                "Single checks with control limits; the line is their moving average, which shows what creeps. Diamonds signal.",
                |format| draw(checked.series, found, format),
            )?;
        }
    }
    Ok(body)
}

fn draw(series: &CheckSeries, found: &CheckUnit, format: Format) -> Result<String, PlotError> {
    let width = format.width();
    let entries = vec![
        (Sample::Line(AVERAGE), "moving average".to_owned()),
        (Sample::Line(CONTROL), "control limits".to_owned()),
    ];
    let top = 10.0 + legend::height(&entries, width - 20.0) + 30.0;
    let points = &found.pair.location.points;
    let shown = points.iter().flat_map(|p| [p.value, p.lower, p.upper]);
    let panel = Panel {
        left: 52.0,
        top,
        right: width - 12.0,
        bottom: top + 150.0,
        x: Axis::around(series.days.iter().copied(), 0.02, 60.0),
        y: Axis::around(shown, 0.05, 32.0),
    };
    let height = panel.bottom + 46.0;
    let mut drawn = String::new();
    let mut canvas = Canvas::new(&mut drawn, width, height);
    legend::draw(&mut canvas, &entries, (10.0, 8.0), width - 20.0)?;
    panel.axes(&mut canvas, true)?;
    if let Some(p) = points.first() {
        panel.level(&mut canvas, p.lower, CONTROL)?;
        panel.level(&mut canvas, p.upper, CONTROL)?;
    }
    let average: Vec<f64> = found.average.points.iter().map(|p| p.value).collect();
    panel.curve(&mut canvas, &series.days, &average, AVERAGE)?;
    panel.names(&mut canvas, "days", &series.measurand)?;
    canvas.close()?;
    let signals = found.pair.location.signals.iter().chain(&found.average.signals);
    let last: Vec<usize> = signals.map(|s| s.last).collect();
    for (at, (day, value)) in series.days.iter().zip(&series.values).enumerate() {
        let bad = last.contains(&at);
        mark(
            &mut drawn,
            usize::MAX,
            panel.at(*day, *value),
            if bad { VERMILION } else { BLUE },
            bad,
        );
    }
    let description = format!("{} checks, {} signals.", series.values.len(), last.len());
    Ok(finish(&drawn, width, height, &series.name, &description))
}
