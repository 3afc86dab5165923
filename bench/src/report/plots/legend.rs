//! What the lines mean, in rows above a panel.

use super::PlotError;
use super::canvas::{Anchor, Canvas, Lettering, Stroke};
use super::palette::{INK, RGBColor};

/// What an entry looks like.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Sample {
    /// A line.
    Line(Stroke),
    /// A filled area.
    Area(RGBColor, f64),
}

/// Height of one row, px: in a page an entry is a switch, and 24 px are the least that a finger meets (WCAG 2.2, 2.5.8), also where a
/// drawing is shown a little smaller than it is.
pub(crate) const ROW: f64 = 26.0;
const SIZE: f64 = 12.0;
const SWATCH: f64 = 24.0;

/// Width of an entry, px. Two letters are nearly as wide as the type is high, others little more than half of that.
fn wide(text: &str) -> f64 {
    let em = |letter| if "mwMW".contains(letter) { 0.95 } else { 0.57 };
    SWATCH + 6.0 + SIZE * text.chars().map(em).sum::<f64>()
}

/// Entries laid out in rows of at most `width` px: row and left edge of each, and the number of rows.
fn places(entries: &[(Sample, String)], width: f64) -> (Vec<(usize, f64)>, usize) {
    let (mut row, mut x) = (0, 0.0);
    let mut found = Vec::new();
    for (_, text) in entries {
        let wide = wide(text) + 16.0;
        if x > 0.0 && x + wide - 16.0 > width {
            row += 1;
            x = 0.0;
        }
        found.push((row, x));
        x += wide;
    }
    (found, row + 1)
}

/// Height that the legend takes, px.
pub(crate) fn height(entries: &[(Sample, String)], width: f64) -> f64 {
    ROW * places(entries, width).1 as f64
}

/// Draws the legend with its upper left corner at `(left, top)`.
pub(crate) fn draw(
    canvas: &mut Canvas<'_>,
    entries: &[(Sample, String)],
    (left, top): (f64, f64),
    width: f64,
) -> Result<(), PlotError> {
    let (found, _) = places(entries, width);
    canvas.legend(entries.iter().map(|(sample, _)| *sample));
    for (place, ((sample, text), (row, x))) in entries.iter().zip(found).enumerate() {
        let corner = (left + x - 4.0, top + ROW * row as f64);
        canvas.entry(place, corner, (wide(text) + 8.0, ROW));
        let (x, y) = (left + x, top + ROW * (row as f64 + 0.5));
        match sample {
            Sample::Line(stroke) => canvas.line(&[(x, y), (x + SWATCH, y)], *stroke)?,
            Sample::Area(colour, alpha) => {
                canvas.block((x, y - 5.0), (x + SWATCH, y + 5.0), *colour, *alpha)?;
            }
        }
        canvas.text(
            text,
            (x + SWATCH + 6.0, y),
            Lettering::new(INK, SIZE, Anchor::Left),
        )?;
        canvas.end_entry();
    }
    Ok(())
}
