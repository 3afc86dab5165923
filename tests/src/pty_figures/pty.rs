//! A pseudo-terminal, raw: the device's end, and the end that serial programs open.

use std::os::fd::{AsFd, OwnedFd};
use std::time::Duration;

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fs::{Mode, OFlags};
use rustix::io::Errno;
use rustix::pty::OpenptFlags;
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};

use super::Unmeasured;

/// Both ends. Reading never blocks on either; [`wait`] waits.
#[derive(Debug)]
pub struct Pty {
    /// The device's end.
    pub device: OwnedFd,
    /// The other end, open beside whatever opens [`Pty::path`], so that the device's end outlives it.
    pub far_end: OwnedFd,
    /// What to open as a serial port.
    pub path: String,
}

impl Pty {
    /// A fresh one.
    ///
    /// # Errors
    /// What the system refused.
    pub fn open() -> Result<Self, Unmeasured> {
        Self::try_open().map_err(|errno| Unmeasured::from_error("opening a pseudo-terminal", &errno))
    }

    fn try_open() -> Result<Self, Errno> {
        let device = rustix::pty::openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)?;
        rustix::pty::grantpt(&device)?;
        rustix::pty::unlockpt(&device)?;
        let name = rustix::pty::ptsname(&device, Vec::new())?;
        let mut settings = tcgetattr(&device)?;
        settings.make_raw();
        tcsetattr(&device, OptionalActions::Now, &settings)?;
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC | OFlags::NONBLOCK;
        let far_end = rustix::fs::open(name.as_c_str(), flags, Mode::empty())?;
        let status = rustix::fs::fcntl_getfl(&device)?;
        rustix::fs::fcntl_setfl(&device, status | OFlags::NONBLOCK)?;
        let path = name.to_string_lossy().into_owned();
        Ok(Self {
            device,
            far_end,
            path,
        })
    }
}

/// Waits until there is something to read, at most for `patience`; whether there is.
///
/// # Errors
/// What the system said.
pub fn wait(end: &impl AsFd, patience: Duration) -> Result<bool, Errno> {
    let timeout = Timespec {
        tv_sec: i64::try_from(patience.as_secs()).unwrap_or(i64::MAX),
        tv_nsec: i64::from(patience.subsec_nanos()),
    };
    match poll(&mut [PollFd::new(end, PollFlags::IN)], Some(&timeout)) {
        Ok(ready) => Ok(ready > 0),
        Err(Errno::INTR) => Ok(false),
        Err(errno) => Err(errno),
    }
}

/// Reads what is there, perhaps nothing, into the front of `chunk`.
///
/// # Errors
/// What the system said.
pub fn read<'a>(end: &impl AsFd, chunk: &'a mut [u8]) -> Result<&'a [u8], Errno> {
    match rustix::io::read(end, &mut *chunk) {
        Ok(count) => Ok(chunk.get(..count).unwrap_or_default()),
        Err(Errno::AGAIN | Errno::INTR) => Ok(&[]),
        Err(errno) => Err(errno),
    }
}

/// Writes all of `bytes` at once.
///
/// # Errors
/// [`Errno::AGAIN`] when not all of them fit: nobody reads the other end.
pub fn write(end: &impl AsFd, bytes: &[u8]) -> Result<(), Errno> {
    match rustix::io::write(end, bytes)? {
        count if count == bytes.len() => Ok(()),
        _ => Err(Errno::AGAIN),
    }
}
