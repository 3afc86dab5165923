//! Readings of loading series as a table of text: `mounting,series,phase,reading` with the readings in N·m, the phases
//! `zero`, `rising`, `falling` and `zero-after`, in the order in which they were taken.

use std::path::Path;

use truerim_analysis::calibration::series::Series;

use super::{CalibrationError, read_text};

const HEADER: &str = "mounting,series,phase,reading";

struct Row {
    mounting: u32,
    series: u32,
    phase: String,
    reading: f64,
}

/// Reads the table. Falling readings come in the order of time, greatest load first, and are turned about.
///
/// # Errors
/// [`CalibrationError::Line`] with the line and what to do.
pub fn read(path: &Path) -> Result<Vec<Series>, CalibrationError> {
    let text = read_text(path)?;
    let wrong = |line: usize, problem: String| CalibrationError::Line {
        path: path.to_owned(),
        line,
        problem,
    };
    let mut lines = text
        .lines()
        .enumerate()
        .filter(|(_, line)| !line.trim().is_empty());
    let head = lines.next().map_or("", |(_, line)| line.trim());
    if head.replace(' ', "") != HEADER {
        return Err(wrong(
            1,
            format!("\"{head}\" is no head of readings; write {HEADER}"),
        ));
    }
    let mut all: Vec<(u32, Series)> = Vec::new();
    for (index, line) in lines {
        let number = index + 1;
        let row = row(line).map_err(|problem| wrong(number, problem))?;
        let known = all.iter().position(|(series, _)| *series == row.series);
        if known.is_none() && row.phase != "zero" {
            return Err(wrong(
                number,
                format!(
                    "series {} begins with {}; begin it with its zero",
                    row.series, row.phase
                ),
            ));
        }
        let Some(at) = known else {
            let series = Series {
                mounting: row.mounting,
                zero_before: row.reading,
                rising: Vec::new(),
                falling: None,
                zero_after: None,
            };
            all.push((row.series, series));
            continue;
        };
        let Some((_, series)) = all.get_mut(at) else {
            continue;
        };
        if series.mounting != row.mounting {
            return Err(wrong(
                number,
                format!(
                    "series {} changes from mounting {} to {}; give each series one mounting",
                    row.series, series.mounting, row.mounting
                ),
            ));
        }
        match row.phase.as_str() {
            "rising" if series.falling.is_none() => series.rising.push(row.reading),
            "falling" => series.falling.get_or_insert_with(Vec::new).insert(0, row.reading),
            "zero-after" if series.zero_after.is_none() => series.zero_after = Some(row.reading),
            phase => {
                return Err(wrong(
                    number,
                    format!("{phase} stands out of turn; a series is zero, rising, falling, zero-after"),
                ));
            }
        }
    }
    Ok(all.into_iter().map(|(_, series)| series).collect())
}

fn row(line: &str) -> Result<Row, String> {
    let cells: Vec<&str> = line.split(',').map(str::trim).collect();
    let [mounting, series, phase, reading] = cells[..] else {
        return Err(format!("{} cells; four are needed: {HEADER}", cells.len()));
    };
    let whole = |text: &str, what: &str| {
        text.parse::<u32>()
            .map_err(|_| format!("\"{text}\" is no number of a {what}; write a whole number from 1"))
    };
    let value = reading
        .parse::<f64>()
        .ok()
        .filter(|value| value.is_finite())
        .ok_or_else(|| format!("\"{reading}\" is no reading; write N·m as a number with a decimal point"))?;
    Ok(Row {
        mounting: whole(mounting, "mounting")?,
        series: whole(series, "series")?,
        phase: phase.to_owned(),
        reading: value,
    })
}

/// The same table of series, for keeping beside a certificate.
#[must_use]
pub fn table(all: &[Series]) -> String {
    let mut text = format!("{HEADER}\n");
    for (index, series) in all.iter().enumerate() {
        let mut put = |phase: &str, reading: f64| {
            text.push_str(&format!("{},{},{phase},{reading}\n", series.mounting, index + 1));
        };
        put("zero", series.zero_before);
        series.rising.iter().for_each(|reading| put("rising", *reading));
        let falling = series.falling.iter().flatten().rev();
        falling.for_each(|reading| put("falling", *reading));
        series
            .zero_after
            .iter()
            .for_each(|reading| put("zero-after", *reading));
    }
    text
}
