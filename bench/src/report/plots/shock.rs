//! Half-sine pulses: the share of the crest that arrives by width, and a train as commanded and as it arrived.

use super::axis::Axis;
use super::canvas::{Canvas, Stroke, finish};
use super::legend::Sample;
use super::palette::{BLUE, GREEN, INK, ORANGE, RGBColor, VERMILION};
use super::panel::Column;
use super::{Format, PlotError, caption, legend};
use crate::fitting::{FitDocument, ShockCurve, plain};

const WHOLE: Stroke = Stroke::solid(INK, 1.0).dashed(2.0, 3.0);
const COMMANDED: Stroke = Stroke::solid(VERMILION, 1.8).dashed(7.0, 4.0);
const ARRIVED: Stroke = Stroke::solid(INK, 1.8);
const BAND: (RGBColor, f64) = (BLUE, 0.16);
/// Most lines that can be told apart.
const LINES: [Stroke; 4] = [
    Stroke::solid(BLUE, 2.2),
    Stroke::solid(VERMILION, 2.0).dashed(7.0, 4.0),
    Stroke::solid(GREEN, 1.8).dashed(2.0, 3.0),
    Stroke::solid(ORANGE, 1.8).dashed(9.0, 3.0),
];

pub(crate) fn draw(document: &FitDocument, curve: &ShockCurve, format: Format) -> Result<String, PlotError> {
    let width = format.width();
    let shown: Vec<_> = curve.lines.iter().zip(LINES).collect();
    let mut entries: Vec<(Sample, String)> = shown
        .iter()
        .map(|(line, stroke)| {
            let text = format!(
                "{} on {} N·m",
                plain(line.amplitude_nm, 3),
                plain(line.preload_nm, 3)
            );
            (Sample::Line(*stroke), text)
        })
        .collect();
    if !shown.is_empty() {
        entries.push((Sample::Area(BAND.0, BAND.1), "95 % interval".to_owned()));
    }
    if let Some(train) = &curve.train {
        entries.push((Sample::Line(COMMANDED), "train commanded, delayed".to_owned()));
        entries.push((
            Sample::Line(ARRIVED),
            format!("train arrived, {} ms late", plain(1e3 * train.late_s, 3)),
        ));
    }
    let lines = caption::wrap(
        &caption::conditions_line(document, &curve.conditions, "pulse"),
        width - 20.0,
    );
    let mut column = Column {
        left: 56.0,
        right: width - 14.0,
        top: 10.0 + legend::height(&entries, width - 20.0) + 30.0,
        height: 190.0,
    };
    let mut place = |x: Axis, y: Axis| column.next(x, y);
    let percent = |share: f64| 100.0 * share;
    let widths = || {
        let all = shown.iter().flat_map(|(line, _)| line.width_s.iter().copied());
        all.map(|s| 1e3 * s)
    };
    let shares = || {
        shown
            .iter()
            .flat_map(|(line, _)| line.retention.iter().flatten().copied())
    };
    let by_width = (!shown.is_empty()).then(|| {
        let least = widths().fold(f64::INFINITY, f64::min);
        let most = widths().fold(0.0, f64::max);
        place(
            Axis::logarithmic(0.9 * least, 1.1 * most),
            Axis::around(shares().map(percent).chain([0.0, 100.0]), 0.05, 34.0),
        )
    });
    let in_time = curve.train.as_ref().map(|train| {
        let last = train.t_s.last().copied().unwrap_or(1.0);
        let all = train.commanded_nm.iter().chain(&train.arrived_nm).copied();
        (
            train,
            place(Axis::linear(0.0, 1e3 * last, 60.0), Axis::around(all, 0.05, 34.0)),
        )
    });
    let height = column.top - 20.0 + caption::height(&lines);
    let mut drawn = String::new();
    let mut canvas = Canvas::new(&mut drawn, width, height);
    legend::draw(&mut canvas, &entries, (10.0, 8.0), width - 20.0)?;
    if let Some(panel) = &by_width {
        panel.axes(&mut canvas, true)?;
        panel.level(&mut canvas, 100.0, WHOLE)?;
        for (line, stroke) in &shown {
            let x: Vec<f64> = line.width_s.iter().map(|s| 1e3 * s).collect();
            let of = |k: usize| -> Vec<f64> { line.retention.iter().map(|r| percent(r[k])).collect() };
            panel.band(&mut canvas, &x, (&of(0), &of(2)), BAND)?;
            panel.curve(&mut canvas, &x, &of(1), *stroke)?;
        }
        panel.names(&mut canvas, "width of the pulse, ms", "Crest that arrives, %")?;
    }
    if let Some((train, panel)) = &in_time {
        panel.axes(&mut canvas, true)?;
        let t_ms: Vec<f64> = train.t_s.iter().map(|s| 1e3 * s).collect();
        panel.curve(&mut canvas, &t_ms, &train.commanded_nm, COMMANDED)?;
        panel.curve(&mut canvas, &t_ms, &train.arrived_nm, ARRIVED)?;
        let name = format!(
            "Train every {} ms, N·m from the preload",
            plain(1e3 * train.spacing_s, 3)
        );
        panel.names(&mut canvas, "time, ms", &name)?;
    }
    caption::write(&mut canvas, &lines, 10.0, column.top - 24.0)?;
    canvas.close()?;
    let description = format!(
        "Share of the crest of half-sine pulses that arrives, over their width, and a train of them. {}",
        lines.join(" · ")
    );
    Ok(finish(&drawn, width, height, "Short pulses", &description))
}
