//! `records page`, `records study`, `records demo`.

use std::path::Path;

use quality::gauge::plan;
use records::limits::Limits;
use serde_json::json;

use super::args::{By, DemoArgs, LimitsArgs, PageArgs, StudyArgs};
use super::{filter, open};
use crate::archive::{self, Holding, Limited, Study, StudyBy, Wanted};
use crate::cli::exit::{Exit, Problem};
use crate::cli::say::Say;
use crate::report::ReportError;
use crate::report::records_page::{Sheet, records_page};
use crate::session::SettingsText;

/// Writes the page of a model.
pub(super) fn page(args: &PageArgs, say: &Say) -> Result<Exit, Problem> {
    let limits = match &args.limits {
        Some(path) => {
            let text = SettingsText::read(path)?;
            Some(Limits::from_toml(&text.file, &text.text).map_err(records::RecordsError::from)?)
        }
        None => None,
    };
    let study = args.study_measurand.as_ref().map(|measurand| Study {
        units: args.study_unit.clone(),
        by: match args.study_by {
            By::Bench => StudyBy::Bench,
            By::Operator => StudyBy::Operator,
        },
        measurand: measurand.clone(),
    });
    let wanted = Wanted {
        measurands: args.measurand.clone(),
        limits,
        check_units: args.check_unit.clone(),
        study,
    };
    let filter = filter(&args.filter, None)?;
    let (mut store, _) = open(&args.place, false)?;
    let data = store.model_data(&args.model, &filter, None)?;
    let sheet = archive::sheet(&data, &args.model, &store.address(), &wanted)?;
    write(&sheet, &args.out)?;
    say.result(&format!(
        "{}: {} measurements, {} measurands",
        args.out.display(),
        sheet.rows.len(),
        sheet.measurands.len()
    ));
    say.json(
        &json!({ "page": args.out, "measurements": sheet.rows.len(), "measurands": sheet.measurands.len() }),
    );
    Ok(Exit::Done)
}

fn write(sheet: &Sheet, path: &Path) -> Result<(), Problem> {
    put(&records_page(sheet).map_err(ReportError::from)?, path)
}

/// Writes a file, and the folder that it is in.
pub(super) fn put(text: &str, path: &Path) -> Result<(), Problem> {
    let problem = |doing| {
        move |source| Problem::Io {
            doing,
            path: path.display().to_string(),
            source,
        }
    };
    if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
        std::fs::create_dir_all(folder).map_err(problem("make the folder of"))?;
    }
    std::fs::write(path, text).map_err(problem("write"))
}

/// Writes limits from a reference group.
pub(super) fn limits(args: &LimitsArgs, say: &Say) -> Result<Exit, Problem> {
    let wanted = args.measurand.iter().map(|words| Limited::from_words(words));
    let wanted = wanted
        .collect::<Result<Vec<_>, String>>()
        .map_err(Problem::Usage)?;
    let filter = filter(&args.filter, None)?;
    let (mut store, _) = open(&args.place, false)?;
    let data = store.model_data(&args.model, &filter, None)?;
    let holding = Holding {
        share: args.share / 100.0,
        level: args.level / 100.0,
    };
    let text = archive::derived_limits(&data, &args.model, &wanted, holding)?;
    put(&text, &args.out)?;
    say.result(&text);
    say.json(&json!({ "limits": args.out, "text": text }));
    Ok(Exit::Done)
}

/// Prints in which order the units of a gauge study are measured, and what the study will be able to tell.
pub(super) fn study(args: &StudyArgs, say: &Say) -> Result<Exit, Problem> {
    let usage = |refusal: quality::Refusal| Problem::Usage(refusal.to_string());
    let plan = plan(args.unit.len(), args.by.len(), args.repeats, 0.95, args.seed).map_err(usage)?;
    let mut runs = Vec::new();
    for (number, step) in plan.steps.iter().enumerate() {
        let unit = args.unit.get(step.part).map_or("", String::as_str);
        let by = args.by.get(step.operator).map_or("", String::as_str);
        say.result(&format!(
            "{:>3}  {unit}  {by}  repeat {}",
            number + 1,
            step.repeat + 1
        ));
        runs.push(json!({ "unit": unit, "by": by, "repeat": step.repeat + 1 }));
    }
    for weakness in &plan.weaknesses {
        say.error(&format!("warning: {}", weakness.words()));
    }
    say.json(&json!({ "runs": runs }));
    Ok(Exit::Done)
}

/// Enters the invented factory's year and writes its pages.
pub(super) fn demo(args: &DemoArgs, say: &Say) -> Result<Exit, Problem> {
    let (mut store, stamp) = open(&args.place, true)?;
    let entered = archive::enter_year(&mut store, args.units, args.seed, &stamp)?;
    say.result(&format!(
        "{}: {} measurements of units, {} of a check unit, {} of a gauge study",
        store.address(),
        entered.measurements,
        entered.checks,
        entered.study
    ));
    let mut pages = Vec::new();
    for limits in archive::limits_files() {
        let page = args.out.join(limits.file.replace(".toml", ".html"));
        write(&archive::demo_sheet(&mut store, &limits)?, &page)?;
        let file = args.out.join(&limits.file);
        put(&limits.text, &file)?;
        say.result(&format!("{}, limits in {}", page.display(), file.display()));
        pages.push(page);
    }
    say.json(&json!({ "entered": entered, "pages": pages }));
    Ok(Exit::Done)
}
