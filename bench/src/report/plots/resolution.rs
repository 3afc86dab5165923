//! Small steps on preloads: change of torque over change of command; and the spectrum of torque that is held.

use super::axis::Axis;
use super::canvas::{Canvas, Stroke, finish};
use super::legend::Sample;
use super::palette::{BLUE, GREEN, INK, ORANGE, VERMILION};
use super::panel::Column;
use super::{Format, PlotError, caption, legend};
use crate::fitting::{FitDocument, ResolutionCurve, plain};

const WHOLE: Stroke = Stroke::solid(INK, 1.0).dashed(2.0, 3.0);
/// Darkness of what is not told from noise on any preload.
const UNSEEN: f64 = 0.24;
/// Most levels that can be told apart.
const LINES: [Stroke; 4] = [
    Stroke::solid(BLUE, 2.2),
    Stroke::solid(VERMILION, 2.0).dashed(7.0, 4.0),
    Stroke::solid(GREEN, 1.8).dashed(2.0, 3.0),
    Stroke::solid(ORANGE, 1.8).dashed(9.0, 3.0),
];

/// Levels nearer than this are one, N·m.
fn same(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-3
}

pub(crate) fn draw(
    document: &FitDocument,
    curve: &ResolutionCurve,
    format: Format,
) -> Result<String, PlotError> {
    let width = format.width();
    // One look a level, in both panels.
    let mut levels: Vec<f64> = Vec::new();
    let all = curve.preloads.iter().map(|p| p.preload_nm);
    for level in all.chain(curve.grain.iter().map(|g| g.level_nm)) {
        if !levels.iter().any(|other| same(*other, level)) {
            levels.push(level);
        }
    }
    let looks: Vec<(f64, Stroke)> = levels.into_iter().zip(LINES).collect();
    let look = |level: f64| {
        looks
            .iter()
            .find(|(l, _)| same(*l, level))
            .map(|(_, stroke)| *stroke)
    };
    let steps: Vec<_> = curve
        .preloads
        .iter()
        .filter_map(|p| Some((p, look(p.preload_nm)?)))
        .collect();
    let grain: Vec<_> = curve
        .grain
        .iter()
        .filter_map(|g| Some((g, look(g.level_nm)?)))
        .collect();
    let mut entries: Vec<(Sample, String)> = looks
        .iter()
        .map(|(level, stroke)| (Sample::Line(*stroke), format!("on {} N·m", plain(*level, 3))))
        .collect();
    if !steps.is_empty() {
        entries.push((
            Sample::Area(BLUE, UNSEEN / steps.len() as f64),
            "not told from noise".to_owned(),
        ));
    }
    let lines = caption::wrap(
        &caption::conditions_line(document, &curve.conditions, "small step"),
        width - 20.0,
    );
    let mut column = Column {
        left: 62.0,
        right: width - 14.0,
        top: 10.0 + legend::height(&entries, width - 20.0) + 30.0,
        height: 190.0,
    };
    let mut place = |x: Axis, y: Axis| column.next(x, y);
    let sizes = || {
        let all = steps.iter().flat_map(|(p, _)| p.size_nm.iter().map(|s| s.abs()));
        all.filter(|s| *s > 0.0)
    };
    // Both directions on one axis of sizes: what goes down is drawn as its amount.
    let changes = || {
        steps.iter().flat_map(|(p, _)| {
            p.size_nm
                .iter()
                .zip(&p.change_nm)
                .filter(|(s, _)| s.abs() > 0.0)
                .map(|(s, c)| 1e3 * c * s.signum())
        })
    };
    let by_size = sizes().next().is_some().then(|| {
        let least = 1e3 * sizes().fold(f64::INFINITY, f64::min);
        let most = 1e3 * sizes().fold(0.0, f64::max);
        place(
            Axis::logarithmic(0.9 * least, 1.1 * most),
            Axis::logarithmic((0.2 * least).max(1e-3), changes().fold(most, f64::max)),
        )
    });
    let by_frequency = (!grain.is_empty()).then(|| {
        let f = || grain.iter().flat_map(|(g, _)| g.f_hz.iter().copied());
        let d = || grain.iter().flat_map(|(g, _)| g.density.iter().map(|d| 1e6 * d));
        let low = d().filter(|d| *d > 0.0).fold(f64::INFINITY, f64::min);
        place(
            Axis::logarithmic(f().fold(f64::INFINITY, f64::min), f().fold(0.0, f64::max)),
            Axis::logarithmic(low.min(1e6), d().fold(low.min(1e6), f64::max)),
        )
    });
    let height = column.top - 20.0 + caption::height(&lines);
    let mut drawn = String::new();
    let mut canvas = Canvas::new(&mut drawn, width, height);
    legend::draw(&mut canvas, &entries, (10.0, 8.0), width - 20.0)?;
    if let Some(panel) = &by_size {
        panel.axes(&mut canvas, true)?;
        let ends = [panel.x.low, panel.x.high];
        panel.curve(&mut canvas, &ends, &ends, WHOLE)?;
        for (p, stroke) in &steps {
            let needed = 1e3 * p.needed_nm;
            panel.band(
                &mut canvas,
                &ends,
                (&[panel.y.low; 2], &[needed; 2]),
                (BLUE, UNSEEN / steps.len() as f64),
            )?;
            for sign in [1.0, -1.0] {
                let rows = p.size_nm.iter().zip(&p.change_nm);
                let mut own: Vec<(f64, f64)> = rows
                    .filter(|(s, _)| sign * **s > 0.0)
                    .map(|(s, c)| (1e3 * sign * s, 1e3 * sign * c))
                    .collect();
                own.sort_by(|a, b| a.0.total_cmp(&b.0));
                let (x, y): (Vec<f64>, Vec<f64>) = own.into_iter().unzip();
                panel.curve(&mut canvas, &x, &y, *stroke)?;
            }
        }
        panel.names(
            &mut canvas,
            "change of command, mN·m",
            "Change of torque, up and down, mN·m",
        )?;
    }
    if let Some(panel) = &by_frequency {
        panel.axes(&mut canvas, true)?;
        for (g, stroke) in &grain {
            let y: Vec<f64> = g.density.iter().map(|d| 1e6 * d).collect();
            panel.curve(&mut canvas, &g.f_hz, &y, *stroke)?;
        }
        panel.names(&mut canvas, "frequency, Hz", "Torque held, µN·m/√Hz")?;
    }
    caption::write(&mut canvas, &lines, 10.0, column.top - 24.0)?;
    canvas.close()?;
    let description = format!(
        "Change of torque over small changes of command on preloads, and the spectrum of torque held. {}",
        lines.join(" · ")
    );
    Ok(finish(&drawn, width, height, "Small changes", &description))
}
