//! Correction curves: the command for a wanted torque, from a file.
//!
//! The core reads no files: a procedure names them, whoever reads them supplies their rows
//! ([`crate::procedure::Procedure::with_corrections`]), and a plan without them is refused.

use alloc::{string::String, sync::Arc, vec::Vec};

use crate::procedure::Placed;

/// Fewest rows.
const FEWEST: usize = 2;

/// Why rows are no curve; `row` counts from 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum CorrectionProblem {
    /// Too few.
    Few {
        /// How many there are.
        count: usize,
        /// How many are needed.
        needed: usize,
    },
    /// A value that is no finite number.
    NotFinite {
        /// Its row.
        row: usize,
    },
    /// Wanted torque or command does not rise.
    NotRising {
        /// The later row.
        row: usize,
    },
}

/// Command over wanted torque, straight between rows.
#[derive(Clone, Debug, PartialEq)]
pub struct CorrectionCurve {
    rows: Vec<(f64, f64)>,
    text: String,
}

impl CorrectionCurve {
    /// Checks rows of wanted torque and command, N·m.
    ///
    /// # Errors
    /// The first [`CorrectionProblem`].
    pub fn new(rows: Vec<(f64, f64)>) -> Result<Self, CorrectionProblem> {
        if rows.len() < FEWEST {
            return Err(CorrectionProblem::Few {
                count: rows.len(),
                needed: FEWEST,
            });
        }
        if let Some(row) = rows.iter().position(|(w, c)| !(w.is_finite() && c.is_finite())) {
            return Err(CorrectionProblem::NotFinite { row });
        }
        let falls = |w: &[(f64, f64)]| w[1].0 <= w[0].0 || w[1].1 <= w[0].1;
        if let Some(row) = rows.windows(2).position(falls) {
            return Err(CorrectionProblem::NotRising { row: row + 1 });
        }
        Ok(Self {
            rows,
            text: String::new(),
        })
    }

    /// The same with the text that it was read from, so that a recording can keep it.
    #[must_use]
    pub fn of_text(self, text: String) -> Self {
        Self { text, ..self }
    }

    /// The text that it was read from; empty where it was not read from any.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Lowest and highest torque that it has a command for, N·m.
    pub fn range_nm(&self) -> [f64; 2] {
        let end = |row: Option<&(f64, f64)>| row.map_or(0.0, |r| r.0);
        [end(self.rows.first()), end(self.rows.last())]
    }

    /// The command for a torque, N·m; beyond the range that for its nearer end.
    pub fn command_nm(&self, wanted_nm: f64) -> f64 {
        let [low, high] = self.range_nm();
        let x = wanted_nm.clamp(low, high);
        let behind = self
            .rows
            .partition_point(|r| r.0 < x)
            .clamp(1, self.rows.len() - 1);
        match (self.rows.get(behind - 1), self.rows.get(behind)) {
            (Some((a, from)), Some((b, to))) => from + (to - from) * (x - a) / (b - a),
            _ => wanted_nm,
        }
    }
}

/// A curve that a segment goes by.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Correction {
    /// The file, as the procedure names it: relative to the procedure's own folder.
    pub file: Placed<String>,
    /// Its rows, once supplied.
    pub curve: Option<Arc<CorrectionCurve>>,
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::vec;

    #[test]
    fn a_curve_is_straight_between_rows_and_ends_at_its_ends() {
        let curve = CorrectionCurve::new(vec![(-2.0, -2.2), (0.0, 0.1), (2.0, 2.5)]).unwrap();
        for (wanted, command) in [
            (-3.0, -2.2),
            (-1.0, -1.05),
            (0.0, 0.1),
            (0.5, 0.7),
            (2.0, 2.5),
            (9.0, 2.5),
        ] {
            assert!((curve.command_nm(wanted) - command).abs() < 1e-12, "{wanted}");
        }
    }

    #[test]
    fn rows_that_make_no_curve_are_refused() {
        let problem = |rows: Vec<(f64, f64)>| CorrectionCurve::new(rows).unwrap_err();
        assert_eq!(
            problem(vec![(0.0, 0.0)]),
            CorrectionProblem::Few { count: 1, needed: 2 }
        );
        assert_eq!(
            problem(vec![(0.0, 0.0), (1.0, f64::NAN)]),
            CorrectionProblem::NotFinite { row: 1 }
        );
        assert_eq!(
            problem(vec![(0.0, 0.0), (1.0, 1.0), (2.0, 1.0)]),
            CorrectionProblem::NotRising { row: 2 }
        );
        assert_eq!(
            problem(vec![(0.0, 0.0), (0.0, 1.0)]),
            CorrectionProblem::NotRising { row: 1 }
        );
    }
}
