//! `export`.

use super::args::{ExportArgs, ExportFormat};
use super::exit::{Exit, Problem};
use super::say::Say;
use crate::exchange::{Format, Selection, export as write_out, write_map};
use crate::recording::Recording;

/// Writes a recording's channels as a table.
pub(super) fn export(args: &ExportArgs, say: &Say) -> Result<Exit, Problem> {
    let recording = Recording::open(&args.recording)?;
    let format = match args.format {
        ExportFormat::Csv => Format::Csv,
        ExportFormat::Parquet => Format::Parquet,
        ExportFormat::Npz => Format::Npz,
    };
    let selection = Selection {
        channels: args.channels.clone(),
        from_s: args.from,
        to_s: args.to,
    };
    let spinner = say.spinner("exporting");
    let done = write_out(&recording, format, &selection, &args.out);
    spinner.finish_and_clear();
    let done = done?;
    if let Some(map) = &args.map {
        write_map(&recording, format, map)?;
        say.note(&format!("Wrote {}", map.display()));
    }
    say.json(&done);
    say.result(&format!(
        "{}: {} rows of {}",
        done.path.display(),
        done.rows,
        done.columns.join(", ")
    ));
    Ok(Exit::Done)
}
