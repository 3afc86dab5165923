//! What is said, and where: results on standard output, everything else on standard error.
#![allow(clippy::print_stdout, clippy::print_stderr)] // this is the file that speaks

use std::io::{BufRead, IsTerminal, Write};

use bench_core::run::Progress;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use serde::Serialize;

use super::args::Talk;

/// Speaks as the options ask.
#[derive(Debug, Clone, Copy)]
pub(super) struct Say {
    quiet: bool,
    pub(super) json: bool,
}

impl Say {
    pub(super) const fn new(talk: &Talk) -> Self {
        Self {
            quiet: talk.quiet,
            json: talk.json,
        }
    }

    /// Something that a person may want to know.
    pub(super) fn note(&self, text: &str) {
        if !self.quiet {
            eprintln!("{text}");
        }
    }

    /// Something that must be seen.
    pub(super) fn error(&self, text: &str) {
        eprintln!("truerim: {text}");
    }

    /// A result for people; not with `--json`.
    pub(super) fn result(&self, text: &str) {
        if !self.json {
            print_line(text);
        }
    }

    /// A result for programs; only with `--json`.
    pub(super) fn json<T: Serialize>(&self, value: &T) {
        if self.json {
            match serde_json::to_string_pretty(value) {
                Ok(text) => print_line(&text),
                Err(error) => self.error(&format!("the result cannot be written as JSON: {error}")),
            }
        }
    }

    /// Asks a person; `None` when nobody can answer.
    pub(super) fn ask(&self, question: &str) -> Option<String> {
        let input = std::io::stdin();
        if !input.is_terminal() {
            return None;
        }
        eprint!("{question} ");
        let _ = std::io::stderr().flush();
        let mut answer = String::new();
        input.lock().read_line(&mut answer).ok()?;
        Some(answer.trim().to_owned())
    }

    /// A bar for work of known length.
    pub(super) fn bar(&self) -> RunBar {
        let bar = ProgressBar::with_draw_target(Some(1_000), self.target());
        if let Ok(style) = ProgressStyle::with_template("  {msg:<32} [{bar:40}] {percent:>3} % {prefix}") {
            bar.set_style(style.progress_chars("=> "));
        }
        RunBar { bar }
    }

    /// A sign of life for work of unknown length.
    pub(super) fn spinner(&self, what: &str) -> ProgressBar {
        let bar = ProgressBar::with_draw_target(None, self.target());
        bar.set_message(what.to_owned());
        bar.enable_steady_tick(std::time::Duration::from_millis(120));
        bar
    }

    fn target(&self) -> ProgressDrawTarget {
        if self.quiet || self.json {
            ProgressDrawTarget::hidden()
        } else {
            ProgressDrawTarget::stderr()
        }
    }
}

/// Shows how far a run is.
pub(super) struct RunBar {
    bar: ProgressBar,
}

impl RunBar {
    pub(super) fn show(&self, progress: Progress) {
        self.bar.set_position((progress.share * 1_000.0) as u64);
        if self.bar.message() != progress.phase {
            self.bar.set_message(progress.phase);
        }
        self.bar
            .set_prefix(format!("{:.0} s of bench time left", progress.left_s));
    }

    pub(super) fn done(&self) {
        self.bar.finish_and_clear();
    }
}

/// Writes a line to standard output. A reader that has gone away (`| head`) is no error: what it wanted, it has.
fn print_line(text: &str) {
    let _ = writeln!(std::io::stdout().lock(), "{text}");
}
