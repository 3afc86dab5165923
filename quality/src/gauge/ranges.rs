//! Crossed study by averages and ranges: for paper and pencil, and as a check on the analysis of variance.

use super::crossed::range;
use super::{Component, Crossed, Variation};
use crate::Refusal;
use crate::charts::{constants, range_of_means};
use serde::Serialize;

/// What the method of averages and ranges starts from.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct RangeSummary {
    /// Mean of the ranges of all cells.
    pub mean_range: f64,
    /// Range of the operators' means.
    pub operator_range: f64,
    /// Range of the parts' means.
    pub part_range: f64,
    /// How many parts.
    pub parts: usize,
    /// How many operators.
    pub operators: usize,
    /// How many repeats each.
    pub repeats: usize,
}

fn component(variance: f64) -> Component {
    Component {
        variance: variance.max(0.0),
        interval: None,
    }
}

/// Repeatability R̄/d2(repeats), operators √((range/d2*)² − EV²/(parts·repeats)), parts range/d2* (average and range method
/// of gauge studies; d2* after Duncan). It cannot see an interaction, and has no intervals.
///
/// # Errors
/// [`Refusal::OutOfRange`] for counts without constants (2 to 50) or a mean range that is not positive,
/// [`Refusal::NonFinite`].
pub fn study_of_ranges(summary: &RangeSummary) -> Result<Variation, Refusal> {
    Refusal::unless_positive("the mean range", summary.mean_range)?;
    Refusal::unless_finite("the ranges", &[summary.operator_range, summary.part_range])?;
    let within = (summary.mean_range / constants(summary.repeats)?.d2).powi(2);
    let between = (summary.operator_range / range_of_means(summary.operators, 1)?).powi(2);
    let operator = (between - within / (summary.parts * summary.repeats) as f64).max(0.0);
    let part = (summary.part_range / range_of_means(summary.parts, 1)?).powi(2);
    Ok(Variation {
        repeatability: component(within),
        operator: component(operator),
        interaction: component(0.0),
        reproducibility: component(operator),
        gauge: component(within + operator),
        part: component(part),
        total: component(within + operator + part),
    })
}

/// [`study_of_ranges`] of the values of a study.
///
/// # Errors
/// As there.
pub fn study_by_ranges(values: &Crossed) -> Result<Variation, Refusal> {
    let ranges: Vec<f64> = values.cells().map(range).collect();
    study_of_ranges(&RangeSummary {
        mean_range: ranges.iter().sum::<f64>() / ranges.len() as f64,
        operator_range: range(&values.operator_means()),
        part_range: range(&values.part_means()),
        parts: values.parts(),
        operators: values.operators(),
        repeats: values.repeats(),
    })
}
