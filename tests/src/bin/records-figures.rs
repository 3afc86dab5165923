//! What records cost once there are many: 100,000 units of 40 measurands, in SQLite and PostgreSQL.
//!
//! `cargo run --release -p acceptance --bin records-figures -- [--units 100000] [--markdown docs/records-figures.md]`; with
//! `--refit 1000` what fitting an archive of so many recordings again costs instead.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a program for the developer's desk"
)]

use std::path::PathBuf;

use acceptance::pty_figures::host::Host;
use acceptance::records_figures::{Size, job, measure};
use clap::Parser;
use truerim::drive::clock::today;

#[derive(Parser)]
struct Arguments {
    /// Units, measured once each
    #[arg(long, default_value_t = 100_000)]
    units: u64,
    /// Measurands of each
    #[arg(long, default_value_t = 40)]
    measurands: u64,
    /// Only this database: sqlite or postgres
    #[arg(long)]
    only: Option<String>,
    /// Writes the page there instead of printing it
    #[arg(long)]
    markdown: Option<PathBuf>,
    /// Where the file of SQLite is made: 2 GB; the system's folder for such if left out
    #[arg(long)]
    folder: Option<PathBuf>,
    /// Leaves verifying out, which takes longer than all else
    #[arg(long)]
    no_verify: bool,
    /// Instead: makes an archive of so many recordings and fits it again, killed in the middle
    #[arg(long, value_name = "RECORDINGS")]
    refit: Option<usize>,
    /// Used by this program itself: a bench that adds
    #[arg(long, num_args = 3, hide = true)]
    job: Option<Vec<String>>,
}

fn main() {
    let arguments = Arguments::parse();
    if let Some([url, number, measurands]) = arguments.job.as_deref() {
        return job(url, number.parse().unwrap(), measurands.parse().unwrap());
    }
    let folder = match &arguments.folder {
        Some(folder) => tempfile::tempdir_in(folder).unwrap(),
        None => tempfile::tempdir().unwrap(),
    };
    let Host { kernel, processors } = Host::read();
    let about = format!(
        "Written by `cargo run --release -p acceptance --bin records-figures` on {}: {kernel}, \
         {processors} processors.",
        today()
    );
    let size = Size {
        units: arguments.units,
        measurands: arguments.measurands,
    };
    let text = match arguments.refit {
        Some(count) => {
            // target/PROFILE/records-figures
            let own = std::env::current_exe().unwrap();
            let program = acceptance::program::build(own.parent().unwrap()).unwrap();
            acceptance::refit_figures::measure(count, &program, folder.path(), &about)
        }
        None => {
            let only = arguments.only.as_deref();
            measure(size, folder.path(), only, &about, !arguments.no_verify)
        }
    };
    match &arguments.markdown {
        Some(path) => std::fs::write(path, text).unwrap(),
        None => print!("{text}"),
    }
}
