//! Steps over one another: the onset, and the whole until it has settled.

use super::axis::Axis;
use super::canvas::{Anchor, Canvas, Lettering, Stroke, finish};
use super::legend::Sample;
use super::palette::{BLUE, GREEN, INK, SOFT, VERMILION};
use super::panel::Panel;
use super::{Format, PlotError, caption, legend};
use crate::fitting::{FitDocument, Quantity, StepCurves};
use crate::report::words;

const THIN: Stroke = Stroke::solid(BLUE, 0.8).faint(0.45);
const MEDIAN: Stroke = Stroke::solid(BLUE, 2.4);
const MODEL: Stroke = Stroke::solid(GREEN, 2.0).dashed(7.0, 4.0);
const COMMAND: Stroke = Stroke::solid(INK, 1.2).dashed(2.0, 3.0);
const MARK: Stroke = Stroke::solid(VERMILION, 1.4).dashed(5.0, 3.0);

pub(crate) fn draw(document: &FitDocument, curves: &StepCurves, format: Format) -> Result<String, PlotError> {
    let width = format.width();
    let x_ms: Vec<f64> = curves.t_s.iter().map(|t| 1e3 * t).collect();
    let (start, end) = (
        x_ms.first().copied().unwrap_or(0.0),
        x_ms.last().copied().unwrap_or(1.0),
    );
    let onset_end = (2.0 * 1e3 * curves.t90_s).max(6.0).min(end);
    let extremes = curves
        .repeats_nm
        .iter()
        .flatten()
        .chain(&curves.p05_nm)
        .chain(&curves.p95_nm)
        .copied();
    let y = Axis::around(extremes.chain([curves.from_nm, curves.to_nm]), 0.07, 36.0);

    let mut entries = vec![
        (Sample::Line(MEDIAN), "median".to_owned()),
        (Sample::Area(BLUE, 0.18), "5 to 95 % of repeats".to_owned()),
        (Sample::Line(THIN), "single repeats".to_owned()),
        (Sample::Line(COMMAND), "commanded".to_owned()),
        (Sample::Line(MARK), "10 and 90 %".to_owned()),
    ];
    if curves.model_t_s.len() > 1 {
        entries.push((Sample::Line(MODEL), "fitted rise".to_owned()));
    }
    if curves.latency_s.is_some() {
        entries.push((Sample::Area(VERMILION, 0.14), "latency".to_owned()));
    }
    let lines = caption::wrap(
        &caption::conditions_line(document, &curves.conditions, "step"),
        width - 20.0,
    );
    let (left, gap) = (56.0, 58.0);
    let top = 10.0 + legend::height(&entries, width - 20.0) + 30.0;
    let tall = if format.is_wide() { 300.0 } else { 230.0 };
    let (onset, whole) = if format.is_wide() {
        let split = left + 0.44 * (width - left - gap - 12.0);
        (
            panel(
                (left, top, split, top + tall),
                (start.max(-2.0), onset_end),
                y,
                44.0,
            ),
            panel(
                (split + gap, top, width - 12.0, top + tall),
                (start, end),
                y,
                60.0,
            ),
        )
    } else {
        let second = top + tall + 78.0;
        (
            panel(
                (left, top, width - 12.0, top + tall),
                (start.max(-2.0), onset_end),
                y,
                44.0,
            ),
            panel((left, second, width - 12.0, second + tall), (start, end), y, 60.0),
        )
    };
    let height = whole.bottom + 50.0 + caption::height(&lines);

    let mut drawn = String::new();
    let mut canvas = Canvas::new(&mut drawn, width, height);
    legend::draw(&mut canvas, &entries, (10.0, 8.0), width - 20.0)?;
    let share = if format.is_wide() { (24, 12) } else { (10, 5) };
    for (view, most) in [(&onset, share.0), (&whole, share.1)] {
        view.axes(&mut canvas, true)?;
        commanded(&mut canvas, view, curves)?;
        view.band(&mut canvas, &x_ms, (&curves.p05_nm, &curves.p95_nm), (BLUE, 0.18))?;
        let step = curves.repeats_nm.len().div_ceil(most).max(1);
        for repeat in curves.repeats_nm.iter().step_by(step) {
            view.curve(&mut canvas, &x_ms, repeat, THIN)?;
        }
        view.curve(&mut canvas, &x_ms, &curves.median_nm, MEDIAN)?;
    }
    marks(&mut canvas, &onset, curves, document)?;
    let from = "ms from setpoint in force";
    onset.names(&mut canvas, from, "Onset, N·m")?;
    whole.names(&mut canvas, from, "Whole step, N·m")?;
    caption::write(&mut canvas, &lines, 10.0, whole.bottom + 48.0)?;
    canvas.close()?;
    let title = format!("Steps {}", curves.group);
    let description = format!(
        "Rim torque against time from the setpoint coming into force, {} repeats over one another. {}",
        curves.conditions.n,
        lines.join(" · ")
    );
    Ok(finish(&drawn, width, height, &title, &description))
}

