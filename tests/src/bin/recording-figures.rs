//! What recording costs, in one run: bytes a sample, speed, processor share, memory, forcing, and reading a slice; beside
//! h5py and a plain file.
//!
//! `cargo run --release -p acceptance --bin recording-figures -- [--hours 10] [--markdown FILE]`, with `TRUERIM_PYTHON` as
//! for the tests.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::print_stdout,
    reason = "a program for the developer's desk"
)]

use std::path::{Path, PathBuf};

use acceptance::recording_figures::{jobs, page};
use clap::Parser;

#[derive(Parser)]
struct Arguments {
    /// Length of the long recording, beside one of 1 h
    #[arg(long, default_value_t = 10)]
    hours: usize,
    /// Writes the page there instead of printing it
    #[arg(long)]
    markdown: Option<PathBuf>,
    /// Where the recordings are made: 10 h take some GB; the system's folder for such if left out
    #[arg(long)]
    folder: Option<PathBuf>,
    /// Used by this program itself: one piece of work and what it needs
    #[arg(long, num_args = 2.., hide = true)]
    job: Option<Vec<String>>,
}

fn job(words: &[String]) {
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    match words[..] {
        ["write", seconds, path] => jobs::write(seconds.parse().unwrap(), Path::new(path)),
        ["paced", seconds, path, forced] => {
            jobs::paced(seconds.parse().unwrap(), Path::new(path), forced == "yes");
        }
        ["open", path] => jobs::open(Path::new(path)),
        ["check", path] => jobs::check(Path::new(path)),
        ["slice", path] => jobs::slice(Path::new(path)),
        _ => panic!("no such job: {words:?}"),
    }
}

fn main() {
    let arguments = Arguments::parse();
    if let Some(words) = &arguments.job {
        return job(words);
    }
    let folder = match &arguments.folder {
        Some(folder) => tempfile::tempdir_in(folder).unwrap(),
        None => tempfile::tempdir().unwrap(),
    };
    let text = page::measure(arguments.hours, folder.path());
    match &arguments.markdown {
        Some(path) => std::fs::write(path, text).unwrap(),
        None => print!("{text}"),
    }
}
