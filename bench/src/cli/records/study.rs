//! `records study`: the plan of a gauge study, what comes next, and what it says.

use quality::conformity;
use quality::gauge::{Component, Variation, plan};
use records::Filter;
use serde_json::json;

use super::args::{By, StudyArgs};
use super::{filter, open, page, table};
use crate::archive::{Computed, Progress, Studied, StudyBy, computed, progress};
use crate::cli::exit::{Exit, Problem};
use crate::cli::say::Say;
use crate::fitting::plain;

/// Without a measurand: prints in which order the units are measured, and what the study will be able to tell. With one: also what
/// of it was measured, what comes next, and in the end what it says.
pub(super) fn study(args: &StudyArgs, say: &Say) -> Result<Exit, Problem> {
    let usage = |refusal: quality::Refusal| Problem::Usage(refusal.to_string());
    let plan = plan(args.unit.len(), args.by.len(), args.repeats, 0.95, args.seed).map_err(usage)?;
    for weakness in &plan.weaknesses {
        say.error(&format!("warning: {}", weakness.words()));
    }
    let studied = Studied {
        units: args.unit.clone(),
        by: args.by.clone(),
        crossed: match args.crossed {
            By::Bench => StudyBy::Bench,
            By::Operator => StudyBy::Operator,
        },
        measurand: args.measurand.clone().unwrap_or_default(),
    };
    let nothing = records::ModelData {
        measurements: Vec::new(),
        series: Vec::new(),
    };
    let (data, limits) = match &args.measurand {
        None => (nothing, None),
        Some(measurand) => {
            let (mut store, _) = open(&args.place, false)?;
            let serial = args.unit.first().map_or("", String::as_str);
            let unit = store.unit(serial, args.model.as_deref())?;
            let since = Filter {
                from: filter(&args.since(), None)?.from,
                ..Filter::default()
            };
            let data = store.model_data(&unit.model, &since, Some(std::slice::from_ref(measurand)))?;
            let limits = page::limits_file(args.limits.as_deref())?;
            let of = limits.and_then(|limits| limits.measurands.into_iter().find(|one| one.id == *measurand));
            let of = of.and_then(|one| {
                let value = |limit: Option<records::limits::Limit>| limit.map(|limit| limit.value);
                conformity::Limits::new(value(one.reject_below), value(one.reject_above)).ok()
            });
            (data, of)
        }
    };
    let found = progress(&plan, &studied, &data);
    say.result(&steps(&found));
    let done = found.steps.iter().filter(|step| step.measured.is_some()).count();
    let mut said = None;
    if args.measurand.is_some() {
        match found.next.and_then(|at| found.steps.get(at)) {
            Some(next) => say.result(&format!(
                "\n{done} of {} measured. Next: unit {}, {}, repeat {}. Mount it, measure it, take it off again.",
                found.steps.len(),
                next.unit,
                next.by,
                next.repeat
            )),
            None => {
                let whole = computed(&found, &studied, limits.as_ref()).map_err(usage)?;
                say.result(&format!("\n{}", in_words(&whole, &found.unit)));
                said = Some(whole);
            }
        }
        for entry in &found.surplus {
            say.error(&format!(
                "warning: entry {entry} is one measurement more than planned, and not part of the study; withdraw the one that is \
                 not to count"
            ));
        }
    }
    let next = found.next.and_then(|at| found.steps.get(at));
    say.json(&json!({ "runs": found.steps, "next": next, "surplus": found.surplus, "study": said }));
    Ok(Exit::Done)
}

/// One source of variation of a study.
type Source = fn(&Variation) -> &Component;

fn steps(found: &Progress) -> String {
    let rows: Vec<Vec<String>> = found
        .steps
        .iter()
        .enumerate()
        .map(|(at, step)| {
            let what = match (step.measured, found.next) {
                (Some((entry, value)), _) => format!("entry {entry}: {} {}", plain(value, 5), found.unit),
                (None, Some(next)) if next == at => "next".to_owned(),
                (None, _) => String::new(),
            };
            vec![
                (at + 1).to_string(),
                step.unit.clone(),
                step.by.clone(),
                step.repeat.to_string(),
                what,
            ]
        })
        .collect();
    table::aligned(
        &["no", "unit", "by", "repeat", "measured"],
        &rows,
        &["no", "repeat"],
    )
}

fn in_words(whole: &Computed, unit: &str) -> String {
    let (a, r) = (&whole.anova.variation, &whole.ranges);
    let sources: [(&str, Source); 6] = [
        ("repeatability", |v| &v.repeatability),
        ("reproducibility", |v| &v.reproducibility),
        ("  of it interaction", |v| &v.interaction),
        ("gauge", |v| &v.gauge),
        ("unit to unit", |v| &v.part),
        ("total", |v| &v.total),
    ];
    let rows: Vec<Vec<String>> = sources
        .iter()
        .map(|(name, of)| {
            let (one, other) = (of(a), of(r));
            let tolerance = whole
                .tolerance
                .and_then(|width| a.percent_tolerance(one, width).ok());
            vec![
                (*name).to_owned(),
                plain(one.sd(), 4),
                format!("{:.1}", a.percent_contribution(one)),
                format!("{:.1}", a.percent_study(one)),
                tolerance.map_or_else(|| "-".to_owned(), |share| format!("{share:.1}")),
                plain(other.sd(), 4),
                format!("{:.1}", r.percent_study(other)),
            ]
        })
        .collect();
    let heads = [
        "source",
        "sd",
        "% variance",
        "% study",
        "% tolerance",
        "sd by ranges",
        "% study by ranges",
    ];
    let of = if whole.tolerance.is_some() {
        "tolerance"
    } else {
        "variation seen"
    };
    format!(
        "{}\nStandard deviations in {unit}. The measurement takes {:.1} % of the {of}: {}. Classes of units told apart: {} ({} by \
         ranges).",
        table::aligned(&heads, &rows, &heads[1..]),
        whole.share,
        match whole.fitness {
            quality::gauge::Fitness::Good => "good",
            quality::gauge::Fitness::Conditional => "conditional",
            quality::gauge::Fitness::Unfit => "not fit",
        },
        a.distinct_categories(),
        r.distinct_categories()
    )
}
