//! Crossed study by analysis of variance.

use super::intervals::{Mean, intervals};
use super::{Component, Crossed, Variation};
use crate::distributions::fisher_above;
use crate::{Interval, Refusal};
use serde::Serialize;

/// How a study is evaluated.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Settings {
    /// Interaction with a p-value above this is pooled with repeatability; 0.25 is usual.
    pub pooling_alpha: f64,
    /// Probability of the intervals.
    pub level: f64,
    /// Draws that the intervals rest on.
    pub draws: usize,
    /// Their seed.
    pub seed: u64,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            pooling_alpha: 0.25,
            level: 0.95,
            draws: 4000,
            seed: 1,
        }
    }
}

/// A line of the table of variance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Source {
    /// Sum of squares.
    pub squares: f64,
    /// Degrees of freedom.
    pub dof: f64,
    /// Mean square.
    pub mean_square: f64,
    /// Ratio to the line it is tested against; `None` for repeatability.
    pub f: Option<f64>,
    /// Probability of a ratio at least as large without an effect.
    pub p: Option<f64>,
}

/// What a study found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GaugeStudy {
    /// Parts, tested against interaction, or against repeatability where that was pooled.
    pub parts: Source,
    /// Operators, tested likewise.
    pub operators: Source,
    /// Interaction, tested against repeatability before pooling.
    pub interaction: Source,
    /// Repeatability, with the interaction where that was pooled.
    pub repeatability: Source,
    /// Whether the interaction was pooled.
    pub pooled: bool,
    /// Sources of variation with intervals.
    pub variation: Variation,
    /// Interval of the gauge's share of the standard deviation, per cent.
    pub percent_study: Interval,
    /// Interval of √2 σ(part)/σ(gauge).
    pub category_ratio: Interval,
}

fn source(squares: f64, dof: f64) -> Source {
    Source {
        squares,
        dof,
        mean_square: squares / dof,
        f: None,
        p: None,
    }
}

fn tested(line: Source, against: &Source) -> Source {
    let f = line.mean_square / against.mean_square;
    Source {
        f: Some(f),
        p: Some(fisher_above(f, [line.dof, against.dof])),
        ..line
    }
}

/// Two-way analysis of variance with random parts and operators; variances from the expected mean squares (Montgomery,
/// Design and Analysis of Experiments, 13.3), zero where an estimate falls below. Intervals: repeatability by chi-square,
/// the rest by generalised pivotal quantities (Hamada and Weerahandi, Journal of Quality Technology 32, 2000).
///
/// # Errors
/// [`Refusal::OutOfRange`] for the settings.
pub fn study(values: &Crossed, settings: &Settings) -> Result<GaugeStudy, Refusal> {
    Refusal::unless_within("alpha of pooling", settings.pooling_alpha, 0.0, 1.0)?;
    Refusal::unless_probability("the level", settings.level)?;
    Refusal::unless_within("the number of draws", settings.draws as f64, 500.0, 1e6)?;
    let [p, o, r] = [values.parts(), values.operators(), values.repeats()].map(|n| n as f64);
    let grand = values.mean();
    let (part_means, operator_means, cell_means) =
        (values.part_means(), values.operator_means(), values.cell_means());
    let about_grand = |means: &[f64]| means.iter().map(|m| (m - grand).powi(2)).sum::<f64>();
    let crossed: f64 = cell_means
        .iter()
        .enumerate()
        .map(|(i, m)| {
            let (part, operator) = (i / values.operators(), i % values.operators());
            (m - part_means[part] - operator_means[operator] + grand).powi(2)
        })
        .sum();
    let within: f64 = values
        .cells()
        .zip(&cell_means)
        .map(|(cell, mean)| cell.iter().map(|v| (v - mean).powi(2)).sum::<f64>())
        .sum();
    let mut repeatability = source(within, p * o * (r - 1.0));
    let interaction = tested(source(r * crossed, (p - 1.0) * (o - 1.0)), &repeatability);
    let pooled = interaction.p.is_none_or(|p| p > settings.pooling_alpha);
    if pooled {
        repeatability = source(
            repeatability.squares + interaction.squares,
            repeatability.dof + interaction.dof,
        );
    }
    let against = if pooled { repeatability } else { interaction };
    let parts = tested(source(o * r * about_grand(&part_means), p - 1.0), &against);
    let operators = tested(source(p * r * about_grand(&operator_means), o - 1.0), &against);
    let mean = |s: &Source| Mean {
        square: s.mean_square,
        dof: s.dof,
    };
    let crossed = (!pooled).then(|| mean(&interaction));
    let squares = [mean(&parts), mean(&operators), mean(&repeatability)];
    let all = |squares: [f64; 3], interaction: Option<f64>| split(squares, interaction, [p, o, r]);
    let point = all(squares.map(|m| m.square), crossed.map(|m| m.square));
    let ends = intervals(squares, crossed, settings, all);
    let component = |i: usize| Component {
        variance: point[i],
        interval: Some(ends[i]),
    };
    Ok(GaugeStudy {
        parts,
        operators,
        interaction,
        repeatability,
        pooled,
        variation: Variation {
            repeatability: component(REPEATABILITY),
            operator: component(1),
            interaction: component(2),
            reproducibility: component(3),
            gauge: component(GAUGE),
            part: component(PART),
            total: component(TOTAL),
        },
        percent_study: ends[7],
        category_ratio: ends[8],
    })
}

/// Places in what [`split`] gives.
const REPEATABILITY: usize = 0;
const GAUGE: usize = 4;
const PART: usize = 5;
const TOTAL: usize = 6;

/// Variances from mean squares of parts, operators, repeatability and, unless pooled, interaction: repeatability, operator,
/// interaction, reproducibility, gauge, part, total; then the gauge's share in per cent and the ratio behind the
/// categories.
fn split([parts, operators, within]: [f64; 3], interaction: Option<f64>, [p, o, r]: [f64; 3]) -> [f64; 9] {
    let against = interaction.unwrap_or(within);
    let operator = ((operators - against) / (p * r)).max(0.0);
    let both = interaction.map_or(0.0, |i| ((i - within) / r).max(0.0));
    let part = ((parts - against) / (o * r)).max(0.0);
    let reproducibility = operator + both;
    let gauge = within + reproducibility;
    let total = gauge + part;
    [
        within,
        operator,
        both,
        reproducibility,
        gauge,
        part,
        total,
        100.0 * (gauge / total).sqrt(),
        (2.0 * part / gauge).sqrt(),
    ]
}
