//! Frequency response: magnitude, phase and coherence over one logarithmic axis.

use super::axis::Axis;
use super::canvas::{Anchor, Canvas, Lettering, Stroke, finish};
use super::legend::Sample;
use super::palette::{BLUE, GREEN, INK, ORANGE, SOFT, VERMILION};
use super::panel::Panel;
use super::{Format, PlotError, caption, legend};
use crate::fitting::{FitDocument, FrequencyCurve, plain};

const MEASURED: Stroke = Stroke::solid(BLUE, 2.2);
const WITHOUT_DELAY: Stroke = Stroke::solid(GREEN, 2.2).dashed(7.0, 4.0);
const LIMIT: Stroke = Stroke::solid(VERMILION, 1.3).dashed(5.0, 3.0);
const BAND_LIMIT: Stroke = Stroke::solid(SOFT, 1.2).dashed(2.0, 3.0);
const DISTORTION: Stroke = Stroke::solid(VERMILION, 1.8).dashed(2.0, 2.0);
const NOISE: Stroke = Stroke::solid(SOFT, 1.8).dashed(8.0, 3.0);
const RESONANCE: Stroke = Stroke::solid(ORANGE, 1.6).dashed(10.0, 3.0);

pub(crate) fn draw(
    document: &FitDocument,
    curve: &FrequencyCurve,
    format: Format,
) -> Result<String, PlotError> {
    let width = format.width();
    let mut entries = vec![
        (Sample::Line(MEASURED), "as measured".to_owned()),
        (Sample::Area(BLUE, 0.22), "95 % interval".to_owned()),
    ];
    if curve.phase_without_delay_deg.is_some() {
        entries.push((Sample::Line(WITHOUT_DELAY), "delay removed".to_owned()));
    }
    if curve.reference_db.is_some() {
        entries.push((Sample::Line(LIMIT), "−3 dB".to_owned()));
        entries.push((Sample::Line(BAND_LIMIT), "±3 dB".to_owned()));
    }
    if curve.resonance_hz.is_some() {
        entries.push((Sample::Line(RESONANCE), "first clamped resonance".to_owned()));
    }
    if curve.distortion_db.is_some() {
        entries.push((Sample::Line(DISTORTION), "distortion".to_owned()));
    }
    if curve.noise_db.is_some() {
        entries.push((Sample::Line(NOISE), "noise of one period".to_owned()));
    }
    let lines = caption::wrap(
        &caption::conditions_line(document, &curve.conditions, &curve.excitation),
        width - 20.0,
    );
    let low = curve.f_hz.first().copied().unwrap_or(1.0);
    let high = curve.f_hz.last().copied().unwrap_or(100.0);
    let x = Axis::logarithmic(low, high);
    let heights = if format.is_wide() {
        [220.0, 180.0, 110.0, 84.0]
    } else {
        [180.0, 160.0, 100.0, 80.0]
    };
    let mut top = 10.0 + legend::height(&entries, width - 20.0) + 30.0;
    let mut place = |tall: f64, y: Axis| {
        let panel = Panel {
            left: 56.0,
            top,
            right: width - 14.0,
            bottom: top + tall,
            x,
            y,
        };
        top += tall + 32.0;
        panel
    };
    let magnitude = place(heights[0], magnitude_axis(curve));
    let phase = place(heights[1], phase_axis(curve));
    let delay = (curve.group_delay.f_hz.len() > 1).then(|| place(heights[2], delay_axis(curve)));
    let coherence = place(
        heights[3],
        Axis {
            spacing: 30.0,
            ..Axis::linear(0.0, 1.05, 30.0)
        },
    );
    let height = coherence.bottom + 50.0 + caption::height(&lines);

    let mut drawn = String::new();
    let mut canvas = Canvas::new(&mut drawn, width, height);
    legend::draw(&mut canvas, &entries, (10.0, 8.0), width - 20.0)?;
    let panels = [Some(&magnitude), Some(&phase), delay.as_ref(), Some(&coherence)];
    for panel in panels.into_iter().flatten() {
        panel.axes(&mut canvas, std::ptr::eq(panel, &coherence))?;
        resonance(&mut canvas, panel, curve)?;
    }
    magnitude.band(
        &mut canvas,
        &curve.f_hz,
        (&curve.gain_low_db, &curve.gain_high_db),
        (BLUE, 0.22),
    )?;
    for (level, stroke) in [(&curve.distortion_db, DISTORTION), (&curve.noise_db, NOISE)] {
        if let Some(level) = level {
            magnitude.curve(&mut canvas, &curve.f_hz, level, stroke)?;
        }
    }
    magnitude.curve(&mut canvas, &curve.f_hz, &curve.gain_db, MEASURED)?;
    limits(&mut canvas, &magnitude, curve)?;
    phase_curves(&mut canvas, &phase, curve)?;
    if let Some(panel) = &delay {
        group_delay(&mut canvas, panel, curve)?;
    }
    coherence.level(&mut canvas, curve.least_coherence, LIMIT)?;
    coherence.curve(&mut canvas, &curve.f_hz, &curve.coherence, MEASURED)?;
    magnitude.names(&mut canvas, "", "Magnitude, dB re 1 N·m/N·m")?;
    phase.names(&mut canvas, "", "Phase, degrees")?;
    let least = format!("Coherence (used from {})", plain(curve.least_coherence, 2));
    coherence.names(&mut canvas, "frequency, Hz", &least)?;
    caption::write(&mut canvas, &lines, 10.0, coherence.bottom + 48.0)?;
    canvas.close()?;
    let description = format!(
        "Magnitude, phase, group delay and coherence from setpoint to rim torque, {} to {} Hz. {}",
        plain(low, 3),
        plain(high, 3),
        lines.join(" · ")
    );
    Ok(finish(
        &drawn,
        width,
        height,
        "Frequency response, setpoint to rim torque",
        &description,
    ))
}

