//! What every drawing has around its panels: the legend above, the conditions below, a frame with name and description.

use super::canvas::{Canvas, finish};
use super::legend::{self, Sample};
use super::panel::Column;
use super::{Format, PlotError, caption};

/// Left edge of the panels, px: room for the axis numbers.
pub(crate) const LEFT: f64 = 56.0;
/// Right margin, px.
const RIGHT: f64 = 14.0;
/// Margin of legend and conditions, px.
const MARGIN: f64 = 10.0;
/// Distance of two panels beside one another: room for the numbers of the second, px.
const GAP: f64 = 76.0;

/// A drawing before its panels.
pub(crate) struct Sheet {
    format: Format,
    entries: Vec<(Sample, String)>,
    lines: Vec<String>,
    /// Top of the first panel, px.
    pub(crate) top: f64,
}

impl Sheet {
    /// A drawing with these entries in its legend and these conditions.
    pub(crate) fn new(format: Format, entries: Vec<(Sample, String)>, conditions: &[String]) -> Self {
        let inner = format.width() - 2.0 * MARGIN;
        let lines = conditions
            .iter()
            .flat_map(|line| caption::wrap(line, inner))
            .collect();
        Self {
            format,
            top: MARGIN + legend::height(&entries, inner) + 30.0,
            entries,
            lines,
        }
    }

    /// A column of panels of this height over the whole width.
    pub(crate) fn column(&self, height: f64) -> Column {
        Column {
            left: LEFT,
            right: self.format.width() - RIGHT,
            top: self.top,
            height,
        }
    }

    /// Two columns beside one another, the first with `share` of the width; on a telephone one below the other.
    pub(crate) fn pair(&self, height: f64, share: f64) -> [Column; 2] {
        let mut first = self.column(height);
        let mut second = self.column(height);
        if self.format.is_wide() {
            let split = LEFT + share * (first.right - LEFT - GAP);
            first.right = split;
            second.left = split + GAP;
        } else {
            second.top = first.below();
        }
        [first, second]
    }

    /// Draws legend, panels and conditions. `end` is the top that the next panel would have had.
    pub(crate) fn draw(
        self,
        end: f64,
        [title, reading]: [&str; 2],
        panels: impl FnOnce(&mut Canvas<'_>) -> Result<(), PlotError>,
    ) -> Result<String, PlotError> {
        let width = self.format.width();
        let height = end - 20.0 + caption::height(&self.lines);
        let mut drawn = String::new();
        let mut canvas = Canvas::new(&mut drawn, width, height);
        legend::draw(&mut canvas, &self.entries, (MARGIN, 8.0), width - 2.0 * MARGIN)?;
        panels(&mut canvas)?;
        caption::write(&mut canvas, &self.lines, MARGIN, end - 24.0)?;
        canvas.close()?;
        let description = format!("{reading} {}", self.lines.join(" · "));
        Ok(finish(&drawn, width, height, title, &description))
    }
}
