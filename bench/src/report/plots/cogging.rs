//! Torque over the angle both ways, what both share, and its orders with their names.

use super::axis::Axis;
use super::canvas::{Anchor, Canvas, Lettering, Stroke};
use super::legend::Sample;
use super::palette::{BLUE, GREEN, INK, VERMILION};
use super::panel::Panel;
use super::sheet::Sheet;
use super::{Format, PlotError, caption};
use crate::fitting::{CoggingCurve, FitDocument, OrderMark, plain};
use crate::report::table::shortened;

const POSITIVE: Stroke = Stroke::solid(BLUE, 1.3);
const NEGATIVE: Stroke = Stroke::solid(VERMILION, 1.3).dashed(6.0, 2.0);
const SHARED: Stroke = Stroke::solid(GREEN, 1.4);
const SPECTRUM: Stroke = Stroke::solid(BLUE, 1.0);
const LINE: Stroke = Stroke::solid(VERMILION, 3.0);
const BAR: Stroke = Stroke::solid(INK, 1.3);
/// Lowest order shown.
const LOWEST: f64 = 0.5;
/// Height of a label and width of its letters, px.
const LABEL: (f64, f64) = (15.0, 6.6);

pub(crate) fn draw(
    document: &FitDocument,
    curve: &CoggingCurve,
    format: Format,
) -> Result<String, PlotError> {
    let mut entries = vec![
        (Sample::Line(POSITIVE), "turned the positive way".to_owned()),
        (Sample::Line(NEGATIVE), "turned the negative way".to_owned()),
        (Sample::Line(SHARED), "half the sum".to_owned()),
    ];
    if !curve.order.is_empty() {
        entries.push((Sample::Line(SPECTRUM), "spectrum of that".to_owned()));
    }
    if !curve.lines.is_empty() {
        entries.push((Sample::Line(LINE), "orders that stand out".to_owned()));
        entries.push((Sample::Line(BAR), "their 95 % interval".to_owned()));
    }
    let conditions = format!(
        "{} · {} rad/s",
        caption::conditions_line(document, &curve.conditions, "turn"),
        plain(curve.speed_rad_s, 2)
    );
    let sheet = Sheet::new(format, entries, &[conditions]);
    let milli = |list: &[f64]| -> Vec<f64> { list.iter().map(|nm| 1e3 * nm).collect() };
    let (up, down) = (milli(&curve.positive_nm), milli(&curve.negative_nm));
    let shared: Vec<f64> = up.iter().zip(&down).map(|(a, b)| 0.5 * (a + b)).collect();
    let degrees: Vec<f64> = curve.angle_rad.iter().map(|a| a.to_degrees()).collect();
    let mut column = sheet.column(if format.is_wide() { 190.0 } else { 170.0 });
    let angle = Axis::linear(
        degrees.first().copied().unwrap_or(0.0),
        degrees.last().copied().unwrap_or(360.0),
        50.0,
    );
    let ways = column.next(angle, Axis::around(up.iter().chain(&down).copied(), 0.06, 34.0));
    let sum = column.next(angle, Axis::around(shared.iter().copied(), 0.08, 34.0));
    let orders = (!(curve.order.is_empty() && curve.lines.is_empty())).then(|| {
        let known = curve.lines.iter().map(|line| line.order);
        let highest = known.chain(curve.order.iter().copied()).fold(2.0, f64::max);
        let tops = curve.lines.iter().map(|line| 1e3 * line.amplitude_nm[2]);
        let top = tops.chain(milli(&curve.amplitude_nm)).fold(1e-3, f64::max);
        column.next(
            Axis::logarithmic(LOWEST, 1.1 * highest),
            Axis::linear(0.0, 1.45 * top, 34.0),
        )
    });
    let reading =
        "Torque over the angle of the rim both ways, what both ways share, and its orders by amplitude.";
    sheet.draw(column.top, ["Torque over the angle", reading], |canvas| {
        ways.axes(canvas, true)?;
        ways.curve(canvas, &degrees, &up, POSITIVE)?;
        ways.curve(canvas, &degrees, &down, NEGATIVE)?;
        ways.names(canvas, "angle of the rim, °", "Torque to turn it, mN·m")?;
        sum.axes(canvas, true)?;
        sum.curve(canvas, &degrees, &shared, SHARED)?;
        sum.names(canvas, "angle of the rim, °", "Half the sum of both ways, mN·m")?;
        match &orders {
            Some(panel) => spectrum(canvas, panel, curve, format),
            None => Ok(()),
        }
    })
}

