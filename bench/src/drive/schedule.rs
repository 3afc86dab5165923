//! Real-time scheduling and locked memory for the thread that drives a run, as far as the system permits.

use thread_priority::unix::{
    NormalThreadSchedulePolicy, RealtimeThreadSchedulePolicy, ThreadSchedulePolicy,
    set_thread_priority_and_policy, thread_native_id,
};
use thread_priority::{ThreadPriority, ThreadPriorityValue};

/// What the system granted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Granted {
    /// First-in-first-out real-time class for this thread.
    pub real_time: bool,
    /// All present and future memory of the process stays in RAM.
    pub memory_locked: bool,
}

impl std::fmt::Display for Granted {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let word = |granted| if granted { "granted" } else { "not permitted" };
        write!(
            f,
            "real-time scheduling {}, locked memory {}",
            word(self.real_time),
            word(self.memory_locked)
        )
    }
}

/// Asks for both. A refusal is no error: the rig controller's own limits do not rest on this computer.
#[must_use]
pub fn ask_for_real_time() -> Granted {
    let policy = ThreadSchedulePolicy::Realtime(RealtimeThreadSchedulePolicy::Fifo);
    // The middle of the lower half: above ordinary work, below the kernel's own threads.
    let real_time = ThreadPriorityValue::try_from(20_u8).is_ok_and(|value| {
        set_thread_priority_and_policy(thread_native_id(), ThreadPriority::Crossplatform(value), policy)
            .is_ok()
    });
    let flags = rustix::mm::MlockAllFlags::CURRENT | rustix::mm::MlockAllFlags::FUTURE;
    Granted {
        real_time,
        memory_locked: rustix::mm::mlockall(flags).is_ok(),
    }
}

/// The middle of the ordinary class's range as `thread-priority` counts it: niceness 0 (39 steps from −20 on, by share).
/// Its least value would be niceness 19, and a recorder that is starved by any other program.
const ORDINARY: u8 = 47;

/// Puts this thread back into the ordinary class, no nicer than other programs. A thread begins in the class of the one
/// that starts it: whatever the driving thread starts for work that may wait, the disk above all, calls this first, or
/// it competes with it.
pub fn back_to_ordinary() {
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

#[cfg(test)]
#[cfg(target_os = "linux")]
mod tests {
    /// Niceness of this thread, field 19 of proc(5)'s `stat`.
    fn niceness() -> i32 {
        let stat = std::fs::read_to_string("/proc/thread-self/stat").unwrap();
        let (_, fields) = stat.rsplit_once(") ").unwrap();
        fields.split(' ').nth(16).unwrap().parse().unwrap()
    }

    #[test]
    fn ordinary_is_not_nicer_than_other_programs() {
        // A thread of its own: what it does to itself ends with it.
        let (before, after) = std::thread::spawn(|| {
            let before = niceness();
            super::back_to_ordinary();
            (before, niceness())
        })
        .join()
        .unwrap();
        assert!(after <= before.max(0), "{before} became {after}");
    }
}
