//! Linux, macOS and their relatives.

use std::io::{Error, ErrorKind};
use std::path::Path;
use std::process::ExitStatus;
use std::sync::atomic::AtomicBool;
use std::time::Duration;

use rustix::process::{Resource, Rlimit, Signal, setrlimit};
use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
use signal_hook::iterator::Signals;
use thread_priority::unix::{
    NormalThreadSchedulePolicy, RealtimeThreadSchedulePolicy, ThreadSchedulePolicy,
    set_thread_priority_and_policy, thread_native_id,
};
use thread_priority::{ThreadPriority, ThreadPriorityValue};
use virtual_rig::VirtualRig;

use super::Wish;

/// Shortest wait handed to the system: about as soon as it can wake a thread at all; a wait of nothing would spin.
#[cfg(target_os = "linux")]
pub(crate) const SHORTEST_WAIT: Duration = Duration::from_micros(50);
/// Shortest wait handed to the system: here it counts in milliseconds, and less would be nothing.
#[cfg(not(target_os = "linux"))]
pub(crate) const SHORTEST_WAIT: Duration = Duration::from_millis(1);

/// Calls `wished` whenever somebody wishes this program to end, from a thread of its own, for the rest of its life.
///
/// # Errors
/// What the system said.
pub(crate) fn on_wish_to_end(wished: impl Fn(Wish) + Send + 'static) -> std::io::Result<()> {
    let mut signals = Signals::new([SIGINT, SIGTERM, SIGHUP])?;
    std::thread::Builder::new()
        .name("signals".to_owned())
        .spawn(move || {
            for signal in signals.forever() {
                wished(if signal == SIGINT {
                    Wish::Operator
                } else {
                    Wish::System
                });
            }
        })?;
    Ok(())
}

/// Asks for the real-time class for this thread and for locked memory; which of both was granted.
pub(crate) fn ask_for_real_time() -> [bool; 2] {
    let policy = ThreadSchedulePolicy::Realtime(RealtimeThreadSchedulePolicy::Fifo);
    // The middle of the lower half: above ordinary work, below the kernel's own threads.
    let real_time = ThreadPriorityValue::try_from(20_u8).is_ok_and(|value| {
        set_thread_priority_and_policy(thread_native_id(), ThreadPriority::Crossplatform(value), policy)
            .is_ok()
    });
    [real_time, lock_memory()]
}

#[cfg(target_os = "linux")]
fn lock_memory() -> bool {
    let flags = rustix::mm::MlockAllFlags::CURRENT | rustix::mm::MlockAllFlags::FUTURE;
    rustix::mm::mlockall(flags).is_ok()
}

/// There is no such request on every system.
#[cfg(not(target_os = "linux"))]
const fn lock_memory() -> bool {
    false
}

/// The middle of the ordinary class's range as `thread-priority` counts it: niceness 0 (39 steps from −20 on, by share).
/// Its least value would be niceness 19, and a recorder that is starved by any other program.
const ORDINARY: u8 = 47;

/// Puts this thread back into the ordinary class.
pub(crate) fn back_to_ordinary() {
    let policy = ThreadSchedulePolicy::Normal(NormalThreadSchedulePolicy::Other);
    if let Ok(ordinary) = ThreadPriorityValue::try_from(ORDINARY) {
        // Refused only to threads that never had more.
        let _ = set_thread_priority_and_policy(
            thread_native_id(),
            ThreadPriority::Crossplatform(ordinary),
            policy,
        );
    }
}

/// How a process ended that gave no exit code.
pub(crate) fn crashed(status: ExitStatus) -> String {
    use std::os::unix::process::ExitStatusExt;
    let signal = status.signal().unwrap_or(0);
    if signal == Signal::XCPU.as_raw() {
        "did not come to an end".to_owned()
    } else {
        format!("crashed (signal {signal})")
    }
}

/// Limits this process to so much processor time, from its start on, and so much address space, where the system does.
pub(crate) fn limit(cpu_s: u64, bytes: u64) {
    // At the first of these the system says why it ends the process, at the second it no longer does.
    let cpu = (cpu_s, cpu_s.saturating_add(5));
    for (resource, (current, maximum)) in [(Resource::Cpu, cpu), (Resource::As, (bytes, bytes))] {
        let limit = Rlimit {
            current: Some(current),
            maximum: Some(maximum),
        };
        let _ = setrlimit(resource, limit);
    }
}

/// Bytes free for this user on the file system of `place`.
///
/// # Errors
/// What the system said.
pub(crate) fn free_bytes(place: &Path) -> std::io::Result<u64> {
    let told = rustix::fs::statvfs(place)?;
    Ok(told.f_bavail.saturating_mul(told.f_frsize))
}

/// Forces the names in a directory to the disk: a new name is safe only then.
///
/// # Errors
/// What the system said.
pub(crate) fn sync_directory(directory: &Path) -> std::io::Result<()> {
    std::fs::File::open(directory)?.sync_all()
}

/// Renames in a single step where the system can do so without replacing a file.
///
/// # Errors
/// What the system said, or that there is such a file.
pub(crate) fn rename_new(from: &Path, to: &Path) -> std::io::Result<()> {
    #[cfg(any(target_os = "linux", target_vendor = "apple"))]
    {
        use rustix::fs::{CWD, RenameFlags, renameat_with};
        use rustix::io::Errno;
        match renameat_with(CWD, from, CWD, to, RenameFlags::NOREPLACE) {
            // Some file systems (network ones above all) do not know the flag.
            Err(Errno::INVAL | Errno::NOSYS | Errno::NOTSUP) => {}
            done => return done.map_err(Into::into),
        }
    }
    if to.exists() {
        return Err(ErrorKind::AlreadyExists.into());
    }
    std::fs::rename(from, to)
}

/// Serves a virtual rig on a pseudo-terminal.
///
/// # Errors
/// Why it could not be served.
pub(crate) fn serve(
    rig: &mut VirtualRig,
    opened: impl FnOnce(&Path),
    ending: &AtomicBool,
) -> Result<(), Error> {
    virtual_rig::serve::serve(rig, opened, ending).map_err(Error::other)
}
