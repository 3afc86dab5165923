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

/// Puts this thread back into the ordinary class. A thread begins in the class of the one that starts it: whatever the
/// driving thread starts for work that may wait, the disk above all, calls this first, or it competes with it.
pub fn back_to_ordinary() {
    let policy = ThreadSchedulePolicy::Normal(NormalThreadSchedulePolicy::Other);
    // Refused only to threads that never had more.
    let _ = set_thread_priority_and_policy(thread_native_id(), ThreadPriority::Min, policy);
}
