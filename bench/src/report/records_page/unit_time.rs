//! A measurand over the life of a unit.

use super::figure::{capital, ends, figure, mark};
use super::judge::RULES;
use super::unit::UnitSheet;
use crate::report::PlotError;
use crate::report::plots::Format;
use crate::report::plots::axis::Axis;
use crate::report::plots::canvas::{Canvas, Stroke, finish};
use crate::report::plots::legend::{self, Sample};
use crate::report::plots::palette::{BLUE, GREEN, ORANGE, SOFT, VERMILION};
use crate::report::plots::panel::Panel;
use quality::charts::{Baseline, ChartPair, individuals};
use quality::quantile;

const LIMIT: Stroke = Stroke::solid(VERMILION, 1.8).dashed(9.0, 4.0);
const WARNING: Stroke = Stroke::solid(ORANGE, 1.6).dashed(5.0, 4.0);
const CONTROL: Stroke = Stroke::solid(SOFT, 1.2).dashed(3.0, 3.0);
const SPREAD: Stroke = Stroke::solid(BLUE, 1.2);
/// Least measurements of a unit for control limits of its own.
const LEAST: usize = 8;

/// Values over time with their uncertainties, limits, and what is usual for the model.
pub(super) fn drawn(sheet: &UnitSheet, place: usize) -> Result<String, PlotError> {
    let values = sheet.series(place);
    let name = capital(&sheet.measurands[place].name);
    if values.is_empty() {
        return Ok("<p class=\"lead\">No measurement of the unit has a value of it.</p>\n".to_owned());
    }
    let own = control(&values);
    let rules = match &own {
        Some(chart) => format!(
            " Control limits rest on the spread from one of its measurements to the next; a diamond lies outside a limit or completes \
             a run rule (one beyond three sigma, nine on one side), as {} do.",
            chart.location.signals.len()
        ),
        None => " A diamond lies outside a limit.".to_owned(),
    };
    figure(
        &format!("life-{place}"),
        &format!("{name} over the unit's life"),
        &format!(
            "Each dot is one measurement with its expanded uncertainty (k = 2); the green area holds the middle nine tenths of the other \
             units of its model.{rules}"
        ),
        |format| draw(sheet, place, own.as_ref(), format),
    )
}

/// The unit's own control chart, once it was measured often.
pub(super) fn control(values: &[(usize, f64, f64, f64)]) -> Option<ChartPair> {
    let alone: Vec<f64> = values.iter().map(|(_, _, value, _)| *value).collect();
    let enough = alone.len() >= LEAST;
    enough
        .then(|| individuals(&alone, Baseline::All, &RULES).ok())
        .flatten()
}

fn draw(
    sheet: &UnitSheet,
    place: usize,
    own: Option<&ChartPair>,
    format: Format,
) -> Result<String, PlotError> {
    let width = format.width();
    let measurand = &sheet.measurands[place];
    let label = format!("{}, {}", measurand.name, measurand.unit);
    let values = sheet.series(place);
    let (limits, warning) = (ends(measurand.limits.as_ref()), ends(measurand.warning.as_ref()));
    let usual = [0.05, 0.95].map(|q| quantile(&measurand.others, q).ok());
    let usual = match usual {
        [Some(low), Some(high)] if measurand.others.len() >= LEAST => Some([low, high]),
        _ => None,
    };
    let first = own.and_then(|chart| chart.location.points.first().copied());
    let mut entries = vec![(Sample::Line(SPREAD), "expanded uncertainty".to_owned())];
    if usual.is_some() {
        entries.push((Sample::Area(GREEN, 0.16), "most of its model".to_owned()));
    }
    if first.is_some() {
        entries.push((Sample::Line(CONTROL), "control limits".to_owned()));
    }
    if !limits.is_empty() {
        entries.push((Sample::Line(LIMIT), "limits of the product".to_owned()));
    }
    if !warning.is_empty() {
        entries.push((Sample::Line(WARNING), "warning limits".to_owned()));
    }
    let top = 10.0 + legend::height(&entries, width - 20.0) + 30.0;
    let shown = values
        .iter()
        .flat_map(|(_, _, value, u)| [value - 2.0 * u, value + 2.0 * u])
        .chain(limits.iter().copied())
        .chain(warning.iter().copied())
        .chain(usual.into_iter().flatten());
    let panel = Panel {
        left: 52.0,
        top,
        right: width - 12.0,
        bottom: top + 180.0,
        x: Axis::around(values.iter().map(|(_, day, ..)| *day), 0.04, 60.0),
        y: Axis::around(shown, 0.06, 32.0),
    };
    let height = panel.bottom + 46.0;
    let mut drawn = String::new();
    let mut canvas = Canvas::new(&mut drawn, width, height);
    legend::draw(&mut canvas, &entries, (10.0, 8.0), width - 20.0)?;
    panel.axes(&mut canvas, true)?;
    if let Some([low, high]) = usual {
        let across = [panel.x.low, panel.x.high];
        panel.band(&mut canvas, &across, (&[low; 2], &[high; 2]), (GREEN, 0.16))?;
    }
    for end in &limits {
        panel.level(&mut canvas, *end, LIMIT)?;
    }
    for end in &warning {
        panel.level(&mut canvas, *end, WARNING)?;
    }
    if let Some(point) = first {
        panel.level(&mut canvas, point.lower, CONTROL)?;
        panel.level(&mut canvas, point.upper, CONTROL)?;
    }
    for (_, day, value, u) in &values {
        panel.curve(
            &mut canvas,
            &[*day; 2],
            &[value - 2.0 * u, value + 2.0 * u],
            SPREAD,
        )?;
    }
    panel.names(&mut canvas, "days since its first measurement", &label)?;
    canvas.close()?;
    let signals: Vec<usize> = own
        .iter()
        .flat_map(|chart| &chart.location.signals)
        .map(|signal| signal.last)
        .collect();
    let mut odd = 0;
    for (at, (run, day, value, _)) in values.iter().enumerate() {
        let outside = measurand
            .limits
            .as_ref()
            .is_some_and(|limits| !limits.hold(*value));
        let signals = outside || signals.contains(&at);
        odd += usize::from(signals);
        let colour = if signals { VERMILION } else { BLUE };
        mark(&mut drawn, *run, panel.at(*day, *value), colour, signals);
    }
    let description = format!(
        "{} measurements of {}, {odd} outside a limit or completing a run rule.",
        values.len(),
        sheet.serial
    );
    Ok(finish(&drawn, width, height, &label, &description))
}
