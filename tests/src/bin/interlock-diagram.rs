//! Draws the diagrams of the states of bench and rig controller into DEVELOPERS.md.
#![allow(clippy::print_stdout)] // it says what it did

use std::path::Path;
use std::process::ExitCode;

fn main() -> ExitCode {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../DEVELOPERS.md");
    let done = std::fs::read_to_string(&path)
        .map_err(|error| error.to_string())
        .and_then(|page| {
            acceptance::diagram::renewed(&page).ok_or_else(|| "has no markers for them".to_owned())
        })
        .and_then(|page| std::fs::write(&path, page).map_err(|error| error.to_string()));
    match done {
        Ok(()) => {
            println!("{} is up to date", path.display());
            ExitCode::SUCCESS
        }
        Err(why) => {
            println!("{}: {why}", path.display());
            ExitCode::FAILURE
        }
    }
}
