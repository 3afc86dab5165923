//! The real program, built beside what runs it.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::Command;

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
