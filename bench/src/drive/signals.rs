//! Ctrl-C and the system's requests to end, as a stop.

use std::sync::Arc;
use std::sync::atomic::{AtomicU8, Ordering};

use bench_core::run::StopCause;

use crate::platform::{Wish, on_wish_to_end};

const NOTHING: u8 = 0;
const OPERATOR: u8 = 1;
const TERMINATED: u8 = 2;

/// Set by a signal, or by another thread; looked at by the loop that drives a run.
#[derive(Debug, Clone, Default)]
pub struct StopFlag {
    wanted: Arc<AtomicU8>,
}

impl StopFlag {
    /// A flag that nobody has set, and that no signal sets.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// A flag that SIGINT (Ctrl-C), SIGTERM and SIGHUP set, for the rest of the program's life.
    ///
    /// # Errors
    /// What the system said when the handlers could not be set; then nothing may be armed.
    pub fn on_signals() -> std::io::Result<Self> {
        let flag = Self::new();
        let wanted = Arc::clone(&flag.wanted);
        on_wish_to_end(move |wish| {
            let why = match wish {
                Wish::Operator => OPERATOR,
                Wish::System => TERMINATED,
            };
            // What came first stays.
            let _ = wanted.compare_exchange(NOTHING, why, Ordering::SeqCst, Ordering::SeqCst);
        })?;
        Ok(flag)
    }

    /// Asks for a stop on the operator's behalf.
    pub fn stop(&self) {
        let _ = self
            .wanted
            .compare_exchange(NOTHING, OPERATOR, Ordering::SeqCst, Ordering::SeqCst);
    }

    /// Who asked for a stop, if anybody did.
    #[must_use]
    pub fn wanted(&self) -> Option<StopCause> {
        match self.wanted.load(Ordering::SeqCst) {
            OPERATOR => Some(StopCause::Operator),
            TERMINATED => Some(StopCause::Terminated),
            _ => None,
        }
    }
}
