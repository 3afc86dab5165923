//! Differences with their intervals, one a line, as multiples of what each would have had to be to be found.

use crate::compare::{Compared, Comparison, Row};
use crate::report::plots::Format;
use crate::report::plots::axis::Axis;
use crate::report::plots::canvas::{Anchor, Canvas, Lettering, Stroke, finish};
use crate::report::plots::legend::{self, Sample};
use crate::report::plots::palette::{BLUE, INK, SOFT, VERMILION};
use crate::report::plots::panel::Panel;
use crate::report::{Plot, PlotError};

const DIFFERS: Stroke = Stroke::solid(VERMILION, 2.6);
const OPEN: Stroke = Stroke::solid(BLUE, 1.8).dashed(5.0, 3.0);
const LIMIT: Stroke = Stroke::solid(SOFT, 1.0).dashed(2.0, 3.0);
/// Height of a line, px.
const LINE: f64 = 22.0;
/// Multiples beyond which a difference is drawn at the edge.
const FAR: f64 = 6.0;

/// The plot for one group against the reference; `None` where nothing was compared.
///
/// # Errors
/// [`PlotError`] if the drawing backend fails.
pub(super) fn forest(comparison: &Comparison, now: &str) -> Result<Option<Plot>, PlotError> {
    let rows: Vec<(&Row, &Compared)> = comparison
        .compared()
        .filter(|(row, _)| row.headline && row.now == now)
        .collect();
    if rows.is_empty() {
        return Ok(None);
    }
    Ok(Some(Plot {
        name: "differences",
        title: format!("What differs: {now}"),
        reading: "Each difference with its 95 % interval, as a multiple of the least difference that would have been found in four of \
                  five cases with all looks allowed for: beyond ±1 few real differences would have been missed. Thick lines differ \
                  beyond chance, dashed ones show no difference; a difference further out than six is drawn at the edge."
            .into(),
        wide: draw(&rows, now, Format::Wide)?,
        narrow: draw(&rows, now, Format::Narrow)?,
    }))
}

fn draw(rows: &[(&Row, &Compared)], now: &str, format: Format) -> Result<String, PlotError> {
    let width = format.width();
    let entries = vec![
        (Sample::Line(DIFFERS), "differs beyond chance".to_owned()),
        (Sample::Line(OPEN), "no difference shown".to_owned()),
        (Sample::Line(LIMIT), "would have been found".to_owned()),
    ];
    let top = 10.0 + legend::height(&entries, width - 20.0) + 20.0;
    let left = if format.is_wide() { 250.0 } else { 150.0 };
    let panel = Panel {
        left,
        top,
        right: width - 16.0,
        bottom: top + LINE * rows.len() as f64 + 8.0,
        x: Axis::linear(-FAR, FAR, 55.0),
        // No multiple of its step lies inside, so it has no numbers.
        y: Axis::linear(0.05, rows.len() as f64 + 0.36, 1e6),
    };
    let height = panel.bottom + 50.0;
    let mut drawn = String::new();
    let mut canvas = Canvas::new(&mut drawn, width, height);
    legend::draw(&mut canvas, &entries, (10.0, 8.0), width - 20.0)?;
    panel.axes(&mut canvas, true)?;
    for at in [-1.0, 1.0] {
        panel.upright(&mut canvas, at, LIMIT)?;
    }
    panel.upright(&mut canvas, 0.0, Stroke::solid(INK, 1.2))?;
    for (place, (row, compared)) in rows.iter().enumerate() {
        let y = rows.len() as f64 - place as f64 - 0.32;
        let unit = compared.would_find;
        let at = |value: f64| panel.x.clamp(value / unit);
        let look = if compared.differs { DIFFERS } else { OPEN };
        let [low, high] = compared.difference.interval.map(at);
        panel.curve(&mut canvas, &[low, high], &[y, y], look)?;
        let (x, y_px) = panel.at(at(compared.difference.value), y);
        let r = if compared.differs { 4.0 } else { 3.0 };
        canvas.block((x - r, y_px - r), (x + r, y_px + r), look.colour, 1.0)?;
        let most = if format.is_wide() { 38 } else { 22 };
        let name = crate::report::table::shortened(&row.name, most);
        canvas.text(
            &name,
            (left - 10.0, y_px),
            Lettering::new(INK, 12.0, Anchor::Right),
        )?;
    }
    panel.names(&mut canvas, "difference, in least differences found", "")?;
    canvas.close()?;
    let found = rows.iter().filter(|(_, c)| c.differs).count();
    let description = format!(
        "{} quantities of {now} against the reference; {found} differ beyond chance.",
        rows.len()
    );
    Ok(finish(&drawn, width, height, "What differs", &description))
}
