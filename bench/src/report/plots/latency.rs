//! Latency of each repeat: how it is spread, and in what order it came.

use super::axis::Axis;
use super::canvas::{Canvas, Stroke, finish};
use super::legend::Sample;
use super::palette::{BLUE, GREEN, VERMILION};
use super::panel::Panel;
use super::{Format, PlotError, caption, legend};
use crate::fitting::{FitDocument, LatencyCurve, Quantity, ShownIn, plain};

const MEAN: Stroke = Stroke::solid(VERMILION, 2.0);
const PERIOD: Stroke = Stroke::solid(GREEN, 2.0).dashed(7.0, 4.0);

pub(crate) fn draw(
    document: &FitDocument,
    curve: &LatencyCurve,
    format: Format,
) -> Result<String, PlotError> {
    let width = format.width();
    let ms: Vec<f64> = curve.per_repeat_s.iter().flatten().map(|s| 1e3 * s).collect();
    let mean = document.headline(Quantity::Latency).and_then(|m| m.estimate());
    let mean_ms = mean.map(|e| {
        let k = ShownIn::Milliseconds.factor();
        (k * e.interval[0], k * e.value, k * e.interval[1])
    });
    let (edges, counts) = histogram(&ms);
    let period_ms = curve.update_period_s.map(|s| 1e3 * s);

    let mut entries = vec![(Sample::Area(BLUE, 0.55), "repeats".to_owned())];
    if mean_ms.is_some() {
        entries.push((Sample::Line(MEAN), "mean".to_owned()));
        entries.push((
            Sample::Area(VERMILION, 0.25),
            "95 % interval of the mean".to_owned(),
        ));
    }
    if let Some(period) = period_ms.filter(|_| period_bar(&ms, period_ms).is_some()) {
        entries.push((
            Sample::Line(PERIOD),
            format!("one polling period, {} ms", plain(period, 3)),
        ));
    }
    let lines = caption::wrap(
        &caption::conditions_line(document, &curve.conditions, "step"),
        width - 20.0,
    );
    let top = 10.0 + legend::height(&entries, width - 20.0) + 30.0;
    let (left, tall) = (52.0, 190.0);
    // One polling period belongs on the axis, unless it would make a dot of the spread.
    let bar = period_bar(&ms, period_ms);
    let spread = edges.iter().chain(&ms).copied().chain(bar.into_iter().flatten());
    let latency_axis = Axis::around(spread, 0.06, 55.0);
    let most = counts.iter().copied().max().unwrap_or(1) as f64;
    let count_axis = Axis::linear(0.0, 1.22 * most, 36.0);
    let order_axis = Axis::linear(0.0, curve.per_repeat_s.len() as f64 + 1.0, 50.0);
    let place = |left, top, right, x, y| Panel {
        left,
        top,
        right,
        bottom: top + tall,
        x,
        y,
    };
    let y_axis = Axis {
        spacing: 32.0,
        ..latency_axis
    };
    let (spread, order) = if format.is_wide() {
        let split = left + 0.48 * (width - 2.0 * left - 24.0);
        (
            place(left, top, split, latency_axis, count_axis),
            place(split + 70.0, top, width - 12.0, order_axis, y_axis),
        )
    } else {
        let second = top + tall + 78.0;
        (
            place(left, top, width - 12.0, latency_axis, count_axis),
            place(left, second, width - 12.0, order_axis, y_axis),
        )
    };
    let height = order.bottom + 50.0 + caption::height(&lines);

    let mut drawn = String::new();
    let mut canvas = Canvas::new(&mut drawn, width, height);
    legend::draw(&mut canvas, &entries, (10.0, 8.0), width - 20.0)?;
    spread.axes(&mut canvas, true)?;
    for (cell, count) in edges.windows(2).zip(&counts) {
        let (a, b) = (spread.at(cell[0], 0.0), spread.at(cell[1], *count as f64));
        canvas.block((a.0 + 0.8, a.1), (b.0 - 0.8, b.1), BLUE, 0.55)?;
    }
    order.axes(&mut canvas, true)?;
    if let Some((low, value, high)) = mean_ms {
        let inside = |v: f64| spread.x_px(latency_axis.clamp(v));
        canvas.block(
            (inside(low), spread.top),
            (inside(high), spread.bottom),
            VERMILION,
            0.25,
        )?;
        spread.upright(&mut canvas, value, MEAN)?;
        let inside = |v: f64| order.y_px(latency_axis.clamp(v));
        canvas.block(
            (order.left, inside(low)),
            (order.right, inside(high)),
            VERMILION,
            0.25,
        )?;
        order.level(&mut canvas, value, MEAN)?;
    }
    if let Some([low, high]) = bar {
        let (y, a, b) = (spread.top + 14.0, spread.x_px(low), spread.x_px(high));
        canvas.line(&[(a, y), (b, y)], PERIOD)?;
        for x in [a, b] {
            canvas.line(&[(x, y - 5.0), (x, y + 5.0)], Stroke::solid(GREEN, 2.0))?;
        }
    }
    for (i, s) in curve.per_repeat_s.iter().enumerate() {
        if let Some(s) = s {
            let (x, y) = order.at(i as f64 + 1.0, 1e3 * s);
            canvas.block((x - 1.9, y - 1.9), (x + 1.9, y + 1.9), BLUE, 0.9)?;
        }
    }
    spread.names(&mut canvas, "latency, ms", "Spread, repeats")?;
    order.names(&mut canvas, "repeat, in order of playing", "Order, ms")?;
    caption::write(&mut canvas, &lines, 10.0, order.bottom + 48.0)?;
    canvas.close()?;
    let description = format!(
        "Histogram of the latency of {} repeats, and the same in order. {}",
        ms.len(),
        lines.join(" · ")
    );
    Ok(finish(
        &drawn,
        width,
        height,
        "Latency, repeat by repeat",
        &description,
    ))
}