fn spectrum(
    canvas: &mut Canvas<'_>,
    panel: &Panel,
    curve: &CoggingCurve,
    format: Format,
) -> Result<(), PlotError> {
    panel.axes(canvas, true)?;
    let amplitude: Vec<f64> = curve.amplitude_nm.iter().map(|nm| 1e3 * nm).collect();
    panel.curve(canvas, &curve.order, &amplitude, SPECTRUM)?;
    for line in &curve.lines {
        let [low, value, high] = line.amplitude_nm.map(|nm| 1e3 * nm);
        panel.curve(canvas, &[line.order; 2], &[0.0, value], LINE)?;
        panel.curve(canvas, &[line.order; 2], &[low, high], BAR)?;
    }
    for (text, at, anchor) in labels(panel, &curve.lines, if format.is_wide() { 30 } else { 20 }) {
        canvas.text(&text, at, Lettering::new(INK, 12.0, anchor))?;
    }
    panel.names(canvas, "order, periods a turn of the rim", "Amplitude, mN·m")
}

/// Names of orders above their lines, the largest first, each moved up until it meets no other; what finds no place is left to the
/// table.
fn labels(panel: &Panel, lines: &[OrderMark], most: usize) -> Vec<(String, (f64, f64), Anchor)> {
    let mut by_size: Vec<&OrderMark> = lines.iter().filter(|line| panel.x.holds(line.order)).collect();
    by_size.sort_by(|a, b| b.amplitude_nm[1].total_cmp(&a.amplitude_nm[1]));
    let mut taken: Vec<[f64; 4]> = Vec::new();
    let mut placed = Vec::new();
    for line in by_size {
        let name = if line.name.is_empty() {
            "not declared"
        } else {
            &line.name
        };
        let text = format!("{} {}", plain(line.order, 4), shortened(name, most));
        let wide = LABEL.1 * text.chars().count() as f64;
        let x = panel.x_px(line.order);
        let (anchor, left) = if x + wide > panel.right {
            (Anchor::Right, x - wide)
        } else {
            (Anchor::Left, x)
        };
        let mut y = panel.y_px(panel.y.clamp(1e3 * line.amplitude_nm[2])) - 0.6 * LABEL.0;
        while y > panel.top + 0.5 * LABEL.0 {
            let own = [left, y - 0.5 * LABEL.0, left + wide, y + 0.5 * LABEL.0];
            let meets = |b: &[f64; 4]| own[0] < b[2] && b[0] < own[2] && own[1] < b[3] && b[1] < own[3];
            if left >= panel.left && !taken.iter().any(meets) {
                taken.push(own);
                placed.push((text, (x, y), anchor));
                break;
            }
            y -= 3.0;
        }
    }
    placed
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_do_not_meet_and_the_largest_is_always_named() {
        let panel = Panel {
            left: 56.0,
            top: 100.0,
            right: 386.0,
            bottom: 270.0,
            x: Axis::logarithmic(0.5, 600.0),
            y: Axis::linear(0.0, 60.0, 34.0),
        };
        let line = |order: f64, nm: f64| OrderMark {
            order,
            name: "poles (uneven slots)".into(),
            amplitude_nm: [0.9 * nm, nm, 1.1 * nm],
        };
        let lines = [
            line(90.0, 0.03),
            line(108.0, 0.03),
            line(144.0, 0.02),
            line(540.0, 0.04),
            line(1.0, 0.01),
        ];
        let found = labels(&panel, &lines, 20);
        assert!(found[0].0.starts_with("540 ") && found[0].2 == Anchor::Right);
        assert!(found.len() >= 4, "{found:?}");
        for (k, (_, a, _)) in found.iter().enumerate() {
            assert!(a.1 > panel.top && a.1 < panel.bottom);
            for (_, b, _) in &found[k + 1..] {
                assert!(
                    (a.1 - b.1).abs() >= 14.9 || (a.0 - b.0).abs() > 100.0,
                    "{found:?}"
                );
            }
        }
    }
}
