//! A comparison as people look at it: a table for the terminal, curves over one another, one page.

mod forest;
mod overlay;
mod page;
mod table;
#[cfg(test)]
mod tests;
mod write;

pub use overlay::overlays;
pub use page::comparison_page;
pub use table::comparison_table;
pub use write::write_comparison;

use super::plots::canvas::Stroke;
use super::plots::palette::{BLUE, GREEN, ORANGE, RGBColor, VERMILION};

/// How the curves of the groups look, told apart by dash as well as by colour; from the fifth on they begin again.
const LOOKS: [(RGBColor, Option<(f64, f64)>); 4] = [
    (BLUE, None),
    (VERMILION, Some((7.0, 3.0))),
    (GREEN, Some((2.0, 2.0))),
    (ORANGE, Some((11.0, 3.0))),
];

/// The line of a group.
fn stroke(group: usize) -> Stroke {
    let (colour, dash) = LOOKS[group % LOOKS.len()];
    let solid = Stroke::solid(colour, 2.0);
    match dash {
        Some((on, off)) => solid.dashed(on, off),
        None => solid,
    }
}

/// The band of a group.
fn tint(group: usize) -> (RGBColor, f64) {
    (
        LOOKS[group % LOOKS.len()].0,
        0.12 + 0.001 * (group % LOOKS.len()) as f64,
    )
}