fn panel(
    (left, top, right, bottom): (f64, f64, f64, f64),
    (from, to): (f64, f64),
    y: Axis,
    spacing: f64,
) -> Panel {
    Panel {
        left,
        top,
        right,
        bottom,
        x: Axis::linear(from, to, spacing),
        y,
    }
}

/// The commanded step.
fn commanded(canvas: &mut Canvas<'_>, view: &Panel, curves: &StepCurves) -> Result<(), PlotError> {
    let corners = [
        view.at(view.x.low, curves.from_nm),
        view.at(0.0, curves.from_nm),
        view.at(0.0, curves.to_nm),
        view.at(view.x.high, curves.to_nm),
    ];
    canvas.line(&corners, COMMAND)
}

/// Latency shaded, the instants of 10 and 90 % marked, the fitted rise over them.
fn marks(
    canvas: &mut Canvas<'_>,
    view: &Panel,
    curves: &StepCurves,
    document: &FitDocument,
) -> Result<(), PlotError> {
    let label = Lettering::new(INK, 12.0, Anchor::Right);
    if let Some(latency_ms) = curves.latency_s.map(|s| 1e3 * s).filter(|ms| *ms > 0.0) {
        let (a, b) = (view.x_px(0.0), view.x_px(view.x.clamp(latency_ms)));
        canvas.block((a, view.top), (b, view.bottom), VERMILION, 0.14)?;
        canvas.line(&[(b, view.top), (b, view.bottom)], Stroke::solid(VERMILION, 1.2))?;
        if let Some(reading) = document.headline(Quantity::Latency).and_then(words::reading) {
            // To the right of the shade, in the corner that the rise does not reach.
            let rises = curves.high_nm >= curves.low_nm;
            let y = if rises {
                view.bottom - 40.0
            } else {
                view.top + 14.0
            };
            canvas.text(&format!("latency {reading}"), (view.right - 4.0, y), label)?;
        }
    }
    let span = curves.high_nm - curves.low_nm;
    for (t_s, share, name) in [(curves.t10_s, 0.1, "10 %"), (curves.t90_s, 0.9, "90 %")] {
        let (t, nm) = (1e3 * t_s, curves.low_nm + share * span);
        if !view.x.holds(t) || !view.y.holds(nm) {
            continue;
        }
        let (x, y) = view.at(t, nm);
        canvas.line(&[(view.left, y), (x, y), (x, view.bottom)], MARK)?;
        canvas.block((x - 3.0, y - 3.0), (x + 3.0, y + 3.0), VERMILION, 1.0)?;
        let beside = if span < 0.0 { 9.0 } else { -9.0 };
        canvas.text(
            name,
            (view.left + 5.0, y + beside),
            Lettering::new(SOFT, 12.0, Anchor::Left),
        )?;
    }
    let model_ms: Vec<f64> = curves.model_t_s.iter().map(|t| 1e3 * t).collect();
    view.curve(canvas, &model_ms, &curves.model_nm, MODEL)
}
