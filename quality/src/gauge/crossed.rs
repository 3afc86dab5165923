//! The values of a crossed study.

use crate::Refusal;

/// Values of a balanced crossed study: each operator measured each part equally often.
#[derive(Debug, Clone, PartialEq)]
pub struct Crossed {
    parts: usize,
    operators: usize,
    repeats: usize,
    /// Part by part, within it operator by operator.
    values: Vec<f64>,
}

impl Crossed {
    /// From `cells[part][operator]`, each a list of repeats.
    ///
    /// # Errors
    /// [`Refusal::TooFew`] below two parts, operators or repeats, [`Refusal::Unbalanced`] naming the first cell of another
    /// size, [`Refusal::NonFinite`], [`Refusal::NoVariance`] if all repeats agree exactly.
    pub fn new(cells: &[Vec<Vec<f64>>]) -> Result<Self, Refusal> {
        Refusal::unless_enough("parts of a gauge study", cells.len(), 2)?;
        let operators = cells[0].len();
        Refusal::unless_enough("operators of a gauge study", operators, 2)?;
        let repeats = cells[0][0].len();
        Refusal::unless_enough("repeats of a gauge study", repeats, 2)?;
        let mut values = Vec::with_capacity(cells.len() * operators * repeats);
        for (part, row) in cells.iter().enumerate() {
            if row.len() != operators {
                return Err(Refusal::Unbalanced {
                    cell: format!("part {} (operators)", part + 1),
                    got: row.len(),
                    expected: operators,
                });
            }
            for (operator, cell) in row.iter().enumerate() {
                if cell.len() != repeats {
                    return Err(Refusal::Unbalanced {
                        cell: format!("part {}, operator {}", part + 1, operator + 1),
                        got: cell.len(),
                        expected: repeats,
                    });
                }
                values.extend(cell);
            }
        }
        Refusal::unless_finite("values of a gauge study", &values)?;
        let study = Self {
            parts: cells.len(),
            operators,
            repeats,
            values,
        };
        if study.cells().all(|cell| range(cell) <= 0.0) {
            return Err(Refusal::NoVariance {
                what: "repeats of the same part".into(),
                value: study.values[0],
            });
        }
        Ok(study)
    }

    /// How many parts.
    pub fn parts(&self) -> usize {
        self.parts
    }

    /// How many operators.
    pub fn operators(&self) -> usize {
        self.operators
    }

    /// How many repeats each.
    pub fn repeats(&self) -> usize {
        self.repeats
    }

    /// All values: part by part, within it operator by operator.
    pub fn values(&self) -> &[f64] {
        &self.values
    }

    /// The repeats of one operator on one part, in the order of [`Self::values`].
    pub fn cells(&self) -> impl Iterator<Item = &[f64]> {
        self.values.chunks(self.repeats)
    }

    /// Mean of all.
    pub fn mean(&self) -> f64 {
        mean(self.values.iter().copied())
    }

    /// Mean of each part.
    pub fn part_means(&self) -> Vec<f64> {
        let each = self.values.chunks(self.repeats * self.operators);
        each.map(|part| mean(part.iter().copied())).collect()
    }

    /// Mean of each operator.
    pub fn operator_means(&self) -> Vec<f64> {
        let of = |operator: usize| {
            let cells = self.cells().skip(operator).step_by(self.operators);
            mean(cells.flatten().copied())
        };
        (0..self.operators).map(of).collect()
    }

    /// Mean of each cell, in the order of [`Self::cells`].
    pub fn cell_means(&self) -> Vec<f64> {
        self.cells().map(|cell| mean(cell.iter().copied())).collect()
    }
}

/// Arithmetic mean about the first value; NaN when empty.
fn mean(mut values: impl Iterator<Item = f64>) -> f64 {
    let Some(first) = values.next() else {
        return f64::NAN;
    };
    let (sum, count) = values.fold((0.0, 1.0), |(sum, n), v| (sum + (v - first), n + 1.0));
    first + sum / count
}

/// Largest less smallest.
pub(super) fn range(values: &[f64]) -> f64 {
    let fold = |start: f64, pick: fn(f64, f64) -> f64| values.iter().copied().fold(start, pick);
    fold(f64::NEG_INFINITY, f64::max) - fold(f64::INFINITY, f64::min)
}
