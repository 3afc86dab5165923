//! The command line: one file a command, no logic of its own.

mod args;
mod axis;
mod calibrate;
mod check;
mod columns;
mod compare;
mod completions;
mod contact;
mod correct;
mod exit;
mod export;
mod files;
mod fit;
mod import;
mod limits;
mod measure;
mod permit;
mod publish;
mod records;
mod report;
mod say;
mod signals;
mod simulate;
mod trace;

use std::process::ExitCode;

use clap::Parser;

use args::{Command, Program};

/// Runs the program with the arguments of this process.
#[must_use]
pub fn main() -> ExitCode {
    let program = Program::parse();
    let say = say::Say::new(&program.talk);
    let done = match program.command {
        Command::Measure(args) => measure::measure(&args, &say),
        Command::Record(args) => measure::record(&args, &say),
        Command::Fit(args) => fit::fit(&args, &say),
        Command::Report(args) => report::report(&args, &say),
        Command::Publish(args) => publish::publish(&args, &say),
        Command::Compare(args) => compare::compare(&args, &say),
        Command::Check(args) => check::check(&args, &say),
        Command::Ports => check::list_ports(&say),
        Command::Calibrate(what) => calibrate::calibrate(&what, &say),
        Command::Virtual(args) => simulate::simulate(&args, &say),
        Command::Verify(args) => files::verify(&args, &say),
        Command::Recover(args) => files::recover(&args, &say),
        Command::Import(args) => import::import(&args, &say),
        Command::Export(args) => export::export(&args, &say),
        Command::Trace(args) => trace::trace(&args, &say),
        Command::Axis(args) => axis::axis(&args, &say),
        Command::Records(what) => records::records(&what, &say),
        Command::Correct(args) => correct::correct(&args, &say),
        Command::Completions(args) => completions::completions(&args),
    };
    match done {
        Ok(code) => code.into(),
        Err(problem) => {
            say.error(&problem.to_string());
            problem.code().into()
        }
    }
}
