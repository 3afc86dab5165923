//! `compare`.

use std::path::{Path, PathBuf};

use super::args::CompareArgs;
use super::exit::{Exit, Problem};
use super::fit::kept_fit_of;
use super::say::Say;
use crate::compare::{CompareOptions, Group, Remounting, compare as compare_groups};

/// Holds fits or groups of fits against the first of them.
pub(super) fn compare(args: &CompareArgs, say: &Say) -> Result<Exit, Problem> {
    let groups = if args.group.is_empty() {
        single_groups(&args.fits, say)?
    } else {
        let named: Result<Vec<Group>, Problem> =
            args.group.iter().map(|text| named_group(text, say)).collect();
        named?
    };
    let sets: Result<Vec<Group>, Problem> = args
        .remounted
        .iter()
        .enumerate()
        .map(|(place, files)| group(format!("remounted {}", place + 1), &paths(files), say))
        .collect();
    let options = CompareOptions {
        significance: args.significance,
        headline_only: args.headline,
        remounting: match (args.clamped_anew, args.untouched) {
            (true, _) => Remounting::EveryRun,
            (_, true) => Remounting::Never,
            _ => Remounting::AsRecorded,
        },
    };
    let comparison =
        compare_groups(&groups, &sets?, &options).map_err(|error| Problem::Usage(error.to_string()))?;
    say.result(crate::report::comparison_table(&comparison).trim_end());
    say.json(&comparison);
    if let Some(folder) = &args.out {
        for file in crate::report::write_comparison(folder, &comparison, &groups)? {
            say.note(&format!("Wrote {}", file.display()));
        }
    }
    Ok(Exit::Done)
}

/// Every file a group of its own, called by the unit's serial number, or by its folder where that does not tell them apart.
fn single_groups(files: &[PathBuf], say: &Say) -> Result<Vec<Group>, Problem> {
    let mut groups = Vec::new();
    for file in files {
        groups.push(group(String::new(), std::slice::from_ref(file), say)?);
    }
    let serials: Vec<String> = groups
        .iter()
        .flat_map(|g| &g.documents)
        .map(|d| d.recording.unit.serial.trim().to_owned())
        .collect();
    let folders: Vec<String> = files.iter().map(|file| folder_of(file)).collect();
    let whole: Vec<String> = files.iter().map(|file| file.display().to_string()).collect();
    let names = [serials, folders]
        .into_iter()
        .find(|names| tells_apart(names))
        .unwrap_or(whole);
    for (group, name) in groups.iter_mut().zip(names) {
        group.name = name;
    }
    Ok(groups)
}

fn folder_of(file: &Path) -> String {
    let folder = file.parent().and_then(Path::file_name);
    folder.map_or_else(String::new, |name| name.to_string_lossy().into_owned())
}

fn tells_apart(names: &[String]) -> bool {
    let mut sorted: Vec<&String> = names.iter().collect();
    sorted.sort();
    sorted.dedup();
    sorted.len() == names.len() && names.iter().all(|name| !name.is_empty())
}

/// `NAME=FILE,FILE`.
fn named_group(text: &str, say: &Say) -> Result<Group, Problem> {
    let (name, files) = text.split_once('=').ok_or_else(|| {
        Problem::Usage(format!(
            "--group \"{text}\": it has no name; write it as NAME=FILE,FILE"
        ))
    })?;
    group(name.trim().to_owned(), &paths(files), say)
}

fn paths(files: &str) -> Vec<PathBuf> {
    let files = files.split(',').map(str::trim).filter(|file| !file.is_empty());
    files.map(PathBuf::from).collect()
}

fn group(name: String, files: &[PathBuf], say: &Say) -> Result<Group, Problem> {
    let documents: Result<Vec<_>, Problem> = files.iter().map(|file| kept_fit_of(file, say)).collect();
    Ok(Group {
        name,
        documents: documents?,
    })
}
