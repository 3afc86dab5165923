//! A measurand over time.

use super::figure::{capital, ends, figure, mark};
use super::judge::Judged;
use crate::report::PlotError;
use crate::report::plots::Format;
use crate::report::plots::axis::Axis;
use crate::report::plots::canvas::{Canvas, Stroke, finish};
use crate::report::plots::legend::{self, Sample};
use crate::report::plots::palette::{BLUE, GREEN, SOFT, VERMILION};
use crate::report::plots::panel::Panel;
use std::collections::BTreeSet;

const LIMIT: Stroke = Stroke::solid(VERMILION, 1.8).dashed(9.0, 4.0);
const CONTROL: Stroke = Stroke::solid(SOFT, 1.2).dashed(3.0, 3.0);
const LEVEL: Stroke = Stroke::solid(GREEN, 2.4);

/// Values over time with limits, control limits, levels and what signals.
pub(super) fn over_time(judged: &Judged<'_>, place: usize) -> Result<String, PlotError> {
    let signals = judged.chart.as_ref().map_or(0, |c| c.location.signals.len());
    let reading = format!(
        "Each dot is one measurement; a diamond lies outside the limits or completes a run rule (one beyond three sigma, nine on one \
         side), as {signals} do. Control limits rest on the spread from one unit to the next. The thick line is the level; it steps \
         where the level changed and stayed."
    );
    figure(
        &format!("chart-{place}"),
        &format!("{} over time", capital(&judged.measurand.name)),
        &reading,
        |format| draw(judged, format),
    )
}

fn draw(judged: &Judged<'_>, format: Format) -> Result<String, PlotError> {
    let width = format.width();
    let limits = judged.measurand.limits.as_ref();
    let ends = ends(limits);
    let control = judged
        .chart
        .as_ref()
        .ok()
        .and_then(|c| c.location.points.first().copied());
    let mut entries = vec![(Sample::Line(LEVEL), "level".to_owned())];
    if control.is_some() {
        entries.push((Sample::Line(CONTROL), "control limits".to_owned()));
    }
    if !ends.is_empty() {
        entries.push((Sample::Line(LIMIT), "limits of the product".to_owned()));
    }
    let top = 10.0 + legend::height(&entries, width - 20.0) + 30.0;
    let shown = judged.values.iter().chain(&ends).copied();
    let panel = Panel {
        left: 52.0,
        top,
        right: width - 12.0,
        bottom: top + if format.is_wide() { 230.0 } else { 200.0 },
        x: Axis::around(judged.days.iter().copied(), 0.02, 60.0),
        y: Axis::around(shown, 0.06, 32.0),
    };
    let height = panel.bottom + 46.0;
    let mut drawn = String::new();
    let mut canvas = Canvas::new(&mut drawn, width, height);
    legend::draw(&mut canvas, &entries, (10.0, 8.0), width - 20.0)?;
    panel.axes(&mut canvas, true)?;
    for end in &ends {
        panel.level(&mut canvas, *end, LIMIT)?;
    }
    if let Some(point) = control {
        panel.level(&mut canvas, point.lower, CONTROL)?;
        panel.level(&mut canvas, point.upper, CONTROL)?;
    }
    if let Ok(found) = &judged.segments {
        for segment in &found.segments {
            let days = [judged.days[segment.first], judged.days[segment.end - 1]];
            panel.curve(&mut canvas, &days, &[segment.mean; 2], LEVEL)?;
        }
    }
    panel.names(&mut canvas, "days", &judged.label())?;
    canvas.close()?;
    let last: BTreeSet<usize> = judged
        .chart
        .iter()
        .flat_map(|c| &c.location.signals)
        .map(|s| s.last)
        .collect();
    let mut odd = 0;
    for (place, value) in judged.values.iter().enumerate() {
        let signals = judged.fails(*value) || last.contains(&place);
        odd += usize::from(signals);
        let at = panel.at(judged.days[place], panel.y.clamp(*value));
        mark(
            &mut drawn,
            judged.rows[place],
            at,
            if signals { VERMILION } else { BLUE },
            signals,
        );
    }
    let description = format!(
        "{} measurements, {odd} outside the limits or completing a run rule.",
        judged.values.len()
    );
    Ok(finish(&drawn, width, height, &judged.label(), &description))
}
