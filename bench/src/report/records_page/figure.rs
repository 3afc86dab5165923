//! What every drawing here has in common: a figure for page and telephone, and marks that the filter finds.

use crate::report::plots::palette::RGBColor;
use crate::report::{PlotError, escape, plots::Format};
use quality::conformity::Limits;
use std::fmt::Write as _;

/// A mark of one row: a dot, or a diamond where something signals, so that a grey print tells them apart.
pub(super) fn mark(drawn: &mut String, row: usize, (x, y): (f64, f64), colour: RGBColor, signals: bool) {
    let shape = if signals {
        format!("M{:.1} {y:.1}l4.5 -4.5l4.5 4.5l-4.5 4.5z", x - 4.5)
    } else {
        format!("M{:.1} {y:.1}a1.9 1.9 0 1 0 3.8 0a1.9 1.9 0 1 0 -3.8 0z", x - 1.9)
    };
    let alpha = if signals { 1.0 } else { 0.62 };
    // Writing to a String cannot fail.
    let _ = writeln!(
        drawn,
        "<path data-row=\"{row}\" d=\"{shape}\" fill=\"{colour}\" fill-opacity=\"{alpha}\"/>"
    );
}

/// The ends of limits, those that there are.
pub(super) fn ends(limits: Option<&Limits>) -> Vec<f64> {
    limits
        .into_iter()
        .flat_map(|limits| [limits.lower(), limits.upper()])
        .flatten()
        .collect()
}

/// A figure, drawn for both formats.
pub(super) fn figure(
    id: &str,
    title: &str,
    reading: &str,
    draw: impl Fn(Format) -> Result<String, PlotError>,
) -> Result<String, PlotError> {
    Ok(format!(
        "<figure id=\"{id}\">\n<h3>{}</h3>\n<div class=\"wide\">{}</div>\n<div class=\"narrow\">{}</div>\n\
         <figcaption>{}</figcaption>\n</figure>\n",
        escape(title),
        draw(Format::Wide)?,
        draw(Format::Narrow)?,
        escape(reading)
    ))
}

/// A number with about three digits, as people write it.
pub(super) fn number(value: f64) -> String {
    if !value.is_finite() {
        return "–".into();
    }
    let places = if value.abs() < f64::MIN_POSITIVE {
        0
    } else {
        (2.0 - value.abs().log10().floor()).clamp(0.0, 5.0) as usize
    };
    format!("{value:.places$}").replace('-', "−")
}

/// A probability: small ones as a bound.
pub(super) fn chance(p: f64) -> String {
    if p < 1e-4 {
        "< 0.0001".into()
    } else {
        format!("{p:.4}")
    }
}

/// With a capital at its beginning.
pub(super) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters
        .next()
        .map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
