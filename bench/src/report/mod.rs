//! What people look at, made from a fit document alone: a table for the terminal, SVG plots, one HTML page.
//!
//! What is rendered is reported; what is felt is not claimed. There is no score.

mod comparison;
mod escape;
mod html;
mod plots;
pub mod records_page;
#[cfg(test)]
pub(crate) mod sample;
#[cfg(test)]
mod sample_driver;
#[cfg(test)]
mod sample_drivetrain;
mod table;
mod tables;
#[cfg(test)]
mod tests;
mod verdict;
mod words;
mod write;

pub use comparison::{comparison_page, comparison_table, overlays, write_comparison};
pub use escape::escape;
pub use html::html;
pub use plots::{Plot, PlotError, plots};
pub use table::table;
pub use verdict::{Verdict, with_verdict, without_verdict};
pub use write::{ReportError, write_fit, write_report};
