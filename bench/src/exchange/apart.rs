//! HDF5 data in a process of their own.
//!
//! HDF5's library trusts what it reads more than a file from elsewhere deserves: a wrong byte in one of its heaps or
//! trees, which older formats keep without a checksum, can crash it, send it round in circles, or have it ask for all
//! memory there is. None of that can be caught in the same process. So the program imports such a file in a second
//! process of itself, with limits, and says what became of it.

use std::path::{Path, PathBuf};
use std::process::Command;

use super::ExchangeError;
use super::import::is_hdf5;
use crate::platform;

/// Processor time for any file, s, and bytes of it that a second more is granted for.
const CPU_S: u64 = 120;
const BYTES_PER_S: u64 = 1 << 17;
/// Address space, bytes: far more than reading in pieces takes.
const MOST_BYTES: u64 = 4 << 30;

/// How the second process ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Ended {
    /// Its exit code.
    pub code: u8,
}

/// Runs this program's own command line again with `--here` behind it, if `data` is read by HDF5's library; `None` if it
/// is not. The second process talks for itself.
///
/// # Errors
/// [`ExchangeError::Format`] if it crashed or went beyond its limits: what it began at `out` is removed.
/// [`ExchangeError::Io`] if `data` cannot be read or no process can be started.
pub fn run_apart(data: &Path, out: &Path) -> Result<Option<Ended>, ExchangeError> {
    if !is_hdf5(data)? {
        return Ok(None);
    }
    let was_there = out.exists();
    let status = std::env::current_exe()
        .and_then(|program| {
            let mut again = Command::new(program);
            again.args(std::env::args_os().skip(1)).arg("--here").status()
        })
        .map_err(|e| ExchangeError::io("start a process to read", data, e))?;
    if let Some(code) = status.code() {
        let code = u8::try_from(code).unwrap_or(1);
        return Ok(Some(Ended { code }));
    }
    if !was_there {
        for ending in ["", ".creating", ".sealing"] {
            let mut name = out.as_os_str().to_owned();
            name.push(ending);
            // Mostly there is none of them.
            let _ = std::fs::remove_file(PathBuf::from(name));
        }
    }
    let what = format!(
        "is damaged so that HDF5's own library {}",
        platform::crashed(status)
    );
    let fix = "nothing was imported: restore the file, or save it again with the program that made it";
    Err(ExchangeError::format(data, what, fix))
}

/// Limits this process to what importing `data` can need.
pub fn limit_to(data: &Path) {
    let bytes = std::fs::metadata(data).map_or(0, |about| about.len());
    limit(CPU_S + bytes / BYTES_PER_S, MOST_BYTES);
}

/// Limits this process to so much processor time, from its start on, and so much address space. Where the system refuses, the file is
/// read without.
pub fn limit(cpu_s: u64, bytes: u64) {
    platform::limit(cpu_s, bytes);
}
