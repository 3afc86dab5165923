//! `records`: one function a command.

pub(super) mod args;
mod judge;
pub(super) mod measured;
mod page;
mod study;
pub(super) mod table;

use std::collections::BTreeMap;
use std::path::Path;

use records::{About, Address, Correcting, Filter, Noted, Stamp, Store, seconds_of};
use serde_json::json;

use self::args::{
    AddArgs, CatchUpArgs, CorrectArgs, ExportArgs, FilterArgs, ListArgs, NoteArgs, Records, RefitArgs,
    UnitArgs, ValuesArgs, VerifyArgs, Where,
};
use super::exit::{Exit, Problem};
use super::say::Say;
use crate::archive::{self, Given, Outbox};
use crate::drive::clock::{HostClock, wall_clock};

/// Does what is asked of the records.
pub(super) fn records(what: &Records, say: &Say) -> Result<Exit, Problem> {
    match what {
        Records::Add(args) => add(args, say),
        Records::CatchUp(args) => catch_up(args, say),
        Records::History(args) => history(args, say),
        Records::Changes(args) => changes(args, say),
        Records::Units(args) => units(args, say),
        Records::Models(args) => models(args, say),
        Records::Benches(args) => benches(args, say),
        Records::Values(args) => values(args, say),
        Records::Judge(args) => judge::judge(args, say),
        Records::Note(args) => note(args, say),
        Records::Correct(args) => correct(args, say),
        Records::Verify(args) => verify(args, say),
        Records::Export(args) => export(args, say),
        Records::Refit(args) => refit(args, say),
        Records::Page(args) => page::page(args, say),
        Records::Study(args) => study::study(args, say),
        Records::Limits(args) => page::limits(args, say),
        Records::Demo(args) => page::demo(args, say),
    }
}

/// Where the records are: as given, or as the environment says.
fn place(given: Option<&str>) -> Result<Address, Problem> {
    let named = match given {
        Some(url) => url.to_owned(),
        None => std::env::var("TRUERIM_RECORDS").map_err(|_| {
            Problem::Usage(
                "say where the records are: --records URL, or TRUERIM_RECORDS in the environment".into(),
            )
        })?,
    };
    Ok(named.parse::<Address>()?.absolute())
}

/// Who enters, now.
fn stamp(by: Option<&str>) -> Stamp {
    let software = crate::software();
    let login = || {
        let names = ["USER", "LOGNAME", "USERNAME"].into_iter();
        names
            .filter_map(|name| std::env::var(name).ok())
            .find(|name| !name.is_empty())
    };
    let given = by.filter(|by| !by.is_empty()).map(str::to_owned);
    Stamp {
        entered: wall_clock(),
        by: given.or_else(login).unwrap_or_default(),
        software: format!("{} {} {}", software.name, software.version, software.build),
    }
}

/// The records, and who enters.
fn open(place: &Where, create: bool) -> Result<(Store, Stamp), Problem> {
    let stamp = stamp(place.by.as_deref());
    let store = Store::open(&self::place(place.records.as_deref())?, create, &stamp)?;
    Ok((store, stamp))
}

fn add(args: &AddArgs, say: &Say) -> Result<Exit, Problem> {
    let (mut store, stamp) = open(&args.place, true)?;
    let given = Given {
        bench: args.bench.clone(),
        batch: args.batch.clone(),
    };
    let mut all = Vec::new();
    for source in &args.sources {
        match source.is_dir() {
            true => all.extend(archive::folders(source)?),
            false => all.push(source.clone()),
        }
    }
    if all.is_empty() {
        return Err(Problem::Usage("no fit and no recording lies there".to_owned()));
    }
    let mut exit = Exit::Done;
    let mut told = Vec::new();
    for path in all {
        let name = path.display().to_string();
        match archive::enter(&mut store, &path, &given, &stamp) {
            Ok(entered) => {
                let new = if entered.added.fit.new {
                    "added as"
                } else {
                    "is there as"
                };
                let number = entered.added.fit.seq;
                let overdue = if entered.overdue {
                    "; the calibration had run out"
                } else {
                    ""
                };
                say.result(&format!(
                    "{name}: {} {new} entry {number}{overdue}",
                    entered.serial
                ));
                told.push(json!({ "path": name, "entered": entered }));
            }
            Err(error) => {
                say.error(&error.to_string());
                told.push(json!({ "path": name, "error": error.to_string() }));
                exit = Exit::File;
            }
        }
    }
    say.json(&told);
    Ok(exit)
}

