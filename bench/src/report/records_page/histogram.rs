//! Bars of how often values fall into equal bins.

use crate::report::PlotError;
use crate::report::plots::Format;
use crate::report::plots::axis::Axis;
use crate::report::plots::canvas::Canvas;
use crate::report::plots::palette::BLUE;
use crate::report::plots::panel::Panel;

/// Counts of values along an axis.
pub(super) struct Histogram {
    low: f64,
    /// Width of a bin.
    pub(super) step: f64,
    counts: Vec<f64>,
}

impl Histogram {
    /// Of values on an axis; fewer bins on a telephone.
    pub(super) fn of(values: &[f64], x: &Axis, format: Format) -> Self {
        let bins = if format.is_wide() { 48 } else { 28 };
        let step = (x.high - x.low) / f64::from(bins);
        let mut counts = vec![0.0_f64; bins as usize];
        for value in values {
            if let Some(count) = counts.get_mut(((value - x.low) / step) as usize) {
                *count += 1.0;
            }
        }
        Self {
            low: x.low,
            step,
            counts,
        }
    }

    /// The highest count, at least `least`.
    pub(super) fn most(&self, least: f64) -> f64 {
        self.counts.iter().copied().fold(least, f64::max)
    }

    pub(super) fn draw(&self, canvas: &mut Canvas<'_>, panel: &Panel) -> Result<(), PlotError> {
        for (bin, count) in self.counts.iter().enumerate().filter(|(_, c)| **c > 0.0) {
            let low = self.low + self.step * bin as f64;
            let corner = |share: f64, height: f64| panel.at(low + share * self.step, height);
            canvas.block(corner(0.06, 0.0), corner(0.94, *count), BLUE, 0.45)?;
        }
        Ok(())
    }
}
