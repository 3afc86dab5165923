//! `records page`, `records limits`, `records demo`.

use std::path::Path;

use records::limits::Limits;
use records::{Filter, Store};
use serde_json::{Value, json};

use super::args::{By, DemoArgs, LimitsArgs, PageArgs};
use super::{filter, open};
use crate::archive::{self, BenchWanted, Holding, Limited, Study, StudyBy, Wanted};
use crate::cli::exit::{Exit, Problem};
use crate::cli::say::Say;
use crate::report::ReportError;
use crate::report::records_page::{Sheet, bench_page, records_page, unit_page};
use crate::session::SettingsText;

/// Writes the page of a unit, a model or a bench.
pub(super) fn page(args: &PageArgs, say: &Say) -> Result<Exit, Problem> {
    let filter = filter(&args.filter, None)?;
    let (mut store, _) = open(&args.place, false)?;
    let model = args.name.as_ref().or(args.model.as_ref());
    let (html, what) = match (&args.unit, model, &args.filter.bench) {
        (Some(serial), ..) => of_unit(args, &mut store, serial, model, &filter)?,
        (None, Some(model), _) => of_model(args, &mut store, model, &filter)?,
        (None, None, Some(bench)) => of_bench(args, &mut store, bench, &filter)?,
        (None, None, None) => {
            return Err(Problem::Usage(
                "say of what the page is to be: --model NAME, --unit SERIAL or --bench NAME".to_owned(),
            ));
        }
    };
    put(&html, &args.out)?;
    say.result(&format!(
        "{}: {} measurements",
        args.out.display(),
        what["measurements"]
    ));
    let mut told = json!({ "page": args.out });
    if let (Some(told), Some(what)) = (told.as_object_mut(), what.as_object()) {
        told.extend(what.clone());
    }
    say.json(&told);
    Ok(Exit::Done)
}

fn read_limits(args: &PageArgs) -> Result<Option<Limits>, Problem> {
    limits_file(args.limits.as_deref())
}

/// The limits in a file, if one was given.
pub(super) fn limits_file(path: Option<&Path>) -> Result<Option<Limits>, Problem> {
    let Some(path) = path else {
        return Ok(None);
    };
    let text = SettingsText::read(path)?;
    let limits = Limits::from_toml(&text.file, &text.text).map_err(records::RecordsError::from)?;
    Ok(Some(limits))
}

fn study_of(args: &PageArgs) -> Option<Study> {
    args.study_measurand.as_ref().map(|measurand| Study {
        units: args.study_unit.clone(),
        by: match args.study_by {
            By::Bench => StudyBy::Bench,
            By::Operator => StudyBy::Operator,
        },
        measurand: measurand.clone(),
    })
}

fn of_unit(
    args: &PageArgs,
    store: &mut Store,
    serial: &str,
    model: Option<&String>,
    filter: &Filter,
) -> Result<(String, Value), Problem> {
    let unit = store.unit(serial, model.map(String::as_str))?;
    let limits = read_limits(args)?.filter(|limits| limits.text.model == unit.model);
    let sheet = archive::unit_sheet(store, &unit, filter, limits.as_ref(), &args.measurand)?;
    let html = unit_page(&sheet).map_err(ReportError::from)?;
    let what = json!({ "unit": serial, "model": unit.model, "measurements": sheet.runs.len(), "measurands": sheet.measurands.len() });
    Ok((html, what))
}

fn of_model(
    args: &PageArgs,
    store: &mut Store,
    model: &str,
    filter: &Filter,
) -> Result<(String, Value), Problem> {
    let study = study_of(args);
    let study_data = match &study {
        Some(study) => Some(store.model_data(
            model,
            &Filter::default(),
            Some(std::slice::from_ref(&study.measurand)),
        )?),
        None => None,
    };
    let wanted = Wanted {
        measurands: args.measurand.clone(),
        limits: read_limits(args)?,
        check_units: args.check_unit.clone(),
        study,
        study_data,
    };
    let filter = Filter {
        newest: Some(args.newest),
        ..filter.clone()
    };
    let data = store.model_data(model, &filter, None)?;
    let mut about = store.address();
    if data.measurements.len() == args.newest {
        about += &format!(", the newest {} measurements", args.newest);
    }
    let sheet = archive::sheet(&data, model, &about, &wanted)?;
    let html = records_page(&sheet).map_err(ReportError::from)?;
    let what =
        json!({ "model": model, "measurements": sheet.rows.len(), "measurands": sheet.measurands.len() });
    Ok((html, what))
}

fn of_bench(
    args: &PageArgs,
    store: &mut Store,
    bench: &str,
    filter: &Filter,
) -> Result<(String, Value), Problem> {
    let wanted = BenchWanted {
        measurands: args.measurand.clone(),
        check_units: args.check_unit.clone(),
        study: study_of(args),
    };
    let sheet = archive::bench_sheet(store, bench, filter, &wanted)?;
    let html = bench_page(&sheet).map_err(ReportError::from)?;
    let what = json!({ "bench": bench, "measurements": sheet.runs.len(), "series": sheet.series.len() });
    Ok((html, what))
}

fn write(sheet: &Sheet, path: &Path) -> Result<(), Problem> {
    put(&records_page(sheet).map_err(ReportError::from)?, path)
}

/// Writes a file, and the folder that it is in.
pub(super) fn put(text: &str, path: &Path) -> Result<(), Problem> {
    folder_of(path)?;
    std::fs::write(path, text).map_err(|source| Problem::Io {
        doing: "write",
        path: path.display().to_string(),
        source,
    })
}

/// Makes the folder that a file is to be in.
pub(super) fn folder_of(path: &Path) -> Result<(), Problem> {
    let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) else {
        return Ok(());
    };
    std::fs::create_dir_all(folder).map_err(|source| Problem::Io {
        doing: "make the folder of",
        path: path.display().to_string(),
        source,
    })
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
    let all = Filter::default();
    for bench in records::by_bench(&store.measurements(&all)?) {
        let wanted = BenchWanted::default();
        let sheet = archive::bench_sheet(&mut store, &bench.name, &all, &wanted)?;
        let page = args.out.join(format!("{}.html", bench.name.replace(' ', "-")));
        put(&bench_page(&sheet).map_err(ReportError::from)?, &page)?;
        say.result(&page.display().to_string());
        pages.push(page);
    }
    for serial in &entered.odd {
        let unit = store.unit(serial, None)?;
        let limits = archive::limits_files()
            .into_iter()
            .find(|limits| limits.model == unit.model);
        let limits = limits
            .map(|file| Limits::from_toml(&file.file, &file.text).map_err(records::RecordsError::from))
            .transpose()?;
        let sheet = archive::unit_sheet(&mut store, &unit, &all, limits.as_ref(), &[])?;
        let page = args.out.join(format!("{serial}.html"));
        put(&unit_page(&sheet).map_err(ReportError::from)?, &page)?;
        say.result(&page.display().to_string());
        pages.push(page);
    }
    say.json(&json!({ "entered": entered, "pages": pages }));
    Ok(Exit::Done)
}
