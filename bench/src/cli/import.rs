//! `import`.

use super::args::ImportArgs;
use super::exit::{Exit, Problem};
use super::say::Say;
use crate::exchange::{ExchangeError, Map, Repairs, import as bring_in, limit_to, run_apart};

/// Brings in data recorded by other means.
pub(super) fn import(args: &ImportArgs, say: &Say) -> Result<Exit, Problem> {
    if args.here {
        limit_to(&args.data);
    } else if let Some(ended) = run_apart(&args.data, &args.out)? {
        return Ok(Exit::of_file(ended.code));
    }
    let text = std::fs::read_to_string(&args.map).map_err(|source| Problem::Io {
        doing: "read",
        path: args.map.display().to_string(),
        source,
    })?;
    let map = Map::from_toml(&args.map.display().to_string(), &text).map_err(ExchangeError::from)?;
    let folder = args.out.parent().filter(|folder| !folder.as_os_str().is_empty());
    if let Some(folder) = folder {
        std::fs::create_dir_all(folder).map_err(|source| Problem::Io {
            doing: "make",
            path: folder.display().to_string(),
            source,
        })?;
    }
    let repairs = if args.repair {
        Repairs::ALL
    } else {
        Repairs::default()
    };
    let spinner = say.spinner("importing");
    let done = bring_in(&args.data, &map, repairs, &args.out);
    spinner.finish_and_clear();
    let done = match done {
        Err(ExchangeError::Refused(refusal)) => {
            say.json(&refusal);
            return Err(ExchangeError::Refused(refusal).into());
        }
        other => other?,
    };
    for note in &done.notes {
        say.note(&format!("{}: {note}", note.code));
    }
    say.json(&done);
    say.result(&format!(
        "{}: {} of {} rows, {:.6} samples/s, {}; {} segments, {} steps found\nFits: {}\nSeal {}",
        args.out.display(),
        done.rows,
        done.rows_read,
        done.sample_rate_hz,
        done.channels.join(", "),
        done.segments,
        done.steps_found,
        done.fits,
        done.seal.sha256
    ));
    Ok(Exit::Done)
}
