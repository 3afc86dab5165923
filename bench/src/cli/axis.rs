//! `axis`: inertia and friction of any moving axis from a table.

use serde::Serialize;

use super::args::AxisArgs;
use super::exit::{Exit, Problem};
use super::say::Say;
use crate::exchange::{ColumnOf, TextStyle, read_axis};
use crate::fitting::{AxisFit, AxisRequest, fit_axis};

#[derive(Serialize)]
struct Answer<'a> {
    file: String,
    notes: &'a [String],
    #[serde(flatten)]
    fit: AxisFit,
}

/// Reads a table and fits it.
pub(super) fn axis(args: &AxisArgs, say: &Say) -> Result<Exit, Problem> {
    let share = |percent: f64, option: &str| {
        if (0.0..=50.0).contains(&percent) {
            Ok(percent / 100.0)
        } else {
            let problem = format!("--{option} {percent}: from 0 to 50 %");
            Err(Problem::Usage(problem))
        }
    };
    let positive = |value: Option<f64>, option: &str| match value {
        Some(value) if !(value.is_finite() && value > 0.0) => {
            Err(Problem::Usage(format!("--{option} {value}: above 0")))
        }
        value => Ok(value),
    };
    let request = AxisRequest {
        corner_hz: positive(args.corner, "corner")?,
        least_speed: positive(args.least_speed, "least-speed")?,
        gain_rel_u: share(args.gain_uncertainty, "gain-uncertainty")?,
        zero_u: match args.zero_uncertainty {
            u if u.is_finite() && u >= 0.0 => u,
            u => return Err(Problem::Usage(format!("--zero-uncertainty {u}: 0 or above"))),
        },
        ..AxisRequest::default()
    };
    let byte = |c: char| match u8::try_from(c) {
        Ok(byte) if byte.is_ascii() => Ok(byte),
        _ => Err(Problem::Usage(format!(
            "--delimiter {c}: one character of ASCII, such as ; or a tab"
        ))),
    };
    let style = TextStyle {
        delimiter: args.delimiter.map(byte).transpose()?,
        decimal_comma: args.decimal_comma,
    };
    let columns = [&args.time, &args.position, &args.effort].map(|words| ColumnOf::from_words(words));
    let [time, position, effort] = &columns;
    let series = read_axis(&args.data, style, [time, position, effort])?;
    for note in &series.notes {
        say.note(note);
    }
    let request = AxisRequest {
        linear: series.linear,
        fs_hz: series.fs_hz,
        ..request
    };
    let fit = fit_axis(&request, &series.position, &series.effort).map_err(|refusal| Problem::NotFitted {
        path: args.data.display().to_string(),
        refusal: Box::new(refusal),
    })?;
    say.result(&fit.table());
    say.json(&Answer {
        file: args.data.display().to_string(),
        notes: &series.notes,
        fit,
    });
    Ok(Exit::Done)
}
