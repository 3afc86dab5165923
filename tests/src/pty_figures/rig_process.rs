//! The far side of the minute: a virtual rig, served by a process of its own.
//!
//! A process rather than a thread: on two processors it is what stands on the other side in use too, with its own
//! memory, which the bench's locking does not touch, and its own place in the scheduler. It asks for real-time
//! scheduling, as it stands for a microcontroller, whose clock no load of this computer delays.

use std::io::{BufRead, BufReader, Read, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicBool, Ordering};

use truerim::drive::schedule::ask_for_real_time;
use virtual_rig::VirtualRig;

use super::Unmeasured;

/// The argument with which the program becomes the rig's process.
pub const SERVE: &str = "--serve";

/// Serves the rig of a file on a pseudo-terminal until standard input ends. Says on standard output what was granted,
/// and the port, a line each.
///
/// # Errors
/// [`Unmeasured`] with what is wrong with the file or what the system refused.
pub fn serve_here(rig_file: &Path, seed: u64) -> Result<(), Unmeasured> {
    let file = rig_file.display().to_string();
    let text = std::fs::read_to_string(rig_file).map_err(|error| Unmeasured::from_error(&file, &error))?;
    let mut rig = VirtualRig::from_toml(&file, &text, seed)
        .map_err(|findings| Unmeasured::from_error("the rig", &findings))?;
    let ending = AtomicBool::new(false);
    std::thread::scope(|scope| {
        // The parent may end in any way: its end of the pipe closes, and this process ends too.
        scope.spawn(|| {
            let _ = std::io::copy(&mut std::io::stdin().lock(), &mut std::io::sink());
            ending.store(true, Ordering::Relaxed);
        });
        let granted = ask_for_real_time();
        let served = virtual_rig::serve::serve(
            &mut rig,
            |port| {
                let mut out = std::io::stdout().lock();
                let _ = writeln!(out, "{granted}\n{}", port.display());
                let _ = out.flush();
            },
            &ending,
        );
        served.map_err(|error| Unmeasured::from_error("serving the rig", &error))
    })
}

/// A rig's process; ends with this value.
#[derive(Debug)]
pub struct RigProcess {
    child: Child,
    /// What the system granted to it.
    pub granted: String,
    /// The port to open.
    pub port: String,
}

impl RigProcess {
    /// Starts this program a second time as the rig's process.
    ///
    /// # Errors
    /// [`Unmeasured`] when it does not start or does not name its port.
    pub fn start(rig_file: &Path, seed: u64) -> Result<Self, Unmeasured> {
        let doing = |error: &std::io::Error| Unmeasured::from_error("starting the rig's process", error);
        let program = std::env::current_exe().map_err(|error| doing(&error))?;
        let mut child = Command::new(program)
            .arg(SERVE)
            .arg(rig_file)
            .arg("--seed")
            .arg(seed.to_string())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .map_err(|error| doing(&error))?;
        let mut lines = child
            .stdout
            .take()
            .map(|out| BufReader::new(out.take(10_000)).lines());
        let mut line = || lines.as_mut().and_then(Iterator::next)?.ok();
        let (granted, port) = (line(), line());
        let mut process = Self {
            child,
            granted: String::new(),
            port: String::new(),
        };
        match (granted, port) {
            (Some(granted), Some(port)) => {
                (process.granted, process.port) = (granted, port);
                Ok(process)
            }
            _ => Err(Unmeasured("the rig's process did not name its port".to_owned())),
        }
    }
}

impl Drop for RigProcess {
    fn drop(&mut self) {
        drop(self.child.stdin.take()); // it ends when its standard input does
        let _ = self.child.kill(); // or at the latest now: nothing of it is needed any more
        let _ = self.child.wait();
    }
}
