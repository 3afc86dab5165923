//! A virtual rig on a pseudo-terminal, in real time: to anything that opens serial ports it looks like a rig.
//!
//! One thread, no spinning: it waits for bytes or for the rig's next output, whichever is first, lets the rig catch up
//! with the wall clock, and passes bytes on. The other side may close the port, or die, and open it again: the server
//! keeps the port's far end open too, so that it does not vanish, and takes back the exclusive use that a killed
//! program leaves behind (its advisory lock, which ends with it, still keeps a second one out). Output that nobody
//! takes is thrown away after a while, as on a cable that ends in the air.

mod clock;

use std::os::fd::OwnedFd;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fs::{Mode, OFlags};
use rustix::io::{Errno, FdFlags};
use rustix::pty::OpenptFlags;
use rustix::termios::{OptionalActions, QueueSelector, ioctl_tiocnxcl, tcflush, tcgetattr, tcsetattr};

use crate::VirtualRig;
use clock::WallClock;

/// Longest wait without anything to do: also how soon a stop is noticed.
const LONGEST_WAIT: Duration = Duration::from_millis(5);
/// Output that the port has not taken for this long is thrown away, ticks.
const STUCK_US: u64 = 500_000;
/// Exclusive use is taken back this often, ticks.
const SHARE_US: u64 = 250_000;
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
    let (port, far_end, path) = open()?;
    opened(&path);
    let clock = WallClock::start(rig.tick());
    let mut waiting: Vec<u8> = Vec::new();
    let mut chunk = [0_u8; CHUNK];
    let (mut taken_at, mut shared_at) = (rig.tick(), rig.tick());
    while !stop.load(Ordering::Relaxed) {
        let wait = clock.until(rig.next_output_tick()).min(LONGEST_WAIT);
        wait_for(&port, wait, !waiting.is_empty())?;
        let now = clock.tick();
        rig.advance_to(now);
        read_all(&port, &mut chunk, rig)?;
        if waiting.is_empty() {
            // What does not fit the port waits here; the rig keeps its own bounded store behind it.
            rig.transmit(&mut waiting);
            taken_at = now;
        }
        if write_some(&port, &mut waiting)? {
            taken_at = now;
        } else if now.saturating_sub(taken_at) > STUCK_US {
            waiting.clear();
            rig.transmit(&mut waiting);
            waiting.clear();
            tcflush(&far_end, QueueSelector::IFlush).map_err(|errno| ServeError::Port(errno.into()))?;
        }
        if now.saturating_sub(shared_at) > SHARE_US {
            shared_at = now;
            ioctl_tiocnxcl(&far_end).map_err(|errno| ServeError::Port(errno.into()))?;
        }
    }
    Ok(())
}

/// The port, its far end, and the far end's path.
fn open() -> Result<(OwnedFd, OwnedFd, PathBuf), ServeError> {
    let failed = |step| {
        move |errno: Errno| ServeError::Open {
            step,
            source: errno.into(),
        }
    };
    let port = rustix::pty::openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).map_err(failed("opening"))?;
    // Not every system takes this flag when it opens one.
    rustix::io::fcntl_setfd(&port, FdFlags::CLOEXEC).map_err(failed("keeping it from children"))?;
    rustix::pty::grantpt(&port).map_err(failed("granting"))?;
    rustix::pty::unlockpt(&port).map_err(failed("unlocking"))?;
    let name = rustix::pty::ptsname(&port, Vec::new()).map_err(failed("naming"))?;
    let mut settings = tcgetattr(&port).map_err(failed("reading its settings"))?;
    settings.make_raw();
    tcsetattr(&port, OptionalActions::Now, &settings).map_err(failed("setting raw mode"))?;
    let status = rustix::fs::fcntl_getfl(&port).map_err(failed("reading its flags"))?;
    rustix::fs::fcntl_setfl(&port, status | OFlags::NONBLOCK).map_err(failed("setting its flags"))?;
    let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
    let far_end =
        rustix::fs::open(name.as_c_str(), flags, Mode::empty()).map_err(failed("opening its far end"))?;
    Ok((port, far_end, PathBuf::from(name.to_string_lossy().into_owned())))
}

/// Waits until bytes arrive, there is room for more, or the time is over.
fn wait_for(port: &OwnedFd, wait: Duration, writing: bool) -> Result<(), ServeError> {
    let timeout = Timespec {
        tv_sec: wait.as_secs() as i64,
        tv_nsec: i64::from(wait.subsec_nanos()),
    };
    let events = if writing {
        PollFlags::IN | PollFlags::OUT
    } else {
        PollFlags::IN
    };
    match poll(&mut [PollFd::new(port, events)], Some(&timeout)) {
        Ok(_) | Err(Errno::INTR) => Ok(()),
        Err(errno) => Err(ServeError::Port(errno.into())),
    }
}

/// Passes on what has arrived.
fn read_all(port: &OwnedFd, chunk: &mut [u8], rig: &mut VirtualRig) -> Result<(), ServeError> {
    // Bounded: a sender faster than this is served in the next round.
    for _ in 0..16 {
        match rustix::io::read(port, &mut *chunk) {
            Ok(length) if length > 0 => rig.receive(chunk.get(..length).unwrap_or_default()),
            Ok(_) | Err(Errno::AGAIN | Errno::INTR) => return Ok(()),
            Err(errno) => return Err(ServeError::Port(errno.into())),
        }
    }
    Ok(())
}

/// Writes what the port takes of `waiting` and keeps the rest; whether it took anything, or there was nothing.
fn write_some(port: &OwnedFd, waiting: &mut Vec<u8>) -> Result<bool, ServeError> {
    let mut taken = waiting.is_empty();
    while !waiting.is_empty() {
        match rustix::io::write(port, waiting) {
            Ok(length) => {
                waiting.drain(..length.min(waiting.len()));
                taken = true;
            }
            Err(Errno::AGAIN | Errno::INTR) => break,
            Err(errno) => return Err(ServeError::Port(errno.into())),
        }
    }
    Ok(taken)
}
