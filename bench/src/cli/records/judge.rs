//! `records judge`.

use records::content::Verdict;
use records::limits::Limits;
use records::{Filter, Measurement};
use serde_json::json;

use super::args::JudgeArgs;
use super::{open, table};
use crate::cli::exit::{Exit, Problem};
use crate::cli::say::Say;
use crate::session::SettingsText;

/// Judges the last measurement of each unit that is asked for.
pub(super) fn judge(args: &JudgeArgs, say: &Say) -> Result<Exit, Problem> {
    let text = SettingsText::read(&args.limits)?;
    let limits = Limits::from_toml(&text.file, &text.text).map_err(records::RecordsError::from)?;
    let (mut store, stamp) = open(&args.place, false)?;
    let model = match &args.unit {
        // Says which models have a unit of that number, where this one has none.
        Some(unit) if store.unit(unit, Some(&limits.text.model)).is_err() => store.unit(unit, None)?.model,
        _ => limits.text.model.clone(),
    };
    let filter = Filter {
        model: Some(model),
        serial: args.unit.clone(),
        ..Filter::default()
    };
    let measurements = store.measurements(&filter)?;
    let last = last_of_each(&measurements);
    if last.is_empty() {
        let problem = format!(
            "nothing was measured of the model {} that could be judged",
            limits.text.model
        );
        return Err(Problem::Usage(problem));
    }
    let mut worst = Verdict::Pass;
    let mut told = Vec::new();
    for (measurement, fit) in last {
        let judged = store.judge(fit, &limits, &stamp)?;
        worst = worst.max(judged.judgement.verdict);
        let of = (
            measurement.model.as_str(),
            measurement.serial.as_str(),
            measurement.created.as_str(),
        );
        say.result(&table::judgement(of, &judged.judgement));
        told.push(json!({ "measurement": measurement, "judged": judged }));
    }
    say.json(&told);
    Ok(Exit::of_verdict(worst))
}

/// The last measurement of each unit that has a fit in force; measurements come by time.
fn last_of_each(measurements: &[Measurement]) -> Vec<(&Measurement, i64)> {
    let mut last = std::collections::BTreeMap::new();
    for one in measurements {
        if let Some(fit) = one.fit {
            last.insert(&one.serial, (one, fit));
        }
    }
    last.into_values().collect()
}
