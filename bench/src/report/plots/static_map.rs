//! The static map: torque over command both ways, and what it differs from its line by.

use super::axis::Axis;
use super::canvas::{Canvas, Stroke, finish};
use super::legend::Sample;
use super::palette::{BLUE, GREEN, VERMILION};
use super::panel::Panel;
use super::{Format, PlotError, caption, legend};
use crate::fitting::{FitDocument, StaticMapCurve};

const RISING: Stroke = Stroke::solid(BLUE, 2.0);
const FALLING: Stroke = Stroke::solid(VERMILION, 2.0).dashed(7.0, 4.0);
const LINE: Stroke = Stroke::solid(GREEN, 1.4).dashed(2.0, 3.0);

pub(crate) fn draw(
    document: &FitDocument,
    curve: &StaticMapCurve,
    format: Format,
) -> Result<String, PlotError> {
    let width = format.width();
    let number = |list: &[Option<f64>]| -> Vec<f64> { list.iter().map(|v| v.unwrap_or(f64::NAN)).collect() };
    let (x, rising, falling) = (
        &curve.command_nm,
        number(&curve.rising_nm),
        number(&curve.falling_nm),
    );
    let (gain, offset) = (curve.gain.unwrap_or(1.0), curve.offset_nm.unwrap_or(0.0));
    let line: Vec<f64> = x.iter().map(|u| offset + gain * u).collect();
    let rest = |torque: &[f64]| -> Vec<f64> { torque.iter().zip(&line).map(|(t, l)| t - l).collect() };
    let (up, down) = (rest(&rising), rest(&falling));
    let entries = vec![
        (Sample::Line(RISING), "on the way up".to_owned()),
        (Sample::Line(FALLING), "on the way down".to_owned()),
        (Sample::Line(LINE), "line of the gain".to_owned()),
    ];
    let lines = caption::wrap(
        &caption::conditions_line(document, &curve.conditions, "staircase"),
        width - 20.0,
    );
    let top = 10.0 + legend::height(&entries, width - 20.0) + 30.0;
    let (left, tall) = (52.0, 230.0);
    let command = Axis::around(x.iter().copied(), 0.03, 55.0);
    let torque = Axis::around(rising.iter().chain(&falling).copied(), 0.05, 32.0);
    let apart = Axis::around(up.iter().chain(&down).copied().chain([0.0]), 0.08, 32.0);
    let place = |left, top, right, y| Panel {
        left,
        top,
        right,
        bottom: top + tall,
        x: command,
        y,
    };
    let (map, residual) = if format.is_wide() {
        let split = left + 0.48 * (width - 2.0 * left - 24.0);
        (
            place(left, top, split, torque),
            place(split + 70.0, top, width - 12.0, apart),
        )
    } else {
        (
            place(left, top, width - 12.0, torque),
            place(left, top + tall + 78.0, width - 12.0, apart),
        )
    };
    let height = residual.bottom + 50.0 + caption::height(&lines);
    let mut drawn = String::new();
    let mut canvas = Canvas::new(&mut drawn, width, height);
    legend::draw(&mut canvas, &entries, (10.0, 8.0), width - 20.0)?;
    map.axes(&mut canvas, true)?;
    map.curve(&mut canvas, x, &line, LINE)?;
    map.curve(&mut canvas, x, &rising, RISING)?;
    map.curve(&mut canvas, x, &falling, FALLING)?;
    residual.axes(&mut canvas, true)?;
    residual.level(&mut canvas, 0.0, LINE)?;
    residual.curve(&mut canvas, x, &up, RISING)?;
    residual.curve(&mut canvas, x, &down, FALLING)?;
    map.names(&mut canvas, "command, N·m", "Torque, N·m")?;
    residual.names(&mut canvas, "command, N·m", "Torque less the line, N·m")?;
    caption::write(&mut canvas, &lines, 10.0, residual.bottom + 48.0)?;
    canvas.close()?;
    let description = format!(
        "Steady torque over {} commands on the way up and on the way down, and both less the line of the gain. {}",
        x.len(),
        lines.join(" · ")
    );
    Ok(finish(&drawn, width, height, "Static map", &description))
}
