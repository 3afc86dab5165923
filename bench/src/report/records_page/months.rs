//! Units measured, month by month.

use super::bench::{BenchRun, Tally};
use super::figure::figure;
use super::parts::table;
use crate::report::plots::Format;
use crate::report::plots::axis::Axis;
use crate::report::plots::canvas::{Anchor, Canvas, Lettering, finish};
use crate::report::plots::legend::{self, Sample};
use crate::report::plots::palette::{BLUE, INK, VERMILION};
use crate::report::plots::panel::Panel;
use crate::report::{PlotError, escape};
use std::collections::BTreeMap;

/// The month of a date, `YYYY-MM`.
pub(super) fn month(date: &str) -> &str {
    date.get(..7).unwrap_or(date)
}

/// Bars and a table.
pub(super) fn section(runs: &[BenchRun]) -> Result<String, PlotError> {
    let by = Tally::by(runs, |run| month(&run.date));
    if by.is_empty() {
        return Ok("<p>Nothing was measured.</p>\n".to_owned());
    }
    let drawn = figure(
        "units-by-month",
        "Units measured, month by month",
        "The lower part of a bar are units that failed.",
        |format| draw(&by, format),
    )?;
    let rows: Vec<(usize, Vec<String>)> = by
        .iter()
        .map(|(month, tally)| {
            let mut cells = vec![escape(month)];
            cells.extend(tally.cells());
            (usize::MAX, cells)
        })
        .collect();
    let heads = [
        "month",
        "units",
        "measurements",
        "pass",
        "fail",
        "undecided",
        "calibration run out",
    ];
    Ok(drawn + &table(&heads, &rows))
}

fn draw(by: &BTreeMap<&str, Tally<'_>>, format: Format) -> Result<String, PlotError> {
    let width = format.width();
    let most = by.values().map(|tally| tally.units.len()).max().unwrap_or(1) as f64;
    let count = by.len() as f64;
    let entries = vec![
        (Sample::Area(BLUE, 0.45), "units".to_owned()),
        (Sample::Area(VERMILION, 0.8), "failed".to_owned()),
    ];
    let top = 10.0 + legend::height(&entries, width - 20.0) + 30.0;
    let panel = Panel {
        left: 52.0,
        top,
        right: width - 12.0,
        bottom: top + 150.0,
        x: Axis::linear(0.0, count, f64::INFINITY),
        y: Axis::linear(0.0, 1.08 * most, 32.0),
    };
    let height = panel.bottom + 30.0;
    let mut drawn = String::new();
    let mut canvas = Canvas::new(&mut drawn, width, height);
    legend::draw(&mut canvas, &entries, (10.0, 8.0), width - 20.0)?;
    panel.axes(&mut canvas, false)?;
    // Months that stand too close are named every second, third, … time.
    let every = (count * 56.0 / (panel.right - panel.left)).ceil().max(1.0) as usize;
    for (at, (month, tally)) in by.iter().enumerate() {
        let left = at as f64;
        let mut bar = |to: usize, colour, alpha| {
            let high = to as f64;
            canvas.block(
                panel.at(left + 0.12, 0.0),
                panel.at(left + 0.88, high),
                colour,
                alpha,
            )
        };
        bar(tally.units.len(), BLUE, 0.45)?;
        let [_, failed, _] = tally.judged;
        if failed > 0 {
            bar(failed.min(tally.units.len()), VERMILION, 0.8)?;
        }
        if at % every == 0 {
            let (x, y) = panel.at(left + 0.5, 0.0);
            canvas.text(month, (x, y + 16.0), Lettering::new(INK, 12.0, Anchor::Centre))?;
        }
    }
    panel.names(&mut canvas, "", "Units")?;
    canvas.close()?;
    let description = format!("{} months, at most {most} units in one.", by.len());
    Ok(finish(&drawn, width, height, "Units by month", &description))
}
