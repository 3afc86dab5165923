//! Warming and cooling: temperature as measured and as the bodies fitted say, and torque over the same time.

use super::axis::Axis;
use super::canvas::{Canvas, Stroke, finish};
use super::legend::Sample;
use super::palette::{BLUE, GREEN, VERMILION};
use super::panel::Panel;
use super::{Format, PlotError, caption, legend};
use crate::fitting::{FitDocument, HeatCurve};

const MEASURED: Stroke = Stroke::solid(BLUE, 2.2);
const MODEL: Stroke = Stroke::solid(GREEN, 1.8).dashed(2.0, 3.0);
const COMMANDED: Stroke = Stroke::solid(VERMILION, 1.8).dashed(7.0, 4.0);

pub(crate) fn draw(document: &FitDocument, curve: &HeatCurve, format: Format) -> Result<String, PlotError> {
    let width = format.width();
    let mut entries = vec![(Sample::Line(MEASURED), "measured".to_owned())];
    if !curve.model_degc.is_empty() {
        entries.push((Sample::Line(MODEL), "bodies fitted".to_owned()));
    }
    entries.push((Sample::Line(COMMANDED), "torque commanded".to_owned()));
    let lines = caption::wrap(
        &caption::conditions_line(document, &curve.conditions, "hold"),
        width - 20.0,
    );
    let top = 10.0 + legend::height(&entries, width - 20.0) + 30.0;
    let t_min: Vec<f64> = curve.t_s.iter().map(|t| t / 60.0).collect();
    let time = Axis::linear(
        t_min.first().copied().unwrap_or(0.0),
        t_min.last().copied().unwrap_or(1.0),
        60.0,
    );
    let place = |top: f64, y: Axis| Panel {
        left: 56.0,
        top,
        right: width - 14.0,
        bottom: top + 170.0,
        x: time,
        y,
    };
    let all = curve.temperature_degc.iter().chain(&curve.model_degc).copied();
    let temperature = place(top, Axis::around(all, 0.05, 34.0));
    let all = curve.torque_nm.iter().chain(&curve.commanded_nm).copied();
    let torque = place(top + 242.0, Axis::around(all, 0.05, 34.0));
    let height = torque.bottom + 52.0 + caption::height(&lines);
    let mut drawn = String::new();
    let mut canvas = Canvas::new(&mut drawn, width, height);
    legend::draw(&mut canvas, &entries, (10.0, 8.0), width - 20.0)?;
    temperature.axes(&mut canvas, true)?;
    temperature.curve(&mut canvas, &t_min, &curve.temperature_degc, MEASURED)?;
    temperature.curve(&mut canvas, &t_min, &curve.model_degc, MODEL)?;
    temperature.names(&mut canvas, "time, min", "Temperature, °C")?;
    torque.axes(&mut canvas, true)?;
    torque.curve(&mut canvas, &t_min, &curve.commanded_nm, COMMANDED)?;
    torque.curve(&mut canvas, &t_min, &curve.torque_nm, MEASURED)?;
    torque.names(&mut canvas, "time, min", "Torque, N·m")?;
    caption::write(&mut canvas, &lines, 10.0, torque.bottom + 48.0)?;
    canvas.close()?;
    let description = format!(
        "Temperature and torque over the time of the run. {}",
        lines.join(" · ")
    );
    Ok(finish(&drawn, width, height, "Warming", &description))
}
