//! What one system does and another does not: signals, real-time scheduling, limits of a process, free space, renaming, and a quicker way
//! to serial ports. Everything else in this crate is the same everywhere, but for the force-feedback path (`drive/force/evdev`), which is
//! Linux's own.
//!
//! `unix` and `elsewhere` have the same functions, so that a missing one is an error of the compiler and not of a run.

#[cfg(not(unix))]
mod elsewhere;
#[cfg(not(target_os = "linux"))]
mod no_prompt;
#[cfg(target_os = "linux")]
mod prompt;
#[cfg(unix)]
mod unix;

#[cfg(not(unix))]
pub(crate) use elsewhere::{
    SHORTEST_WAIT, ask_for_real_time, back_to_ordinary, crashed, free_bytes, limit, on_wish_to_end,
    rename_new, serve, sync_directory,
};
#[cfg(not(target_os = "linux"))]
pub(crate) use no_prompt::PromptPort;
#[cfg(target_os = "linux")]
pub(crate) use prompt::PromptPort;
#[cfg(unix)]
pub(crate) use unix::{
    SHORTEST_WAIT, ask_for_real_time, back_to_ordinary, crashed, free_bytes, limit, on_wish_to_end,
    rename_new, serve, sync_directory,
};

/// Who wishes the program to end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Wish {
    /// Ctrl-C.
    Operator,
    /// The system, or another program.
    System,
}
