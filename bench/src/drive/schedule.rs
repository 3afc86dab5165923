//! Real-time scheduling and locked memory for the thread that drives a run, as far as the system permits.

use crate::platform;

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
    let [real_time, memory_locked] = platform::ask_for_real_time();
    Granted {
        real_time,
        memory_locked,
    }
}

/// Puts this thread back into the ordinary class, no nicer than other programs. A thread begins in the class of the one
/// that starts it: whatever the driving thread starts for work that may wait, the disk above all, calls this first, or
/// it competes with it.
pub fn back_to_ordinary() {
    platform::back_to_ordinary();
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