fn magnitude_axis(curve: &FrequencyCurve) -> Axis {
    let reference = curve.reference_db.into_iter().flat_map(|r| [r - 4.0, r + 4.0]);
    let levels = [&curve.distortion_db, &curve.noise_db];
    // What lies lower by far is as good as nothing.
    let shown = |db: &f64| *db > curve.gain_db.iter().copied().fold(f64::NEG_INFINITY, f64::max) - 70.0;
    let levels = levels.into_iter().flatten().flatten().copied().filter(shown);
    let all = curve.gain_db.iter().copied().chain(reference).chain(levels);
    let axis = Axis::around(all, 0.05, 34.0);
    // Deep notches and noise beyond the usable range would squeeze what matters.
    Axis {
        low: axis.low.max(axis.high - 70.0),
        ..axis
    }
}

fn phase_axis(curve: &FrequencyCurve) -> Axis {
    let bare = curve.phase_without_delay_deg.iter().flatten().copied();
    Axis::around(
        curve.phase_deg.iter().copied().chain(bare).chain([0.0]),
        0.05,
        34.0,
    )
}

fn delay_axis(curve: &FrequencyCurve) -> Axis {
    let ms = curve.group_delay.delay_s.iter().map(|s| 1e3 * s);
    Axis::around(ms.chain([0.0]), 0.05, 30.0)
}

/// Group delay with its band.
fn group_delay(canvas: &mut Canvas<'_>, panel: &Panel, curve: &FrequencyCurve) -> Result<(), PlotError> {
    let delay = &curve.group_delay;
    let edge = |sign: f64| -> Vec<f64> {
        let rows = delay.delay_s.iter().zip(&delay.band_s);
        rows.map(|(s, band)| 1e3 * (s + sign * band)).collect()
    };
    let ms: Vec<f64> = delay.delay_s.iter().map(|s| 1e3 * s).collect();
    panel.band(canvas, &delay.f_hz, (&edge(-1.0), &edge(1.0)), (BLUE, 0.22))?;
    panel.curve(canvas, &delay.f_hz, &ms, MEASURED)?;
    panel.names(canvas, "", "Group delay, ms")
}

/// Where the clamped wheelbase rings: its interval shaded, its centre a line.
fn resonance(canvas: &mut Canvas<'_>, panel: &Panel, curve: &FrequencyCurve) -> Result<(), PlotError> {
    let Some([low, centre, high]) = curve.resonance_hz else {
        return Ok(());
    };
    let px = |f: f64| panel.x_px(panel.x.clamp(f));
    canvas.block((px(low), panel.top), (px(high), panel.bottom), ORANGE, 0.30)?;
    panel.upright(canvas, centre, RESONANCE)
}

/// The levels of −3 dB and ±3 dB, and the frequencies where they are left.
fn limits(canvas: &mut Canvas<'_>, panel: &Panel, curve: &FrequencyCurve) -> Result<(), PlotError> {
    let Some(reference) = curve.reference_db else {
        return Ok(());
    };
    panel.level(canvas, reference + 3.0, BAND_LIMIT)?;
    panel.level(canvas, reference - 3.0, LIMIT)?;
    let marks = [
        (curve.flat_band_hz, "flat to", SOFT, 12.0),
        (curve.bandwidth_hz, "−3 dB at", VERMILION, 30.0),
    ];
    for (hz, name, colour, above) in marks {
        let Some(hz) = hz.filter(|hz| panel.x.holds(*hz)) else {
            continue;
        };
        let x = panel.x_px(hz);
        let y = panel.bottom - above;
        canvas.line(
            &[(x, panel.bottom), (x, panel.y_px(panel.y.clamp(reference)))],
            Stroke::solid(colour, 1.2),
        )?;
        let text = format!("{name} {} Hz", plain(hz, 3));
        canvas.text(&text, (x - 6.0, y), Lettering::new(INK, 12.0, Anchor::Right))?;
    }
    Ok(())
}

fn phase_curves(canvas: &mut Canvas<'_>, panel: &Panel, curve: &FrequencyCurve) -> Result<(), PlotError> {
    let shifted = |sign: f64| -> Vec<f64> {
        curve
            .phase_deg
            .iter()
            .zip(&curve.phase_band_deg)
            .map(|(p, b)| p + sign * b)
            .collect()
    };
    panel.band(canvas, &curve.f_hz, (&shifted(-1.0), &shifted(1.0)), (BLUE, 0.22))?;
    panel.curve(canvas, &curve.f_hz, &curve.phase_deg, MEASURED)?;
    match &curve.phase_without_delay_deg {
        Some(bare) => panel.curve(canvas, &curve.f_hz, bare, WITHOUT_DELAY),
        None => Ok(()),
    }
}
