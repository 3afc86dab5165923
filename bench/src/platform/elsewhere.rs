//! Windows. Nobody has run it there yet (README, "What works").

use std::io::{Error, ErrorKind};
use std::path::Path;
use std::process::ExitStatus;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use signal_hook::consts::{SIGINT, SIGTERM};
use thread_priority::{ThreadPriority, ThreadPriorityValue, set_current_thread_priority};
use virtual_rig::VirtualRig;

use super::Wish;
use crate::drive::clock::rest;

/// Shortest wait handed to the system: here it counts in milliseconds, and less would be nothing.
pub(crate) const SHORTEST_WAIT: Duration = Duration::from_millis(1);
/// Between two looks at whether somebody wishes this program to end.
const LOOK: Duration = Duration::from_millis(5);
/// Priorities as `thread-priority` counts them: the highest, and the middle.
const HIGH: u8 = 99;
const ORDINARY: u8 = 50;

/// Calls `wished` whenever somebody wishes this program to end, from a thread of its own, for the rest of its life.
///
/// # Errors
/// What the system said.
pub(crate) fn on_wish_to_end(wished: impl Fn(Wish) + Send + 'static) -> std::io::Result<()> {
    let flags = [SIGINT, SIGTERM].map(|signal| (signal, Arc::new(AtomicBool::new(false))));
    for (signal, flag) in &flags {
        signal_hook::flag::register(*signal, Arc::clone(flag))?;
    }
    std::thread::Builder::new()
        .name("signals".to_owned())
        .spawn(move || {
            loop {
                for (signal, flag) in &flags {
                    if flag.swap(false, Ordering::SeqCst) {
                        wished(if *signal == SIGINT {
                            Wish::Operator
                        } else {
                            Wish::System
                        });
                    }
                }
                rest(LOOK);
            }
        })?;
    Ok(())
}

fn take_priority(share: u8) -> bool {
    ThreadPriorityValue::try_from(share)
        .is_ok_and(|value| set_current_thread_priority(ThreadPriority::Crossplatform(value)).is_ok())
}

/// Asks for a high priority for this thread; memory cannot be locked as a whole.
pub(crate) fn ask_for_real_time() -> [bool; 2] {
    [take_priority(HIGH), false]
}

/// Puts this thread back to the ordinary priority.
pub(crate) fn back_to_ordinary() {
    let _ = take_priority(ORDINARY);
}

/// How a process ended that gave no exit code.
pub(crate) fn crashed(status: ExitStatus) -> String {
    format!("crashed ({status})")
}

/// There are no such limits here: what a process may use is not bounded.
pub(crate) const fn limit(_cpu_s: u64, _bytes: u64) {}

/// The system is not asked: a full disk is noticed when it refuses a write.
///
/// # Errors
/// None here.
pub(crate) const fn free_bytes(_place: &Path) -> std::io::Result<u64> {
    Ok(u64::MAX)
}

/// Names are on the disk with the files here.
///
/// # Errors
/// None here.
pub(crate) const fn sync_directory(_directory: &Path) -> std::io::Result<()> {
    Ok(())
}

/// Renames unless there is such a file.
///
/// # Errors
/// What the system said, or that there is such a file.
pub(crate) fn rename_new(from: &Path, to: &Path) -> std::io::Result<()> {
    if to.exists() {
        return Err(ErrorKind::AlreadyExists.into());
    }
    std::fs::rename(from, to)
}

/// There are no pseudo-terminals of this kind.
///
/// # Errors
/// Always.
pub(crate) fn serve(
    _rig: &mut VirtualRig,
    _opened: impl FnOnce(&Path),
    _ending: &AtomicBool,
) -> Result<(), Error> {
    let why = "this system has no pseudo-terminals; measure the virtual rig without --port, in this process";
    Err(Error::new(ErrorKind::Unsupported, why))
}
