//! `publish`, and `verify` for what it makes.

use std::io::Read as _;
use std::path::Path;

use super::args::PublishArgs;
use super::exit::{Exit, Problem};
use super::say::Say;
use crate::publish::{self, About};

/// Most troubles that are said one by one.
const MOST: usize = 30;

/// Packs a measurement.
pub(super) fn publish(args: &PublishArgs, say: &Say) -> Result<Exit, Problem> {
    let about = About {
        date: args.date.clone(),
        license: args.license.clone(),
        author: args.author.clone(),
    };
    let spinner = say.spinner("packing");
    let done = publish::publish(&args.folder, &args.out, &about)?;
    spinner.finish_and_clear();
    for path in &done.left_out {
        say.note(&format!(
            "Left out, being no part of a measurement: {}",
            path.display()
        ));
    }
    say.json(&done.members);
    say.result(&format!(
        "{}: {} files; whoever has it can check it with: truerim verify {}",
        args.out.display(),
        done.members.len(),
        args.out.display()
    ));
    Ok(Exit::Done)
}

/// Whether a file is a ZIP archive, by its first bytes.
pub(super) fn is_archive(path: &Path) -> bool {
    let mut head = [0; 4];
    std::fs::File::open(path)
        .and_then(|mut file| file.read_exact(&mut head))
        .is_ok_and(|()| head == *b"PK\x03\x04")
}

/// Checks a published archive and fits it again.
pub(super) fn verify(path: &Path, fit_again: bool, say: &Say) -> Result<Exit, Problem> {
    let spinner = say.spinner("checking and fitting again");
    let found = publish::check(path, fit_again)?;
    spinner.finish_and_clear();
    say.json(&found);
    if found.is_sound() {
        let again = match found.results {
            Some(results) => format!("fitted again, its {results} results are the same"),
            None => "not fitted again".into(),
        };
        say.result(&format!(
            "{} is as it was published: {} files, run {}, seal {}; {again} (published by {})",
            path.display(),
            found.members,
            found.run_id,
            found.seal,
            found.fitted_by
        ));
        return Ok(Exit::Done);
    }
    say.result(&format!("{} is not as it was published:", path.display()));
    for trouble in found.troubles.iter().take(MOST) {
        say.result(&format!("  {}: {}", trouble.member, trouble.what));
    }
    if found.troubles.len() > MOST {
        say.result(&format!(
            "  and {} more (--json has all)",
            found.troubles.len() - MOST
        ));
    }
    Ok(Exit::File)
}
