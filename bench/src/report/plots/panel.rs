//! A panel: two axes and what is drawn between them.

use super::PlotError;
use super::axis::Axis;
use super::canvas::{Anchor, Canvas, Lettering, Point, Stroke};
use super::palette::{GRID, INK, RGBColor, SOFT};
use super::path::thinned;

/// Columns that curves are thinned in, px: half of one, so that a page may zoom a little before it shows.
const COLUMN: f64 = 0.5;
/// Size of axis numbers, px.
pub(crate) const NUMBERS: f64 = 12.0;

/// Room below a panel for its axis and the next one's title, px.
const BETWEEN: f64 = 72.0;

/// Panels of one height, one below the other.
#[derive(Debug)]
pub(crate) struct Column {
    /// Left edge of the panels, px.
    pub(crate) left: f64,
    /// Right edge.
    pub(crate) right: f64,
    /// Top of the next one; what is drawn so far ends a little above it.
    pub(crate) top: f64,
    /// Height of each.
    pub(crate) height: f64,
}

impl Column {
    /// Top of a panel below the first.
    pub(crate) fn below(&self) -> f64 {
        self.top + self.height + BETWEEN
    }

    /// The next panel.
    pub(crate) fn next(&mut self, x: Axis, y: Axis) -> Panel {
        let (top, bottom) = (self.top, self.top + self.height);
        self.top = self.below();
        Panel {
            left: self.left,
            top,
            right: self.right,
            bottom,
            x,
            y,
        }
    }
}

/// A rectangle on the canvas with its axes.
#[derive(Debug, Clone)]
pub(crate) struct Panel {
    pub(crate) left: f64,
    pub(crate) top: f64,
    pub(crate) right: f64,
    pub(crate) bottom: f64,
    pub(crate) x: Axis,
    pub(crate) y: Axis,
}

impl Panel {
    /// Left and top: what tells panels of one drawing apart.
    pub(crate) fn corner(&self) -> [u64; 2] {
        [self.left, self.top].map(f64::to_bits)
    }

    /// Position of a pair of values.
    pub(crate) fn at(&self, x: f64, y: f64) -> Point {
        (self.x_px(x), self.y_px(y))
    }

    pub(crate) fn x_px(&self, x: f64) -> f64 {
        self.left + self.x.share(x) * (self.right - self.left)
    }

    pub(crate) fn y_px(&self, y: f64) -> f64 {
        self.bottom - self.y.share(y) * (self.bottom - self.top)
    }

    /// Grid, frame and axis numbers; the numbers of the x axis only where `numbers_below`.
    pub(crate) fn axes(&self, canvas: &mut Canvas<'_>, numbers_below: bool) -> Result<(), PlotError> {
        canvas.begin_grid(self);
        let drawn = self.grid(canvas, numbers_below);
        canvas.end_grid();
        drawn
    }

    fn grid(&self, canvas: &mut Canvas<'_>, numbers_below: bool) -> Result<(), PlotError> {
        for (value, label) in self.x.ticks(self.right - self.left) {
            let x = self.x_px(value);
            canvas.line(&[(x, self.top), (x, self.bottom)], Stroke::solid(GRID, 1.0))?;
            if numbers_below && !label.is_empty() {
                let look = Lettering::new(SOFT, NUMBERS, Anchor::Centre);
                canvas.text(&label, (x, self.bottom + 14.0), look)?;
            }
        }
        for (value, label) in self.y.ticks(self.bottom - self.top) {
            let y = self.y_px(value);
            canvas.line(&[(self.left, y), (self.right, y)], Stroke::solid(GRID, 1.0))?;
            canvas.text(
                &label,
                (self.left - 7.0, y),
                Lettering::new(SOFT, NUMBERS, Anchor::Right),
            )?;
        }
        let frame = [
            (self.left, self.top),
            (self.left, self.bottom),
            (self.right, self.bottom),
        ];
        canvas.line(&frame, Stroke::solid(INK, 1.2))
    }

