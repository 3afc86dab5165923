//! `completions`.

use clap::CommandFactory;

use super::args::{CompletionsArgs, Program};
use super::exit::{Exit, Problem};

/// Prints a completion script.
pub(super) fn completions(args: &CompletionsArgs) -> Result<Exit, Problem> {
    let mut command = Program::command();
    clap_complete::generate(args.shell, &mut command, "truerim", &mut std::io::stdout());
    Ok(Exit::Done)
}
