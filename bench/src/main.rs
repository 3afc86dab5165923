//! The program. See `truerim --help`.

use std::process::ExitCode;

fn main() -> ExitCode {
    truerim::cli::main()
}
