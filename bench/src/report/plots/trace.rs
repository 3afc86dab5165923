//! A steering trace: as commanded and as it arrived, the drop at the grip limit, and the gain by octave.

use super::axis::Axis;
use super::canvas::{Canvas, Stroke, finish};
use super::legend::Sample;
use super::palette::{BLUE, GREEN, VERMILION};
use super::panel::Column;
use super::{Format, PlotError, caption, legend};
use crate::fitting::{FitDocument, TraceCurve, plain};

const COMMANDED: Stroke = Stroke::solid(VERMILION, 1.8).dashed(7.0, 4.0);
const ARRIVED: Stroke = Stroke::solid(BLUE, 2.2);
const COHERENCE: Stroke = Stroke::solid(GREEN, 1.8).dashed(2.0, 2.0);

pub(crate) fn draw(document: &FitDocument, curve: &TraceCurve, format: Format) -> Result<String, PlotError> {
    let width = format.width();
    let mut entries = vec![
        (Sample::Line(COMMANDED), "commanded".to_owned()),
        (
            Sample::Line(ARRIVED),
            format!("arrived, {} ms earlier", plain(1e3 * curve.shift_s, 3)),
        ),
        (
            Sample::Area(BLUE, 0.22),
            "one standard deviation of a repeat; 95 % of a gain".to_owned(),
        ),
    ];
    if curve.limit_s.is_some() {
        entries.push((Sample::Area(GREEN, 0.22), "crest and floor".to_owned()));
    }
    if !curve.bands_hz.is_empty() {
        entries.push((Sample::Line(COHERENCE), "coherence".to_owned()));
    }
    let lines = caption::wrap(
        &caption::conditions_line(document, &curve.conditions, "trace"),
        width - 20.0,
    );
    let mut column = Column {
        left: 56.0,
        right: width - 14.0,
        top: 10.0 + legend::height(&entries, width - 20.0) + 30.0,
        height: 170.0,
    };
    let mut place = |x: Axis, y: Axis| column.next(x, y);
    let last_s = curve.t_s.last().copied().unwrap_or(1.0);
    let all = || curve.commanded_nm.iter().chain(&curve.arrived_nm).copied();
    let whole = place(Axis::linear(0.0, last_s, 60.0), Axis::around(all(), 0.05, 34.0));
    let limit = curve.limit_s.map(|[crest, floor, around]| {
        let (from, to) = (
            crest - 0.5 * (floor - crest) - around,
            floor + 0.5 * (floor - crest) + around,
        );
        let inside = |t: &f64| *t >= from && *t <= to;
        let rows = curve
            .t_s
            .iter()
            .zip(curve.commanded_nm.iter().zip(&curve.arrived_nm));
        let shown = rows.filter(|(t, _)| inside(t)).flat_map(|(_, (c, a))| [*c, *a]);
        place(
            Axis::linear(from.max(0.0), to.min(last_s), 60.0),
            Axis::around(shown, 0.05, 34.0),
        )
    });
    let octaves: Vec<f64> = curve
        .bands_hz
        .iter()
        .map(|[low, high]| (low.max(0.25 * high) * high).sqrt())
        .collect();
    let gains = || {
        curve
            .gain
            .iter()
            .flatten()
            .chain(&curve.coherence)
            .map(|g| 100.0 * g)
    };
    let bands = (octaves.len() > 1).then(|| {
        let ends = [octaves.first(), octaves.last()].map(|f| f.copied().unwrap_or(1.0));
        place(
            Axis::logarithmic(ends[0], ends[1]),
            Axis::around(gains().chain([0.0]), 0.05, 34.0),
        )
    });
    let height = column.top - 20.0 + caption::height(&lines);
    let mut drawn = String::new();
    let mut canvas = Canvas::new(&mut drawn, width, height);
    legend::draw(&mut canvas, &entries, (10.0, 8.0), width - 20.0)?;
    for panel in [Some(&whole), limit.as_ref()].into_iter().flatten() {
        panel.axes(&mut canvas, true)?;
        if let Some([crest, floor, around]) = curve.limit_s {
            for at in [crest, floor] {
                let px = |t: f64| panel.x_px(panel.x.clamp(t));
                canvas.block(
                    (px(at - around), panel.top),
                    (px(at + around), panel.bottom),
                    GREEN,
                    0.22,
                )?;
            }
        }
        panel.band(
            &mut canvas,
            &curve.t_s,
            (&curve.low_nm, &curve.high_nm),
            (BLUE, 0.22),
        )?;
        panel.curve(&mut canvas, &curve.t_s, &curve.commanded_nm, COMMANDED)?;
        panel.curve(&mut canvas, &curve.t_s, &curve.arrived_nm, ARRIVED)?;
    }
    whole.names(&mut canvas, "time, s", "Whole trace, N·m")?;
    if let Some(panel) = &limit {
        panel.names(&mut canvas, "time, s", "At the grip limit, N·m")?;
    }
    if let Some(panel) = &bands {
        panel.axes(&mut canvas, true)?;
        let row = |k: usize| -> Vec<f64> { curve.gain.iter().map(|g| 100.0 * g[k]).collect() };
        panel.band(&mut canvas, &octaves, (&row(0), &row(2)), (BLUE, 0.22))?;
        panel.curve(&mut canvas, &octaves, &row(1), ARRIVED)?;
        let coherence: Vec<f64> = curve.coherence.iter().map(|c| 100.0 * c).collect();
        panel.curve(&mut canvas, &octaves, &coherence, COHERENCE)?;
        panel.names(&mut canvas, "middle of the octave, Hz", "Gain and coherence, %")?;
    }
    caption::write(&mut canvas, &lines, 10.0, column.top - 24.0)?;
    canvas.close()?;
    let description = format!(
        "Torque commanded and arrived over {} s, the drop at the grip limit, and gain by octave. {}",
        plain(last_s, 3),
        lines.join(" · ")
    );
    Ok(finish(
        &drawn,
        width,
        height,
        "Steering trace, commanded and arrived",
        &description,
    ))
}
