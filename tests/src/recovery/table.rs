//! Bias, spread and coverage, a row a measurand.

use std::fmt::Write;

use super::{SeedResult, Truth};

/// What many seeds show of one measurand. All in SI.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// The known value.
    pub truth: Truth,
    /// Seeds with an estimate.
    pub count: usize,
    /// Seeds in which it was refused.
    pub refused: usize,
    /// Mean of estimate less truth.
    pub bias: f64,
    /// Standard deviation of the estimates.
    pub spread: f64,
    /// Greatest distance from the truth.
    pub worst: f64,
    /// Mean of the stated standard uncertainties.
    pub stated: f64,
    /// Share of seeds with the truth inside the stated 95 % interval.
    pub coverage: f64,
}

/// One row a known value.
#[must_use]
pub fn rows(truths: &[Truth], seeds: &[SeedResult]) -> Vec<Row> {
    truths
        .iter()
        .enumerate()
        .map(|(i, truth)| {
            let found: Vec<_> = seeds
                .iter()
                .filter_map(|seed| seed.found.get(i).copied().flatten())
                .collect();
            let count = found.len();
            let n = count.max(1) as f64;
            let bias = found.iter().map(|f| f.value - truth.value).sum::<f64>() / n;
            let squares: f64 = found.iter().map(|f| (f.value - truth.value - bias).powi(2)).sum();
            let inside = found
                .iter()
                .filter(|f| (f.interval[0]..=f.interval[1]).contains(&truth.value))
                .count();
            Row {
                truth: truth.clone(),
                count,
                refused: seeds.len() - count,
                bias,
                spread: (squares / (n - 1.0).max(1.0)).sqrt(),
                worst: found
                    .iter()
                    .map(|f| (f.value - truth.value).abs())
                    .fold(0.0, f64::max),
                stated: found.iter().map(|f| f.std_uncertainty).sum::<f64>() / n,
                coverage: inside as f64 / n,
            }
        })
        .collect()
}

/// The rows as aligned text.
#[must_use]
pub fn table(rows: &[Row]) -> String {
    let mut text = format!(
        "{:<30} {:>9} {:>4} {:>7} {:>8} {:>8} {:>8} {:>8} {:>8} {:>9}  {}\n",
        "measurand",
        "truth",
        "unit",
        "n (ref)",
        "bias",
        "spread",
        "least",
        "stated u",
        "worst",
        "in 95 %",
        "truth from"
    );
    for row in rows {
        let _ = writeln!(
            text,
            "{:<30} {:>9} {:>4} {:>7} {:>8} {:>8} {:>8} {:>8} {:>8} {:>9}  {}",
            row.name(),
            row.show(row.truth.value),
            row.unit(),
            format!("{} ({})", row.count, row.refused),
            row.found(row.bias),
            row.found(row.spread),
            row.least(),
            row.found(row.stated),
            row.found(row.worst),
            row.inside(1),
            row.truth.source,
        );
    }
    text
}

impl Row {
    /// A value of this row in the unit of tables, to four digits of the truth or the uncertainty.
    fn show(&self, value: f64) -> String {
        let k = self.truth.quantity.text().shown_in.factor();
        let known = if self.stated > 0.0 {
            self.stated
        } else {
            0.01 * self.truth.value
        };
        let least = (k * known.abs()).max(1e-9);
        let places = (1.0 - least.log10().floor()).clamp(0.0, 8.0) as usize;
        format!("{:.places$}", k * value)
    }

    /// A value of the estimates; a dash where all were refused.
    fn found(&self, value: f64) -> String {
        if self.count == 0 {
            "–".into()
        } else {
            self.show(value)
        }
    }

    /// Share of seeds with the truth inside the stated interval, %.
    fn inside(&self, places: usize) -> String {
        if self.count == 0 {
            "–".into()
        } else {
            format!("{:.places$} %", self.coverage * 100.0)
        }
    }

    /// Least spread to two digits, with the spread as a multiple of it in brackets.
    fn least(&self) -> String {
        let Some(least) = self.truth.least else {
            return "–".into();
        };
        let shown = self.truth.quantity.text().shown_in.factor() * least;
        let places = (1.0 - shown.abs().max(1e-9).log10().floor()).clamp(0.0, 8.0) as usize;
        if self.count == 0 {
            return format!("{shown:.places$}");
        }
        format!("{shown:.places$} ({:.1}×)", self.spread / least)
    }

    /// Name of the quantity, with its group where it has several.
    fn name(&self) -> String {
        let name = self.truth.quantity.text().name;
        if self.truth.group.is_empty() {
            name.to_owned()
        } else {
            format!("{name}, {}", self.truth.group)
        }
    }

    fn unit(&self) -> &'static str {
        self.truth.quantity.text().shown_in.unit()
    }

    /// Greatest distance that the coverage may have from 95 % by chance, in 99 of 100 such surveys.
    #[must_use]
    pub fn by_chance(&self) -> f64 {
        2.58 * (0.95 * 0.05 / self.count.max(1) as f64).sqrt()
    }
}

/// The rows of one scene as a table for a document.
#[must_use]
pub fn markdown(rows: &[Row]) -> String {
    let mut text = String::from(
        "| measurand | truth | n (refused) | mean error | spread | least spread | stated u | worst | truth inside 95 % |\n\
         | --- | --- | --- | --- | --- | --- | --- | --- | --- |\n",
    );
    for row in rows {
        let unit = row.unit();
        let _ = writeln!(
            text,
            "| {} | {} {unit} | {} ({}) | {} | {} | {} | {} | {} | {} |",
            row.name(),
            row.show(row.truth.value),
            row.count,
            row.refused,
            row.found(row.bias),
            row.found(row.spread),
            row.least(),
            row.found(row.stated),
            row.found(row.worst),
            row.inside(0),
        );
    }
    text
}

#[cfg(test)]
mod tests {
    use super::super::Found;
    use super::*;

    #[test]
    fn a_row_says_bias_spread_and_coverage_of_made_up_estimates() {
        let truth = Truth::of(truerim::fitting::Quantity::Resonance, 10.0, "here");
        let found = |value: f64, u: f64| {
            Some(Found {
                value,
                std_uncertainty: u,
                interval: [value - 2.0 * u, value + 2.0 * u],
            })
        };
        let seeds: Vec<SeedResult> = [found(11.0, 1.0), found(12.0, 1.0), found(13.0, 1.0), None]
            .into_iter()
            .zip(1..)
            .map(|(found, seed)| SeedResult {
                seed,
                found: vec![found],
            })
            .collect();
        let rows = rows(&[truth], &seeds);
        let row = &rows[0];
        assert_eq!((row.count, row.refused), (3, 1));
        assert!((row.bias - 2.0).abs() < 1e-12 && (row.spread - 1.0).abs() < 1e-12);
        assert!((row.worst - 3.0).abs() < 1e-12 && (row.coverage - 2.0 / 3.0).abs() < 1e-12);
        // 2.58 times sqrt(0.95 · 0.05 / 3).
        assert!((row.by_chance() - 0.32464).abs() < 1e-4);
        assert!(
            markdown(&rows).contains("| 10.0 Hz | 3 (1) | 2.0 | 1.0 | – | 1.0 | 3.0 | 67 % |"),
            "{}",
            markdown(&rows)
        );
    }
}