/// Ends of a bar as wide as one polling period around the middle of the spread; `None` if it is not declared or wider
/// than eight times the spread.
fn period_bar(ms: &[f64], period: Option<f64>) -> Option<[f64; 2]> {
    let low = ms.iter().copied().reduce(f64::min)?;
    let high = ms.iter().copied().reduce(f64::max)?;
    let (middle, half) = (0.5 * (low + high), 0.5 * period?);
    (2.0 * half <= 8.0 * (high - low)).then_some([middle - half, middle + half])
}

/// Equal cells over the range: as many as the square root of the number of values, at least 5, at most 24.
fn histogram(values: &[f64]) -> (Vec<f64>, Vec<usize>) {
    let fold = |f: fn(f64, f64) -> f64| values.iter().copied().reduce(f);
    let (Some(low), Some(high)) = (fold(f64::min), fold(f64::max)) else {
        return (Vec::new(), Vec::new());
    };
    let cells = ((values.len() as f64).sqrt().round() as usize).clamp(5, 24);
    let (low, high) = if high > low {
        (low, high)
    } else {
        (low - 0.5e-3, low + 0.5e-3)
    };
    let step = (high - low) / cells as f64;
    let mut counts = vec![0; cells];
    for value in values {
        let cell = (((value - low) / step) as usize).min(cells - 1);
        counts[cell] += 1;
    }
    ((0..=cells).map(|i| low + step * i as f64).collect(), counts)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_value_falls_into_one_cell() {
        let (edges, counts) = histogram(&[1.0, 1.1, 1.9, 2.0, 2.0, 1.5]);
        assert_eq!(edges.len(), 6);
        // Cells of 0.2 from 1.0: {1.0, 1.1}, {}, {1.5}, {}, {1.9, 2.0, 2.0}.
        assert_eq!(counts, [2, 0, 1, 0, 3]);
        let (_, counts) = histogram(&[3.0, 3.0]);
        assert_eq!(counts.iter().sum::<usize>(), 2);
    }
}
