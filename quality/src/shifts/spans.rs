//! What some columns explain, and what they leave: an orthonormal base built column by column.

use crate::distributions::student_two_sided;

/// Share of a column that has to be new to it for the column to count.
const NEW: f64 = 1e-8;

/// An orthonormal base of columns.
#[derive(Debug, Clone, Default)]
pub(super) struct Span {
    base: Vec<Vec<f64>>,
}

pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Euclidean length.
pub(super) fn length(a: &[f64]) -> f64 {
    dot(a, a).sqrt()
}

impl Span {
    /// Of a constant and further columns, all of `length`.
    pub(super) fn beside<'a>(length: usize, columns: impl Iterator<Item = &'a [f64]>) -> Self {
        let mut span = Self::default();
        span.add(&vec![1.0; length]);
        columns.for_each(|column| span.add(column));
        span
    }

    /// How many independent columns it holds.
    pub(super) fn rank(&self) -> usize {
        self.base.len()
    }

    /// What of a column the base does not explain (orthogonalised twice, which is enough: Giraud, Langou and Rozložník
    /// 2005).
    pub(super) fn rest(&self, column: &[f64]) -> Vec<f64> {
        let mut left = column.to_vec();
        for _ in 0..2 {
            for base in &self.base {
                let share = dot(base, &left);
                left.iter_mut().zip(base).for_each(|(l, b)| *l -= share * b);
            }
        }
        left
    }

    /// The part of a column that is new, or `None` if it follows from the base.
    pub(super) fn new_part(&self, column: &[f64]) -> Option<Vec<f64>> {
        let rest = self.rest(column);
        (length(&rest) > NEW * length(column)).then_some(rest)
    }

    /// Adds a column, unless it follows from those before.
    pub(super) fn add(&mut self, column: &[f64]) {
        if let Some(mut rest) = self.new_part(column) {
            let size = length(&rest);
            rest.iter_mut().for_each(|v| *v /= size);
            self.base.push(rest);
        }
    }
}

/// The effect of a column beside a base.
pub(super) struct Effect {
    pub(super) value: f64,
    /// Standard error.
    pub(super) u: f64,
    /// Degrees of freedom.
    pub(super) dof: f64,
    /// Two-sided, of Student's t.
    pub(super) p: f64,
}

/// Regression of what the base leaves of the values on what is new in the column; `None` if nothing is new.
pub(super) fn effect(values: &[f64], column: &[f64], base: &Span) -> Option<Effect> {
    let new = base.new_part(column)?;
    let left = base.rest(values);
    let size = length(&new);
    let value = dot(&new, &left) / (size * size);
    let squares: f64 = new.iter().zip(&left).map(|(n, l)| (l - value * n).powi(2)).sum();
    let dof = values.len() as f64 - base.rank() as f64 - 1.0;
    if dof < 1.0 {
        return None;
    }
    let u = (squares / dof).sqrt() / size;
    Some(Effect {
        value,
        u,
        dof,
        p: student_two_sided(value / u.max(f64::MIN_POSITIVE), dof),
    })
}
