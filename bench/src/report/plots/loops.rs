//! Slow loops: torque over the twist between rotor and rim, and how stiff the drivetrain is by torque.

use super::axis::Axis;
use super::canvas::{Anchor, Canvas, Lettering, Stroke};
use super::legend::Sample;
use super::palette::{BLUE, GREEN, INK, ORANGE, VERMILION};
use super::panel::Panel;
use super::sheet::Sheet;
use super::{Format, PlotError, caption};
use crate::fitting::{FitDocument, LoopCurve, Measurand, Quantity};
use crate::report::words;

const LOOPS: Stroke = Stroke::solid(BLUE, 1.5);
const FLANK: Stroke = Stroke::solid(GREEN, 2.2).dashed(7.0, 4.0);
const GAP: Stroke = Stroke::solid(VERMILION, 4.0);
const LOST: Stroke = Stroke::solid(ORANGE, 2.4).dashed(3.0, 2.0);
const BY_TORQUE: Stroke = Stroke::solid(BLUE, 2.3);
const KNEE: Stroke = Stroke::solid(VERMILION, 1.8).dashed(10.0, 3.0);

/// Height of the marks of lost motion, as a share of the axis: the results stand below them.
const SHOWN_LOST: f64 = 0.35;

/// What is written within the panel of the loops, in this order.
const NAMED: [(Quantity, &str); 4] = [
    (Quantity::RangeStiffness, "stiffness"),
    (Quantity::Backlash, "backlash"),
    (Quantity::LostMotion, "lost motion"),
    (Quantity::Hysteresis, "hysteresis"),
];

pub(crate) fn draw(document: &FitDocument, curve: &LoopCurve, format: Format) -> Result<String, PlotError> {
    let value = |quantity| {
        let found = document.headline(quantity).and_then(Measurand::estimate);
        found.map(|e| (e.value, e.interval))
    };
    let (gap, lost) = (value(Quantity::Backlash), value(Quantity::LostMotion));
    let knee = value(Quantity::BeltKnee);
    let mut entries = vec![(Sample::Line(LOOPS), "loops".to_owned())];
    if !curve.flanks.is_empty() {
        entries.push((Sample::Line(FLANK), "line of the stiffness".to_owned()));
    }
    if gap.is_some() {
        entries.push((Sample::Line(GAP), "backlash".to_owned()));
    }
    if lost.is_some() {
        entries.push((Sample::Line(LOST), "lost motion".to_owned()));
    }
    if !curve.at_nm.is_empty() {
        entries.push((Sample::Line(BY_TORQUE), "stiffness by torque".to_owned()));
        entries.push((Sample::Area(BLUE, 0.22), "95 % interval".to_owned()));
    }
    if knee.is_some() {
        entries.push((Sample::Line(KNEE), "knee of the belt".to_owned()));
    }
    let conditions = caption::conditions_line(document, &curve.conditions, "slow loop");
    let sheet = Sheet::new(format, entries, &[conditions]);
    // Where the rotor stands against the rim is another at every clamping, so twist is counted from the middle.
    let middle = curve.middle_rad.unwrap_or(0.0);
    let from_middle = |a: f64| (a - middle).to_degrees();
    let degrees: Vec<f64> = curve.twist_rad.iter().map(|a| from_middle(*a)).collect();
    let [mut left, mut right] = sheet.pair(if format.is_wide() { 300.0 } else { 250.0 }, 0.52);
    let loops = left.next(
        Axis::around(degrees.iter().copied(), 0.06, 50.0),
        Axis::around(curve.torque_nm.iter().copied(), 0.08, 34.0),
    );
    let most = curve.at_nm.last().copied().unwrap_or(0.0);
    let by_torque = (most > 0.0).then(|| {
        let all = curve.stiffness.iter().map(|k| k[1]);
        let top = 1.3 * all.fold(0.0, f64::max);
        right.next(Axis::linear(0.0, 1.05 * most, 50.0), Axis::linear(0.0, top, 34.0))
    });
    let end = left.top.max(if by_torque.is_some() { right.top } else { 0.0 });
    let reading = "Torque over the twist between rotor and rim in slow loops, and stiffness by torque.";
    sheet.draw(end, ["Slow loops of the drivetrain", reading], |canvas| {
        loops.axes(canvas, true)?;
        let whole: Vec<_> = degrees
            .iter()
            .zip(&curve.torque_nm)
            .map(|(a, nm)| loops.at(*a, *nm))
            .collect();
        canvas.line(&super::path::thinned(whole, 0.5), LOOPS)?;
        for [a, b] in &curve.flanks {
            loops.curve(canvas, &[a[0], b[0]].map(from_middle), &[a[1], b[1]], FLANK)?;
        }
        if let Some((gap, _)) = gap {
            let ends = [-0.5 * gap, 0.5 * gap].map(f64::to_degrees);
            loops.curve(canvas, &ends, &[0.0, 0.0], GAP)?;
        }
        if let Some((lost, _)) = lost {
            let tall = SHOWN_LOST * loops.y.high;
            for x in [-0.5 * lost, 0.5 * lost].map(f64::to_degrees) {
                loops.curve(canvas, &[x, x], &[-tall, tall], LOST)?;
            }
        }
        labels(canvas, document, &loops)?;
        loops.names(canvas, "twist from the middle, °", "Torque, N·m")?;
        let Some(panel) = &by_torque else {
            return Ok(());
        };
        panel.axes(canvas, true)?;
        let of = |k: usize| -> Vec<f64> { curve.stiffness.iter().map(|s| s[k]).collect() };
        if let Some((value, [low, high])) = knee {
            let px = |nm: f64| panel.x_px(panel.x.clamp(nm));
            canvas.block((px(low), panel.top), (px(high), panel.bottom), VERMILION, 0.14)?;
            panel.upright(canvas, value, KNEE)?;
        }
        panel.band(canvas, &curve.at_nm, (&of(0), &of(2)), (BLUE, 0.22))?;
        panel.curve(canvas, &curve.at_nm, &of(1), BY_TORQUE)?;
        panel.names(canvas, "torque either way, N·m", "Stiffness, N·m/rad")
    })
}

/// The results in the corner that loops leave free: they rise to the right.
fn labels(canvas: &mut Canvas<'_>, document: &FitDocument, panel: &Panel) -> Result<(), PlotError> {
    let look = Lettering::new(INK, 12.0, Anchor::Right);
    let said: Vec<String> = NAMED
        .iter()
        .filter_map(|(quantity, name)| {
            let measurand = document.headline(*quantity)?;
            let said = words::reading(measurand).unwrap_or_else(|| "refused, see the table".into());
            Some(format!("{name} {said}"))
        })
        .collect();
    for (row, text) in said.iter().rev().enumerate() {
        canvas.text(
            text,
            (panel.right - 5.0, panel.bottom - 12.0 - 16.0 * row as f64),
            look,
        )?;
    }
    Ok(())
}
