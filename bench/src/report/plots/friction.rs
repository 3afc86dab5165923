//! Friction over speed: both directions, and the mean of both on a logarithmic axis, each with the fitted curve.

use super::axis::Axis;
use super::canvas::Stroke;
use super::legend::Sample;
use super::palette::{BLUE, GREEN, ORANGE};
use super::sheet::Sheet;
use super::{Format, PlotError, caption};
use crate::fitting::{FitDocument, FrictionCurve};

const MODEL: Stroke = Stroke::solid(GREEN, 2.2).dashed(7.0, 4.0);
const BAR: Stroke = Stroke::solid(BLUE, 1.4);
const AS_MEASURED: Stroke = Stroke::solid(ORANGE, 1.6).dashed(2.0, 3.0);

pub(crate) fn draw(
    document: &FitDocument,
    curve: &FrictionCurve,
    format: Format,
) -> Result<String, PlotError> {
    let mut entries = vec![
        (Sample::Area(BLUE, 0.9), "measured".to_owned()),
        (Sample::Line(BAR), "its 95 % interval".to_owned()),
    ];
    if !curve.model_rad_s.is_empty() {
        entries.push((Sample::Line(MODEL), "fitted curve".to_owned()));
    }
    entries.push((Sample::Line(AS_MEASURED), "with what ringing costs".to_owned()));
    let conditions = caption::conditions_line(document, &curve.conditions, "turn");
    let sheet = Sheet::new(format, entries, &[conditions]);
    let [mut left, mut right] = sheet.pair(if format.is_wide() { 270.0 } else { 220.0 }, 0.5);
    let fastest = 1.06 * curve.speed_rad_s.iter().copied().fold(0.0, f64::max);
    let slowest = curve.speed_rad_s.iter().copied().fold(f64::INFINITY, f64::min);
    let half =
        |up: &[f64], down: &[f64]| -> Vec<f64> { up.iter().zip(down).map(|(a, b)| 0.5 * (a - b)).collect() };
    let friction = half(&curve.positive_nm, &curve.negative_nm);
    let model = half(&curve.model_positive_nm, &curve.model_negative_nm);
    let lists = [
        &curve.positive_nm,
        &curve.negative_nm,
        &curve.model_positive_nm,
        &curve.model_negative_nm,
    ];
    let both = left.next(
        Axis::linear(-fastest, fastest, 50.0),
        Axis::around(lists.into_iter().flatten().copied().chain([0.0]), 0.08, 34.0),
    );
    let bars = friction
        .iter()
        .zip(&curve.band_nm)
        .flat_map(|(nm, u)| [nm - u, nm + u]);
    let mean = right.next(
        Axis::logarithmic(0.6 * slowest, fastest),
        Axis::around(
            bars.chain(model.iter().copied())
                .chain(curve.as_measured_nm.iter().copied()),
            0.12,
            34.0,
        ),
    );
    let reading =
        "Torque that turns the wheelbase steadily over the speed of the rim, with the fitted curve.";
    sheet.draw(right.top, ["Friction over speed", reading], |canvas| {
        both.axes(canvas, true)?;
        both.upright(canvas, 0.0, Stroke::solid(super::palette::SOFT, 1.0))?;
        both.level(canvas, 0.0, Stroke::solid(super::palette::SOFT, 1.0))?;
        for (sign, model, own) in [
            (1.0, &curve.model_positive_nm, &curve.positive_nm),
            (-1.0, &curve.model_negative_nm, &curve.negative_nm),
        ] {
            let speeds: Vec<f64> = curve.model_rad_s.iter().map(|v| sign * v).collect();
            both.curve(canvas, &speeds, model, MODEL)?;
            for ((v, nm), u) in curve.speed_rad_s.iter().zip(own).zip(&curve.band_nm) {
                both.point(canvas, (sign * v, *nm), (nm - u, nm + u), (BLUE, BAR))?;
            }
        }
        both.names(canvas, "speed of the rim, rad/s", "Torque to turn it, N·m")?;
        mean.axes(canvas, true)?;
        mean.curve(canvas, &curve.speed_rad_s, &curve.as_measured_nm, AS_MEASURED)?;
        mean.curve(canvas, &curve.model_rad_s, &model, MODEL)?;
        for ((v, nm), u) in curve.speed_rad_s.iter().zip(&friction).zip(&curve.band_nm) {
            mean.point(canvas, (*v, *nm), (nm - u, nm + u), (BLUE, BAR))?;
        }
        mean.names(canvas, "speed either way, rad/s", "Mean of both ways, N·m")
    })
}
