//! The program, `truerim`, as a target of this package: `cargo test` builds it with what the tests link anyway, so that tests
//! of processes need no second build.

use std::process::ExitCode;

fn main() -> ExitCode {
    truerim::cli::main()
}
