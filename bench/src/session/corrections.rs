//! Correction curves as files: rows of wanted torque and command under a row of names.

#![allow(clippy::result_large_err)] // a file is refused once, before anything moves

use std::fmt::Write as _;

use bench_core::excitation::{CorrectionCurve, CorrectionProblem};
use settings_file::{Finding, Place};

/// Names of the two columns.
const NAMES: &str = "wanted_torque,command";

/// The text of a curve: comments, names, rows of wanted torque and command, N·m.
#[must_use]
pub fn text(comments: &[String], rows: &[(f64, f64)]) -> String {
    let mut text = String::new();
    for comment in comments {
        // Writing to a String cannot fail; a line break would end the comment.
        let _ = writeln!(text, "# {}", comment.replace(['\n', '\r'], " "));
    }
    let _ = writeln!(text, "{NAMES}");
    for (wanted, command) in rows {
        let _ = writeln!(text, "{wanted:.6},{command:.6}");
    }
    text
}

/// The curve in the text of its file.
///
/// # Errors
/// A [`Finding`] in the file's line.
pub fn curve(file: &str, text: String) -> Result<CorrectionCurve, Finding> {
    let at = |line: usize, written: &str| Place {
        line,
        key: String::new(),
        written: written.chars().take(40).collect(),
    };
    let wanted = |line: &(usize, &str)| !(line.1.trim().is_empty() || line.1.trim_start().starts_with('#'));
    let mut lines = (1..).zip(text.lines()).filter(wanted);
    let fix = "make the file with `truerim correct`, or write the names and two numbers a row";
    let (head_line, head) = lines.next().unwrap_or((0, ""));
    let bare: String = head.chars().filter(|c| !c.is_whitespace()).collect();
    if bare != NAMES {
        let problem = "is not the row of names of a correction";
        return Err(Finding::new(file, &at(head_line, head), problem, fix).allowing(NAMES));
    }
    let (mut rows, mut places) = (Vec::new(), Vec::new());
    for (line, row) in lines {
        let fields: Vec<Option<f64>> = row
            .split(',')
            .map(|field| field.trim().parse::<f64>().ok().filter(|v| v.is_finite()))
            .collect();
        let [Some(wanted_nm), Some(command_nm)] = fields.as_slice() else {
            return Err(Finding::new(
                file,
                &at(line, row),
                "is not two finite numbers",
                fix,
            ));
        };
        rows.push((*wanted_nm, *command_nm));
        places.push((line, row));
    }
    CorrectionCurve::new(rows)
        .map(|curve| curve.of_text(text.clone()))
        .map_err(|problem| {
            let row = |row: usize| {
                places
                    .get(row)
                    .map_or_else(|| at(0, ""), |(line, row)| at(*line, row))
            };
            match problem {
                CorrectionProblem::Few { count, needed } => {
                    Finding::new(file, &at(0, ""), format!("has {count} rows"), fix)
                        .allowing(format!("{needed} or more"))
                }
                CorrectionProblem::NotFinite { row: r } => {
                    Finding::new(file, &row(r), "holds what is no finite number", fix)
                }
                CorrectionProblem::NotRising { row: r } => {
                    let problem = "does not rise from the row before, in torque and command";
                    Finding::new(
                        file,
                        &row(r),
                        problem,
                        "put the rows in order, or make the file again",
                    )
                }
            }
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_curve_is_written_and_read_again() {
        let rows = [(-2.0, -2.25), (0.0, 0.125), (2.0, 2.5)];
        let text = text(&["from a\nmap".into()], &rows);
        assert!(text.starts_with("# from a map\nwanted_torque,command\n-2.000000,"));
        let read = curve("c.csv", text).unwrap();
        assert!((read.command_nm(1.0) - 1.3125).abs() < 1e-9);
    }

    #[test]
    fn what_is_no_curve_is_refused_in_its_line() {
        let good = "# a\nwanted_torque, command\n-1,-1\n1,2\n";
        assert!(curve("c.csv", good.into()).is_ok());
        for (from, to, what) in [
            ("wanted_torque", "torque", "c.csv:2"),
            ("1,2", "1,x", "c.csv:4"),
            ("1,2", "1", "c.csv:4"),
            ("1,2", "1,2,3", "c.csv:4"),
            ("1,2", "1,-2", "c.csv:4"),
            ("1,2", "1,inf", "c.csv:4"),
            ("1,2\n", "", "has 1 rows"),
            (good, "", "row of names"),
        ] {
            let problem = curve("c.csv", good.replace(from, to)).unwrap_err().to_string();
            assert!(problem.contains(what), "{from} -> {to}: {problem}");
        }
    }
}
