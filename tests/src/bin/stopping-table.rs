//! Prints how far each wheelbase's free rim goes on turning after a stop, beside the closed form.
#![allow(clippy::print_stdout, clippy::print_stderr)] // a program for people

use std::process::ExitCode;

use acceptance::stopping::{rows, table};
use clap::Parser;

/// Travel of a free rim after a stop, by coasting and by braking, from the virtual plant and from a closed form.
#[derive(Debug, Parser)]
struct Arguments {
    /// Starting angles of the rim for each stop
    #[arg(long, default_value_t = 24)]
    starts: u32,
    /// Print the table as the README has it
    #[arg(long)]
    markdown: bool,
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    match rows(arguments.starts) {
        Ok(rows) => {
            print!("{}", table(&rows, arguments.markdown));
            ExitCode::SUCCESS
        }
        Err(problem) => {
            eprintln!("stopping-table: {problem}");
            ExitCode::FAILURE
        }
    }
}
