//! A virtual rig on a pseudo-terminal, in real time: to anything that opens serial ports it looks like a rig.
//!
//! One thread, no spinning: it waits for bytes or for the rig's next output, whichever is first, lets the rig catch up
//! with the wall clock, and passes bytes on. The other side may close the port and open it again; while nobody has it
//! open, what the rig says is lost, as on a cable that ends in the air.

mod clock;

use std::io::ErrorKind;
use std::os::fd::OwnedFd;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fs::OFlags;
use rustix::io::Errno;
use rustix::pty::OpenptFlags;
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};

use crate::VirtualRig;
use clock::WallClock;

/// Longest wait without anything to do: also how soon a stop is noticed.
const LONGEST_WAIT: Duration = Duration::from_millis(5);
/// Wait between two looks at a port that nobody has open.
const CLOSED_WAIT: Duration = Duration::from_millis(2);
/// Bytes read or written at a time.
const CHUNK: usize = 4096;

/// Why a rig could not be served.
#[derive(Debug, thiserror::Error)]
pub enum ServeError {
    /// The system gave no pseudo-terminal.
    #[error("no pseudo-terminal for the virtual rig: {step} failed ({source}); check /dev/pts and its limit")]
    Open {
        /// What failed.
        step: &'static str,
        /// The system's answer.
        source: std::io::Error,
    },
    /// The pseudo-terminal failed while it was in use.
    #[error("the virtual rig's pseudo-terminal failed: {0}; the rig is switched off, start it again")]
    Port(std::io::Error),
}

/// Serves `rig` until `stop` becomes true. `opened` is called once, before the first byte, with the path of the port
/// to open.
///
/// # Errors
/// [`ServeError`] when no pseudo-terminal can be had or it fails. The other side closing it is no error.
pub fn serve(rig: &mut VirtualRig, opened: impl FnOnce(&Path), stop: &AtomicBool) -> Result<(), ServeError> {
    let (port, path) = open()?;
    opened(&path);
    let clock = WallClock::start(rig.tick());
    let mut waiting: Vec<u8> = Vec::new();
    let mut chunk = [0_u8; CHUNK];
    let mut anybody = true;
    while !stop.load(Ordering::Relaxed) {
        let wait = if anybody {
            clock.until(rig.next_output_tick()).min(LONGEST_WAIT)
        } else {
            CLOSED_WAIT
        };
        wait_for(&port, wait, anybody, !waiting.is_empty())?;
        rig.advance_to(clock.tick());
        anybody = read_all(&port, &mut chunk, rig)?;
        if !anybody {
            waiting.clear();
            rig.transmit(&mut waiting);
            waiting.clear();
            continue;
        }
        if waiting.is_empty() {
            // What does not fit the port waits here; the rig keeps its own bounded store behind it.
            rig.transmit(&mut waiting);
        }
        write_some(&port, &mut waiting)?;
    }
    Ok(())
}

fn open() -> Result<(OwnedFd, PathBuf), ServeError> {
    let failed = |step| {
        move |errno: Errno| ServeError::Open {
            step,
            source: errno.into(),
        }
    };
    let flags = OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC;
    let port = rustix::pty::openpt(flags).map_err(failed("opening"))?;
    rustix::pty::grantpt(&port).map_err(failed("granting"))?;
    rustix::pty::unlockpt(&port).map_err(failed("unlocking"))?;
    let name = rustix::pty::ptsname(&port, Vec::new()).map_err(failed("naming"))?;
    let mut settings = tcgetattr(&port).map_err(failed("reading its settings"))?;
    settings.make_raw();
    tcsetattr(&port, OptionalActions::Now, &settings).map_err(failed("setting raw mode"))?;
    let status = rustix::fs::fcntl_getfl(&port).map_err(failed("reading its flags"))?;
    rustix::fs::fcntl_setfl(&port, status | OFlags::NONBLOCK).map_err(failed("setting its flags"))?;
    Ok((port, PathBuf::from(name.to_string_lossy().into_owned())))
}

/// Waits until bytes arrive, there is room for more, or the time is over. A port that nobody has open reports that at
/// once and for ever, so it is not asked.
fn wait_for(port: &OwnedFd, wait: Duration, anybody: bool, writing: bool) -> Result<(), ServeError> {
    let timeout = Timespec {
        tv_sec: wait.as_secs() as i64,
        tv_nsec: i64::from(wait.subsec_nanos()),
    };
    let mut events = PollFlags::IN;
    if writing {
        events |= PollFlags::OUT;
    }
    let mut ports = [PollFd::new(port, events)];
    let asked = if anybody { ports.as_mut_slice() } else { &mut [] };
    match poll(asked, Some(&timeout)) {
        Ok(_) | Err(Errno::INTR) => Ok(()),
        Err(errno) => Err(ServeError::Port(errno.into())),
    }
}

/// Passes on what has arrived; `false` when nobody has the port open.
fn read_all(port: &OwnedFd, chunk: &mut [u8], rig: &mut VirtualRig) -> Result<bool, ServeError> {
    // Bounded: a sender faster than this is served in the next round.
    for _ in 0..16 {
        match rustix::io::read(port, &mut *chunk) {
            Ok(0) | Err(Errno::IO) => return Ok(false),
            Ok(length) => rig.receive(chunk.get(..length).unwrap_or_default()),
            Err(Errno::AGAIN | Errno::INTR) => return Ok(true),
            Err(errno) => return Err(ServeError::Port(errno.into())),
        }
    }
    Ok(true)
}

/// Writes what the port takes of `waiting` and keeps the rest.
fn write_some(port: &OwnedFd, waiting: &mut Vec<u8>) -> Result<(), ServeError> {
    while !waiting.is_empty() {
        match rustix::io::write(port, waiting) {
            Ok(length) => {
                waiting.drain(..length.min(waiting.len()));
            }
            Err(Errno::AGAIN | Errno::INTR) => return Ok(()),
            Err(Errno::IO) => {
                waiting.clear(); // closed between reading and writing
                return Ok(());
            }
            Err(errno) => {
                let error = std::io::Error::from(errno);
                return if error.kind() == ErrorKind::BrokenPipe {
                    Ok(())
                } else {
                    Err(ServeError::Port(error))
                };
            }
        }
    }
    Ok(())
}
