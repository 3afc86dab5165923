//! The line under each plot: under which conditions it holds.

use super::PlotError;
use super::canvas::{Anchor, Canvas, Lettering};
use super::palette::SOFT;
use crate::fitting::{Conditions, FitDocument, Quantity};
use crate::report::words;

/// Size of the letters, px.
const SIZE: f64 = 12.0;
/// Distance of lines, px.
const LINE: f64 = 16.0;

/// Mountings without a spring to ground.
const HELD_BY_NOTHING: [&str; 2] = ["free", "back-driven"];

/// Mounting, amplitude, preload, temperature, n, rig resonance.
pub(crate) fn conditions_line(document: &FitDocument, conditions: &Conditions, kind: &str) -> String {
    let mut parts = vec![
        words::or_unknown(&conditions.mounting, "mounting not stated"),
        words::excitation(conditions, kind),
        words::temperature(conditions),
        format!("n = {}", conditions.n),
        words::rig_spring(conditions.rig_spring_nm_per_rad),
    ];
    if HELD_BY_NOTHING.contains(&conditions.mounting.as_str()) {
        parts.truncate(4);
        parts.push("rim not held, so no resonance on the rig's spring".into());
        return parts.join(" · ");
    }
    parts.push(
        match document.headline(Quantity::Resonance).and_then(words::reading) {
            Some(reading) => format!("rings clamped on this rig at {reading}"),
            None => "clamped resonance on this rig not known".into(),
        },
    );
    parts.join(" · ")
}

/// Lines of at most `width` px; letters are taken as 0.53 of their height wide.
pub(crate) fn wrap(text: &str, width: f64) -> Vec<String> {
    let most = ((width / (0.53 * SIZE)) as usize).max(10);
    let mut lines: Vec<String> = Vec::new();
    for part in text.split(" · ") {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 3 + part.chars().count() <= most => {
                line.push_str(" · ");
                line.push_str(part);
            }
            _ => lines.push(part.into()),
        }
    }
    lines
}

/// Height that `lines` take, px.
pub(crate) fn height(lines: &[String]) -> f64 {
    LINE * lines.len() as f64 + 6.0
}

/// Writes the lines from `top` down.
pub(crate) fn write(canvas: &mut Canvas<'_>, lines: &[String], left: f64, top: f64) -> Result<(), PlotError> {
    for (i, line) in lines.iter().enumerate() {
        let at = (left, top + LINE * (i as f64 + 0.5));
        canvas.text(line, at, Lettering::new(SOFT, SIZE, Anchor::Left))?;
    }
    Ok(())
}