    /// Names of the axes; an empty name is left out.
    pub(crate) fn names(&self, canvas: &mut Canvas<'_>, x: &str, y: &str) -> Result<(), PlotError> {
        canvas.call(self, x, y);
        if !x.is_empty() {
            let middle = 0.5 * (self.left + self.right);
            canvas.text(
                x,
                (middle, self.bottom + 34.0),
                Lettering::new(INK, 13.0, Anchor::Centre),
            )?;
        }
        if !y.is_empty() {
            // Above the panel rather than along it: it reads without turning the head.
            canvas.text(
                y,
                (self.left - 40.0, self.top - 13.0),
                Lettering::new(INK, 13.0, Anchor::Left).bold(),
            )?;
        }
        Ok(())
    }

    /// A curve, clipped to the panel.
    pub(crate) fn curve(
        &self,
        canvas: &mut Canvas<'_>,
        x: &[f64],
        y: &[f64],
        stroke: Stroke,
    ) -> Result<(), PlotError> {
        for piece in self.visible(x, y) {
            canvas.line(&thinned(piece, COLUMN), stroke)?;
        }
        Ok(())
    }

    /// A point's mark, 7 px wide, and the bar of its interval from `low` to `high`.
    pub(crate) fn point(
        &self,
        canvas: &mut Canvas<'_>,
        (x, y): (f64, f64),
        (low, high): (f64, f64),
        (mark, bar): (RGBColor, Stroke),
    ) -> Result<(), PlotError> {
        if !self.x.holds(x) || !y.is_finite() {
            return Ok(());
        }
        self.curve(canvas, &[x, x], &[low, high], bar)?;
        let (x, y) = self.at(x, self.y.clamp(y));
        canvas.block((x - 3.5, y - 3.5), (x + 3.5, y + 3.5), mark, 0.9)
    }

    /// The area between two curves, clipped to the panel.
    pub(crate) fn band(
        &self,
        canvas: &mut Canvas<'_>,
        x: &[f64],
        (low, high): (&[f64], &[f64]),
        (colour, alpha): (RGBColor, f64),
    ) -> Result<(), PlotError> {
        let inside = |x: f64, y: f64| self.at(self.x.clamp(x), self.y.clamp(y));
        let rows = x
            .iter()
            .zip(low)
            .zip(high)
            .map(|((x, low), high)| (*x, *low, *high));
        let rows: Vec<(f64, f64, f64)> = rows
            .filter(|(x, low, high)| self.x.holds(*x) && low.is_finite() && high.is_finite())
            .collect();
        let mut outline = thinned(rows.iter().map(|(x, low, _)| inside(*x, *low)).collect(), COLUMN);
        let upper = rows.iter().rev().map(|(x, _, high)| inside(*x, *high));
        outline.extend(thinned(upper.collect(), COLUMN));
        canvas.polygon(&outline, colour, alpha)
    }

    /// A line across the whole height at `x`, if it lies within the axis.
    pub(crate) fn upright(&self, canvas: &mut Canvas<'_>, x: f64, stroke: Stroke) -> Result<(), PlotError> {
        if !self.x.holds(x) {
            return Ok(());
        }
        let x = self.x_px(x);
        canvas.line(&[(x, self.top), (x, self.bottom)], stroke)
    }

    /// A line across the whole width at `y`, if it lies within the axis.
    pub(crate) fn level(&self, canvas: &mut Canvas<'_>, y: f64, stroke: Stroke) -> Result<(), PlotError> {
        if !self.y.holds(y) {
            return Ok(());
        }
        let y = self.y_px(y);
        canvas.line(&[(self.left, y), (self.right, y)], stroke)
    }

    /// Runs of consecutive points within the x axis, their y clipped to the panel. A value that is not finite ends a
    /// run.
    fn visible(&self, x: &[f64], y: &[f64]) -> Vec<Vec<Point>> {
        let mut runs = Vec::new();
        let mut run = Vec::new();
        for (x, y) in x.iter().zip(y) {
            if self.x.holds(*x) && y.is_finite() {
                run.push(self.at(*x, self.y.clamp(*y)));
            } else if !run.is_empty() {
                runs.push(std::mem::take(&mut run));
            }
        }
        runs.push(run);
        runs
    }
}
