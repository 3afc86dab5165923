//! A serial port of Linux, waited for, read and written without waiting for the kernel's own worker.
//!
//! Received bytes pass from the driver to the reader by a worker thread of ordinary priority, pseudo-terminals and USB
//! adapters alike. `poll` on a terminal that has nothing to read waits until that worker has run, whatever the time
//! limit and even when only room to write is asked for (`n_tty_poll` calls `tty_buffer_flush_work`); on a busy
//! computer a thread of the real-time class was seen to come back 10 to 20 ms late from it. So the port is never
//! polled here: an edge-triggered `epoll` says when bytes have come, and its own descriptor is what is waited on.

use std::os::fd::OwnedFd;
use std::time::Duration;

use rustix::event::{PollFd, PollFlags, Timespec, epoll, poll};
use rustix::fs::{Mode, OFlags};
use rustix::io::Errno;

/// Reads in one turn at most; each takes all that the kernel holds for one reader.
const READS: usize = 4;

/// A second way to a port that is open already, or about to be.
#[derive(Debug)]
pub(crate) struct PromptPort {
    port: OwnedFd,
    arrivals: OwnedFd,
    /// More was there than was read: no new edge will tell of it.
    left: bool,
}

impl PromptPort {
    /// Opens the way; `None` where it cannot be had, as when somebody has the port for himself.
    pub(crate) fn open(name: &str) -> Option<Self> {
        let flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::NONBLOCK | OFlags::CLOEXEC;
        let port = rustix::fs::open(name, flags, Mode::empty()).ok()?;
        let arrivals = epoll::create(epoll::CreateFlags::CLOEXEC).ok()?;
        let edges = epoll::EventFlags::IN | epoll::EventFlags::ET;
        epoll::add(&arrivals, &port, epoll::EventData::new_u64(0), edges).ok()?;
        Some(Self {
            port,
            arrivals,
            left: false,
        })
    }

    /// Waits until bytes have come or the port has failed, at most for `patience`; whether it is worth reading.
    pub(crate) fn wait(&self, patience: Duration) -> Result<bool, std::io::Error> {
        if self.left {
            return Ok(true);
        }
        let timeout = Timespec {
            tv_sec: i64::try_from(patience.as_secs()).unwrap_or(i64::MAX),
            tv_nsec: i64::from(patience.subsec_nanos()),
        };
        // The time limit of `epoll_wait` counts in milliseconds; that of `poll` does not.
        match poll(&mut [PollFd::new(&self.arrivals, PollFlags::IN)], Some(&timeout)) {
            Ok(0) | Err(Errno::INTR) => return Ok(false),
            Ok(_) => {}
            Err(errno) => return Err(errno.into()),
        }
        let mut events = [epoll::Event {
            flags: epoll::EventFlags::empty(),
            data: epoll::EventData::new_u64(0),
        }];
        let now = Timespec {
            tv_sec: 0,
            tv_nsec: 0,
        };
        match epoll::wait(&self.arrivals, &mut events, Some(&now)) {
            Ok(count) => Ok(count > 0),
            Err(Errno::INTR) => Ok(false), // the edge is still there
            Err(errno) => Err(errno.into()),
        }
    }

    /// Appends what has come to `inbox`.
    pub(crate) fn read(&mut self, chunk: &mut [u8], inbox: &mut Vec<u8>) -> Result<(), std::io::Error> {
        self.left = false;
        for _ in 0..READS {
            match rustix::io::read(&self.port, &mut *chunk) {
                Ok(0) => return Err(std::io::ErrorKind::UnexpectedEof.into()),
                Ok(count) => inbox.extend_from_slice(chunk.get(..count).unwrap_or_default()),
                Err(Errno::AGAIN) => return Ok(()),
                Err(Errno::INTR) => break, // read again in the next turn
                Err(errno) => return Err(errno.into()),
            }
            if rustix::io::ioctl_fionread(&self.port)? == 0 {
                return Ok(());
            }
        }
        self.left = true;
        Ok(())
    }

    /// Writes what the port takes at once; how much that was.
    pub(crate) fn write(&self, bytes: &[u8]) -> Result<usize, std::io::Error> {
        match rustix::io::write(&self.port, bytes) {
            Err(Errno::AGAIN | Errno::INTR) => Ok(0),
            other => other.map_err(Into::into),
        }
    }
}
