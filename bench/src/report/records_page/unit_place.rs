//! Where a unit lies among its model.

use super::figure::{capital, ends, figure, number};
use super::histogram::Histogram;
use super::parts::table;
use super::unit::{UnitMeasurand, UnitSheet, with_u};
use crate::report::plots::Format;
use crate::report::plots::axis::Axis;
use crate::report::plots::canvas::{Canvas, Stroke, finish};
use crate::report::plots::legend::{self, Sample};
use crate::report::plots::palette::{BLUE, INK, VERMILION};
use crate::report::plots::panel::Panel;
use crate::report::{PlotError, escape};
use quality::{median, median_absolute_deviation};

const LIMIT: Stroke = Stroke::solid(VERMILION, 1.8).dashed(9.0, 4.0);
const OWN: Stroke = Stroke::solid(INK, 2.4);
/// Least other units for a place among them.
const LEAST: usize = 8;
/// Standard deviations of a normal distribution in one median absolute deviation: 1/Φ⁻¹(3/4).
const NORMAL: f64 = 1.482_602_218_505_602;
/// From how many robust standard deviations on a unit is said to lie apart.
const APART: f64 = 3.5;

/// A unit's last value among those of the others.
pub(super) struct Among {
    pub(super) value: f64,
    pub(super) u: f64,
    /// Share of the others that lie below.
    pub(super) below: f64,
    /// From their median, in robust standard deviations; `None` where they do not spread.
    pub(super) deviation: Option<f64>,
}

/// `None` without a value, or with too few others.
pub(super) fn among(sheet: &UnitSheet, place: usize) -> Option<Among> {
    let (_, _, value, u) = sheet.series(place).last().copied()?;
    let others = &sheet.measurands.get(place)?.others;
    if others.len() < LEAST {
        return None;
    }
    let below = others.iter().filter(|other| **other < value).count() as f64;
    let above = others.iter().filter(|other| **other > value).count() as f64;
    let spread = NORMAL * median_absolute_deviation(others).ok()?;
    let middle = median(others).ok()?;
    Some(Among {
        value,
        u,
        // Equal ones count half.
        below: 0.5 * (1.0 + (below - above) / others.len() as f64),
        deviation: (spread > 0.0).then(|| (value - middle) / spread),
    })
}

/// Measurands in which the unit lies apart from the others.
pub(super) fn apart(sheet: &UnitSheet) -> Vec<String> {
    let far = |place: &usize| {
        among(sheet, *place).is_some_and(|found| found.deviation.is_some_and(|d| d.abs() >= APART))
    };
    (0..sheet.measurands.len())
        .filter(far)
        .map(|place| sheet.measurands[place].name.clone())
        .collect()
}

/// Each measurand's last value among the others.
pub(super) fn table_of(sheet: &UnitSheet) -> String {
    let mut rows = Vec::new();
    for (place, measurand) in sheet.measurands.iter().enumerate() {
        let last = sheet.series(place).last().copied();
        let value = last.map_or_else(|| "–".to_owned(), |(_, _, value, u)| with_u(value, u));
        let found = among(sheet, place);
        let below = found.as_ref().map_or_else(
            || format!("<small>too few others: {}</small>", measurand.others.len()),
            |found| format!("above {:.0} % of {}", 100.0 * found.below, measurand.others.len()),
        );
        let deviation = match found.and_then(|found| found.deviation) {
            Some(d) if d.abs() >= APART => format!("<span class=\"bad\">{d:+.1}</span>"),
            Some(d) => format!("{d:+.1}"),
            None => String::new(),
        };
        let cells = vec![
            format!("{}, {}", escape(&measurand.name), escape(&measurand.unit)),
            value,
            limits(measurand),
            below,
            deviation.replace('-', "−"),
        ];
        rows.push((usize::MAX, cells));
    }
    table(
        &[
            "measurand",
            "last value",
            "limits",
            "among the others",
            "deviation",
        ],
        &rows,
    )
}

fn limits(measurand: &UnitMeasurand) -> String {
    let Some(limits) = &measurand.limits else {
        return String::new();
    };
    match (limits.lower(), limits.upper()) {
        (Some(low), Some(high)) => format!("{} to {}", number(low), number(high)),
        (Some(low), None) => format!("at least {}", number(low)),
        (None, Some(high)) => format!("at most {}", number(high)),
        (None, None) => String::new(),
    }
}

/// How the others spread, and where the unit lies.
pub(super) fn drawn(sheet: &UnitSheet, place: usize) -> Result<String, PlotError> {
    let Some(found) = among(sheet, place) else {
        return Ok(String::new());
    };
    let measurand = &sheet.measurands[place];
    figure(
        &format!("among-{place}"),
        &format!("{} among its model", capital(&measurand.name)),
        &format!(
            "The last values of {} other units; the upright line is this one, with its expanded uncertainty (k = 2).",
            measurand.others.len()
        ),
        |format| draw(measurand, &found, format),
    )
}

fn draw(measurand: &UnitMeasurand, found: &Among, format: Format) -> Result<String, PlotError> {
    let width = format.width();
    let label = format!("{}, {}", measurand.name, measurand.unit);
    let limits = ends(measurand.limits.as_ref());
    let own = [found.value - 2.0 * found.u, found.value + 2.0 * found.u];
    let shown = measurand.others.iter().chain(&limits).chain(&own).copied();
    let x = Axis::around(shown, 0.04, 55.0);
    let bars = Histogram::of(&measurand.others, &x, format);
    let mut entries = vec![
        (Sample::Area(BLUE, 0.45), "other units".to_owned()),
        (Sample::Line(OWN), "this unit".to_owned()),
    ];
    if !limits.is_empty() {
        entries.push((Sample::Line(LIMIT), "limits of the product".to_owned()));
    }
    let top = 10.0 + legend::height(&entries, width - 20.0) + 30.0;
    let most = bars.most(1.0);
    let panel = Panel {
        left: 52.0,
        top,
        right: width - 12.0,
        bottom: top + 120.0,
        x,
        y: Axis::linear(0.0, 1.08 * most, 32.0),
    };
    let height = panel.bottom + 46.0;
    let mut drawn = String::new();
    let mut canvas = Canvas::new(&mut drawn, width, height);
    legend::draw(&mut canvas, &entries, (10.0, 8.0), width - 20.0)?;
    panel.axes(&mut canvas, true)?;
    bars.draw(&mut canvas, &panel)?;
    panel.band(&mut canvas, &own, (&[0.0; 2], &[1.08 * most; 2]), (INK, 0.12))?;
    panel.upright(&mut canvas, found.value, OWN)?;
    for limit in &limits {
        panel.upright(&mut canvas, *limit, LIMIT)?;
    }
    panel.names(&mut canvas, &label, "Units")?;
    canvas.close()?;
    let description = format!(
        "This unit has {}; {:.0} % of {} others lie below.",
        number(found.value),
        100.0 * found.below,
        measurand.others.len()
    );
    Ok(finish(&drawn, width, height, &label, &description))
}
