//! The program, beside what runs it.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The program that `cargo test` built beside the tests (`src/bin/program-under-test.rs`).
///
/// # Errors
/// In words, when it is not there.
pub fn under_test() -> Result<PathBuf, String> {
    // target/PROFILE/deps/test-1234
    let test = std::env::current_exe().map_err(|error| format!("where this test lies: {error}"))?;
    let folder = test.ancestors().nth(2).unwrap_or(&test);
    let program = folder.join("program-under-test");
    match program.is_file() {
        true => Ok(program),
        false => Err(format!(
            "{} is missing; cargo test -p acceptance builds it",
            program.display()
        )),
    }
}

/// Builds the program into `folder`, which is `target/PROFILE`; returns where it lies.
///
/// # Errors
/// Why it does not build, in words.
pub fn build(folder: &Path) -> Result<PathBuf, String> {
    let target = folder
        .parent()
        .ok_or_else(|| format!("{} lies in no folder", folder.display()))?;
    let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".to_owned());
    let mut build = Command::new(cargo);
    build.args([
        "build",
        "--quiet",
        "--offline",
        "-p",
        "truerim",
        "--bin",
        "truerim",
    ]);
    build.arg("--target-dir").arg(target);
    if folder.file_name() == Some(OsStr::new("release")) {
        build.arg("--release");
    }
    build.current_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/.."));
    match build.status() {
        Ok(status) if status.success() => Ok(folder.join("truerim")),
        Ok(_) => Err("the program does not build".to_owned()),
        Err(error) => Err(format!("building the program: {error}")),
    }
}
