//! End stops: the torque that presses a free rim onto each over its angle, and the spring that was fitted.

use super::axis::Axis;
use super::canvas::{Anchor, Lettering, Stroke};
use super::legend::Sample;
use super::palette::{BLUE, GREEN, INK, ORANGE};
use super::sheet::Sheet;
use super::{Format, PlotError, caption};
use crate::fitting::{FitDocument, Quantity, StopCurve};
use crate::report::words;

const PRESSES: Stroke = Stroke::solid(BLUE, 1.4);
const SPRING: Stroke = Stroke::solid(GREEN, 2.2).dashed(7.0, 4.0);
const CONTACT: Stroke = Stroke::solid(ORANGE, 2.2).dashed(3.0, 2.0);

pub(crate) fn draw(
    document: &FitDocument,
    curves: &[StopCurve],
    format: Format,
) -> Result<String, PlotError> {
    let entries = vec![
        (Sample::Line(PRESSES), "presses".to_owned()),
        (Sample::Line(SPRING), "the stop's own spring".to_owned()),
        (Sample::Line(CONTACT), "contact".to_owned()),
        (Sample::Area(ORANGE, 0.22), "its 95 % interval".to_owned()),
    ];
    let conditions = curves.first().map_or(String::new(), |first| {
        caption::conditions_line(document, &first.conditions, "press")
    });
    let sheet = Sheet::new(format, entries, &[conditions]);
    let mut columns = sheet.pair(if format.is_wide() { 260.0 } else { 220.0 }, 0.5);
    // From left to right as the rim turns.
    let mut shown: Vec<&StopCurve> = curves.iter().collect();
    shown.sort_by(|a, b| a.contact_rad[1].total_cmp(&b.contact_rad[1]));
    let mut panels = Vec::new();
    let mut end = sheet.top;
    let beside = format.is_wide();
    for (place, curve) in shown.into_iter().enumerate() {
        let column = &mut columns[if beside { place.min(1) } else { 0 }];
        let degrees = curve.angle_rad.iter().chain(&curve.contact_rad);
        let panel = column.next(
            Axis::around(degrees.map(|a| a.to_degrees()), 0.06, 62.0),
            Axis::around(curve.torque_nm.iter().copied().chain([0.0]), 0.08, 34.0),
        );
        end = end.max(column.top);
        panels.push((curve, panel));
    }
    let said = [(Quantity::Travel, "travel"), (Quantity::TravelCentre, "centre")]
        .into_iter()
        .filter_map(|(quantity, name)| {
            let reading = document.headline(quantity).and_then(words::reading)?;
            Some(format!("{name} {reading}"))
        })
        .collect::<Vec<_>>();
    let reading = "Torque that presses a free rim onto its end stops, over the angle of the rim.";
    sheet.draw(end, ["End stops", reading], |canvas| {
        for (place, (curve, panel)) in panels.iter().enumerate() {
            panel.axes(canvas, true)?;
            let [low, contact, high] = curve.contact_rad.map(f64::to_degrees);
            let px = |degrees: f64| panel.x_px(panel.x.clamp(degrees));
            canvas.block((px(low), panel.top), (px(high), panel.bottom), ORANGE, 0.22)?;
            panel.upright(canvas, contact, CONTACT)?;
            let presses = curve.angle_rad.iter().zip(&curve.torque_nm);
            let presses: Vec<_> = presses.map(|(a, nm)| panel.at(a.to_degrees(), *nm)).collect();
            canvas.line(&super::path::thinned(presses, 0.5), PRESSES)?;
            let deepest = curve.angle_rad.iter().copied().max_by(|a, b| {
                (a - curve.contact_rad[1])
                    .abs()
                    .total_cmp(&(b - curve.contact_rad[1]).abs())
            });
            if let Some(deepest) = deepest {
                let held = curve.stiffness_nm_per_rad * (deepest - curve.contact_rad[1]);
                panel.curve(canvas, &[contact, deepest.to_degrees()], &[0.0, held], SPRING)?;
            }
            let stiffness = document
                .measurands
                .iter()
                .find(|m| m.quantity == Quantity::StopStiffness && m.group == curve.group)
                .and_then(words::reading);
            let mut lines: Vec<String> = stiffness.map(|k| format!("stiffness {k}")).into_iter().collect();
            lines.extend(said.iter().filter(|_| place == 0).cloned());
            // Torque rises along the angle: the corner below on the right is free.
            for (row, line) in lines.iter().rev().enumerate() {
                let up = 12.0 + 16.0 * row as f64;
                let look = Lettering::new(INK, 12.0, Anchor::Right);
                canvas.text(line, (panel.right - 8.0, panel.bottom - up), look)?;
            }
            panel.names(
                canvas,
                "angle of the rim, °",
                &format!("Torque, N·m: {}", curve.group),
            )?;
        }
        Ok(())
    })
}
