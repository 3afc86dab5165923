//! Other work: processes of ordinary priority that keep every processor busy.
//!
//! Processes rather than threads: the bench's own locking of memory does not touch them, and the scheduler weighs them
//! as it would somebody else's programs.

use std::io::Read;
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};

use super::Unmeasured;

/// The argument with which the program becomes a busy process.
pub const SPIN: &str = "--spin";
/// Turns between two looks whether to end.
const TURNS: u64 = 1 << 20;

/// Keeps one processor busy until standard input ends.
pub fn spin_here() {
    let ending = AtomicBool::new(false);
    std::thread::scope(|scope| {
        // The parent may end in any way: its end of the pipe closes, and this process ends too.
        scope.spawn(|| {
            let _ = std::io::copy(&mut std::io::stdin().lock().take(u64::MAX), &mut std::io::sink());
            ending.store(true, Ordering::Relaxed);
        });
        let mut number = 1_u64;
        while !ending.load(Ordering::Relaxed) {
            for turn in 0..TURNS {
                number = std::hint::black_box(number.wrapping_mul(6_364_136_223_846_793_005) ^ turn);
            }
        }
    });
}

/// Busy processes; they end with this value.
#[derive(Debug)]
pub struct Load {
    processes: Vec<Child>,
}

impl Load {
    /// Starts `count` of them.
    ///
    /// # Errors
    /// [`Unmeasured`] when one does not start.
    pub fn start(count: usize) -> Result<Self, Unmeasured> {
        let doing = |error: &std::io::Error| Unmeasured::from_error("starting a busy process", error);
        let program = std::env::current_exe().map_err(|error| doing(&error))?;
        let mut load = Self {
            processes: Vec::new(),
        };
        for _ in 0..count {
            let process = Command::new(&program)
                .arg(SPIN)
                .stdin(Stdio::piped())
                .stdout(Stdio::null())
                .spawn()
                .map_err(|error| doing(&error))?;
            load.processes.push(process);
        }
        Ok(load)
    }

    /// How many there are.
    #[must_use]
    pub fn processes(&self) -> usize {
        self.processes.len()
    }
}

impl Drop for Load {
    fn drop(&mut self) {
        for process in &mut self.processes {
            drop(process.stdin.take());
            let _ = process.kill();
            let _ = process.wait();
        }
    }
}