fn catch_up(args: &CatchUpArgs, say: &Say) -> Result<Exit, Problem> {
    let (mut store, stamp) = open(&args.place, true)?;
    let mut exit = Exit::Done;
    let mut told = Vec::new();
    for (waiting, entered) in Outbox::within(&args.folder).deliver(&mut store, None, &stamp)? {
        match entered {
            Ok(entered) => {
                say.result(&format!("{}: entry {}", waiting.folder, entered.added.fit.seq));
                told.push(json!({ "folder": waiting.folder, "entered": entered }));
            }
            Err(error) => {
                say.error(&format!("{} still waits: {error}", waiting.folder));
                told.push(json!({ "folder": waiting.folder, "error": error.to_string() }));
                exit = Exit::File;
            }
        }
    }
    if told.is_empty() {
        say.result(&format!("Nothing waits in {}.", args.folder.display()));
    }
    say.json(&told);
    Ok(exit)
}

fn history(args: &UnitArgs, say: &Say) -> Result<Exit, Problem> {
    let (mut store, _) = open(&args.place, false)?;
    let unit = store.unit(&args.unit, args.model.as_deref())?;
    let items = store.history(&unit)?;
    say.result(&format!("{} {}, {}", unit.model, unit.serial, store.address()));
    say.result(&table::history(&items));
    say.json(&items);
    Ok(Exit::Done)
}

fn changes(args: &UnitArgs, say: &Say) -> Result<Exit, Problem> {
    let (mut store, _) = open(&args.place, false)?;
    let unit = store.unit(&args.unit, args.model.as_deref())?;
    let refits = records::refits(&store.history(&unit)?)?;
    say.result(&table::changes(&refits));
    say.json(&refits);
    Ok(Exit::Done)
}

fn filter(args: &FilterArgs, model: Option<&String>) -> Result<Filter, Problem> {
    let instant = |given: &Option<String>| match given {
        None => Ok(None),
        Some(text) => {
            let found = seconds_of(text).or_else(|| seconds_of(&format!("{text}T00:00:00Z")));
            found.map(Some).ok_or_else(|| {
                Problem::Usage(format!(
                    "\"{text}\" is no day; write 2026-03-02, or 2026-03-02T10:00:00+01:00"
                ))
            })
        }
    };
    Ok(Filter {
        model: model.cloned(),
        serial: None,
        firmware: args.firmware.clone(),
        bench: args.bench.clone(),
        fixture: args.fixture.clone(),
        operator: args.operator.clone(),
        batch: args.batch.clone(),
        from: instant(&args.from)?,
        until: instant(&args.until)?,
        newest: None,
    })
}

fn listed(args: &ListArgs) -> Result<Vec<records::Measurement>, Problem> {
    let filter = filter(&args.filter, args.model.as_ref())?;
    let (mut store, _) = open(&args.place, false)?;
    Ok(store.measurements(&filter)?)
}

fn units(args: &ListArgs, say: &Say) -> Result<Exit, Problem> {
    let units = records::units(&listed(args)?);
    say.result(&table::units(&units));
    say.json(&units);
    Ok(Exit::Done)
}

fn models(args: &ListArgs, say: &Say) -> Result<Exit, Problem> {
    let models = records::by_model(&listed(args)?);
    say.result(&table::groups("model", &models));
    say.json(&models);
    Ok(Exit::Done)
}

fn benches(args: &ListArgs, say: &Say) -> Result<Exit, Problem> {
    let benches = records::by_bench(&listed(args)?);
    say.result(&table::groups("bench", &benches));
    say.json(&benches);
    Ok(Exit::Done)
}

fn values(args: &ValuesArgs, say: &Say) -> Result<Exit, Problem> {
    let filter = filter(&args.filter, None)?;
    let (mut store, _) = open(&args.place, false)?;
    let only = (!args.measurand.is_empty()).then_some(args.measurand.as_slice());
    let data = store.model_data(&args.model, &filter, only)?;
    if let Some(path) = &args.csv {
        page::put(&table::values_as_csv(&data), path)?;
    }
    if let Some(path) = &args.parquet {
        let origin = archive::TableOrigin {
            records: store.address(),
            end: store.end()?,
        };
        page::folder_of(path)?;
        archive::write_values(&data, &origin, path)?;
    }
    say.result(&table::values(&data));
    say.json(&data);
    Ok(Exit::Done)
}

fn note(args: &NoteArgs, say: &Say) -> Result<Exit, Problem> {
    let (mut store, stamp) = open(&args.place, false)?;
    let about = match (&args.unit, args.entry) {
        (Some(unit), _) => About::Unit(store.unit(unit, args.model.as_deref())?),
        (None, Some(entry)) => About::Entry(entry),
        (None, None) => {
            return Err(Problem::Usage(
                "say what it is about: --unit or --entry".to_owned(),
            ));
        }
    };
    let placed = store.note(&about, &args.text, &stamp)?;
    say.result(&format!("entry {}", placed.seq));
    say.json(&placed);
    Ok(Exit::Done)
}

