//! The real program: built beside this one, and run as anybody runs it.

use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use serde_json::Value;

use super::Unmeasured;

/// Builds the program into the folder that this one lies in.
///
/// # Errors
/// [`Unmeasured`] when it does not build.
pub fn build() -> Result<PathBuf, Unmeasured> {
    // target/PROFILE/pty-figures
    let own =
        std::env::current_exe().map_err(|error| Unmeasured::from_error("building the program", &error))?;
    let Some(folder) = own.parent() else {
        return Err(Unmeasured(format!("{} lies in no folder", own.display())));
    };
    crate::program::build(folder).map_err(Unmeasured)
}

/// `truerim virtual`; ends with this value.
#[derive(Debug)]
pub struct Served {
    process: Child,
    /// The port to open.
    pub port: String,
    /// What it says about what the system granted to it.
    pub granted: String,
}

impl Served {
    /// Starts it and waits for its port.
    ///
    /// # Errors
    /// [`Unmeasured`] when it does not start or names no port.
    pub fn start(program: &Path, rig: &Path, seed: u64) -> Result<Self, Unmeasured> {
        let mut process = Command::new(program)
            .arg("virtual")
            .arg("--rig")
            .arg(rig)
            .arg("--seed")
            .arg(seed.to_string())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .map_err(|error| Unmeasured::from_error("starting the virtual rig", &error))?;
        fn first_line(pipe: impl Read) -> Option<String> {
            BufReader::new(pipe.take(10_000)).lines().next()?.ok()
        }
        let port = process.stdout.take().and_then(first_line);
        let granted = process.stderr.take().and_then(first_line);
        let mut served = Self {
            process,
            port: String::new(),
            granted: granted
                .and_then(|line| line.split_once("Host: ").map(|(_, words)| words.to_owned()))
                .unwrap_or_default(),
        };
        match port {
            Some(port) => {
                served.port = port;
                Ok(served)
            }
            None => Err(Unmeasured("the virtual rig named no port".to_owned())),
        }
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

/// `truerim record … --json`: what it says at its end.
///
/// # Errors
/// [`Unmeasured`] when it does not start or says nothing that can be read. A run that ends early is no error.
pub fn record(
    program: &Path,
    rig: &Path,
    procedure: &Path,
    port: &str,
    out: &Path,
) -> Result<Value, Unmeasured> {
    let done = Command::new(program)
        .args(["record", "--yes", "--json", "--quiet"])
        .arg("--rig")
        .arg(rig)
        .arg("--procedure")
        .arg(procedure)
        .args(["--port", port])
        .arg("--out")
        .arg(out)
        .stdin(Stdio::null())
        .output()
        .map_err(|error| Unmeasured::from_error("starting the program", &error))?;
    serde_json::from_slice(&done.stdout).map_err(|error| {
        let said = String::from_utf8_lossy(&done.stderr);
        Unmeasured(format!("what the program says cannot be read: {error}; {said}"))
    })
}
