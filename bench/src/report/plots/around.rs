//! What varies around the turn, sector by sector: friction, backlash, stiffness, each less its mean.

use super::axis::Axis;
use super::canvas::Stroke;
use super::legend::Sample;
use super::palette::{BLUE, SOFT};
use super::sheet::Sheet;
use super::{Format, PlotError, caption};
use crate::fitting::{Conditions, FitDocument, Quantity};

const BAR: Stroke = Stroke::solid(BLUE, 1.4);
const NOUGHT: Stroke = Stroke::solid(SOFT, 1.0);
/// Fewest sectors that make a picture.
const FEWEST: usize = 3;
const SHOWN: [(Quantity, &str); 3] = [
    (Quantity::FrictionSector, "Friction less its mean"),
    (Quantity::GapSector, "Backlash less its mean"),
    (Quantity::StiffnessSector, "Stiffness less its mean"),
];

/// Sectors of one quantity.
pub(crate) struct Sectors<'a> {
    name: String,
    /// From, to, value, low and high end of the interval; degrees and the unit it is read in.
    rows: Vec<[f64; 5]>,
    conditions: &'a Conditions,
}

/// All quantities that the document holds sectors of.
pub(crate) fn sectors(document: &FitDocument) -> Vec<Sectors<'_>> {
    let of = |(quantity, name): (Quantity, &str)| {
        let own = || document.measurands.iter().filter(move |m| m.quantity == quantity);
        let rows: Vec<[f64; 5]> = own()
            .filter_map(|m| {
                let (e, k) = (m.estimate()?, m.shown_in.factor());
                let [from, to] = ends(&m.group)?;
                Some([from, to, k * e.value, k * e.interval[0], k * e.interval[1]])
            })
            .collect();
        let first = own().next().filter(|_| rows.len() >= FEWEST)?;
        Some(Sectors {
            name: format!("{name}, {}", first.shown_in.unit()),
            rows,
            conditions: &first.conditions,
        })
    };
    SHOWN.into_iter().filter_map(of).collect()
}

/// Both ends of a sector by its name, `12° to 42°`.
fn ends(group: &str) -> Option<[f64; 2]> {
    let (from, to) = group.split_once(" to ")?;
    let degrees = |text: &str| text.trim_end_matches('°').replace('\u{2212}', "-").parse().ok();
    Some([degrees(from)?, degrees(to)?])
}

pub(crate) fn draw(
    document: &FitDocument,
    shown: &[Sectors<'_>],
    format: Format,
) -> Result<String, PlotError> {
    let entries = vec![
        (Sample::Area(BLUE, 0.9), "mean over a sector".to_owned()),
        (Sample::Line(BAR), "its 95 % interval".to_owned()),
    ];
    let conditions = shown.first().map_or(String::new(), |first| {
        caption::conditions_line(document, first.conditions, "turn")
    });
    let sheet = Sheet::new(format, entries, &[conditions]);
    let mut column = sheet.column(190.0);
    let panels: Vec<_> = shown
        .iter()
        .map(|own| {
            let from = own.rows.iter().map(|r| r[0]).fold(f64::INFINITY, f64::min);
            let to = own.rows.iter().map(|r| r[1]).fold(f64::NEG_INFINITY, f64::max);
            let all = own.rows.iter().flat_map(|r| [r[3], r[4], 0.0]);
            (
                own,
                column.next(Axis::linear(from, to, 60.0), Axis::around(all, 0.1, 34.0)),
            )
        })
        .collect();
    let reading = "What varies around the turn, less its mean, over the angle of the rim.";
    sheet.draw(column.top, ["Around the turn", reading], |canvas| {
        for (own, panel) in &panels {
            panel.axes(canvas, true)?;
            panel.level(canvas, 0.0, NOUGHT)?;
            for [from, to, value, low, high] in &own.rows {
                let ends = [
                    (panel.x_px(*from), panel.y_px(*value)),
                    (panel.x_px(*to), panel.y_px(*value)),
                ];
                canvas.line(&ends, Stroke::solid(BLUE, 2.2))?;
                panel.point(canvas, (0.5 * (from + to), *value), (*low, *high), (BLUE, BAR))?;
            }
            panel.names(canvas, "angle of the rim, °", &own.name)?;
        }
        Ok(())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sectors_are_read_from_their_names() {
        assert_eq!(ends("12.5° to 42.5°"), Some([12.5, 42.5]));
        assert_eq!(ends("\u{2212}30° to 0°"), Some([-30.0, 0.0]));
        assert_eq!(ends("order 9"), None);
    }
}