fn correct(args: &CorrectArgs, say: &Say) -> Result<Exit, Problem> {
    let mut facts = BTreeMap::new();
    for set in &args.set {
        let Some((word, value)) = set.split_once('=') else {
            return Err(Problem::Usage(format!(
                "--set {set}: write WORD=VALUE, such as serial=W-0412"
            )));
        };
        facts.insert(word.to_owned(), value.to_owned());
    }
    let (mut store, stamp) = open(&args.place, false)?;
    let correcting = Correcting {
        entry: args.entry,
        reason: args.reason.clone(),
        withdraw: args.withdraw,
        facts,
    };
    let placed = store.correct(&correcting, &stamp)?;
    say.result(&format!("entry {} corrects entry {}", placed.seq, args.entry));
    say.json(&placed);
    Ok(Exit::Done)
}

fn verify(args: &VerifyArgs, say: &Say) -> Result<Exit, Problem> {
    let (mut store, _) = open(&args.place, false)?;
    let mut noted = Vec::new();
    for expected in &args.expect {
        let parts = expected.split_once(':');
        let parts = parts.and_then(|(seq, link)| Some((seq.parse().ok()?, link.to_owned())));
        let Some((seq, link)) = parts else {
            return Err(Problem::Usage(format!("--expect {expected}: write NUMBER:LINK")));
        };
        noted.push(Noted {
            seq,
            link,
            place: "--expect".to_owned(),
        });
    }
    for folder in &args.receipts {
        noted.extend(archive::receipts(folder, &store.address())?);
    }
    let verified = store.verify(&noted)?;
    say.json(&verified);
    for finding in &verified.findings {
        say.result(&format!("entry {}: {}", finding.entry, finding.what));
    }
    let end = format!(
        "{} entries and {} rows, {} noted links; entry {} has the link {}",
        verified.entries, verified.rows, verified.noted, verified.entries, verified.link
    );
    match verified.findings.is_empty() {
        true => {
            say.result(&format!("{} is as it was entered: {end}", store.address()));
            Ok(Exit::Done)
        }
        false => {
            say.result(&format!("{} IS NOT AS IT WAS ENTERED: {end}", store.address()));
            Ok(Exit::File)
        }
    }
}

fn export(args: &ExportArgs, say: &Say) -> Result<Exit, Problem> {
    let (mut store, _) = open(&args.place, false)?;
    let unit = store.unit(&args.unit, args.model.as_deref())?;
    let done = archive::export(&mut store, &unit, &args.out)?;
    say.result(&format!(
        "{}: {} entries, {} recordings, {} fits; verify with python3 {}",
        args.out.display(),
        done.entries,
        done.recordings,
        done.fits,
        args.out.join("verify.py").display()
    ));
    for (entry, file) in &done.missing {
        say.error(&format!(
            "warning: the recording of entry {entry} is not as sealed at {file}: not copied"
        ));
    }
    say.json(&done);
    Ok(Exit::Done)
}

fn refit(args: &RefitArgs, say: &Say) -> Result<Exit, Problem> {
    let (mut store, stamp) = open(&args.place, true)?;
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let jobs = args.jobs.unwrap_or(cores);
    let clock = HostClock::start();
    let began = clock.now();
    let spinner = say.spinner("fitting");
    let mut seen = 0_u64;
    let mut tell = |path: &Path| {
        seen += 1;
        match spinner.is_hidden() {
            // Nobody watches: a line for each, once it is safe.
            true => say.note(&format!("fitted {}", path.display())),
            false => spinner.set_message(format!("fitting: {seen} done, last {}", path.display())),
        }
    };
    let done = archive::refit(&mut store, &args.archive, jobs, &stamp, &mut tell)?;
    spinner.finish_and_clear();
    let seconds = (clock.now().0 - began.0) as f64 * 1e-9;
    let rate = done.now as f64 / seconds.max(1e-9);
    say.result(&format!(
        "{} recordings: {} fitted, {} had a fit by this version, {} could not be fitted; {:.1} s, {:.2} recordings a second on {} \
         threads",
        done.recordings,
        done.now,
        done.before,
        done.failed.len(),
        seconds,
        rate,
        jobs
    ));
    say.result(&table::changed(&done));
    for (path, why) in &done.failed {
        say.error(&format!("{}: {why}", path.display()));
    }
    say.json(&json!({ "done": done, "seconds": seconds, "recordings_per_second": rate, "threads": jobs }));
    Ok(if done.failed.is_empty() {
        Exit::Done
    } else {
        Exit::File
    })
}
