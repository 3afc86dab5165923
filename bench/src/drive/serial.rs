//! A serial port in real time.

use std::io::{ErrorKind, Read, Write};
use std::time::Duration;

use bench_core::time::HostNs;
use serialport::{ClearBuffer, SerialPort};

use super::clock::{HostClock, remaining};
use super::{Line, LineError, ports};
use crate::platform::{PromptPort, SHORTEST_WAIT};

/// Bytes taken in one read; more than the rig sends in 10 ms.
const CHUNK: usize = 4_096;
/// Longest time that a write may take before the line counts as dead.
const WRITE_TIMEOUT: Duration = Duration::from_millis(20);
/// An open serial port.
pub struct SerialLine {
    port: Box<dyn SerialPort>,
    /// What waiting, reading and writing go through where it can be had.
    prompt: Option<PromptPort>,
    name: String,
    clock: HostClock,
    chunk: Box<[u8; CHUNK]>,
}

impl SerialLine {
    /// Opens a port: 8 data bits, no parity, one stop bit, no flow control, for this process alone.
    ///
    /// # Errors
    /// [`LineError::Open`] with what the system said.
    pub fn open(name: &str, baud: u32) -> Result<Self, LineError> {
        Self::with_clock(name, baud, HostClock::start())
    }

    /// As [`Self::open`], stamping with a clock that others stamp with too.
    ///
    /// # Errors
    /// As [`Self::open`].
    pub fn with_clock(name: &str, baud: u32, clock: HostClock) -> Result<Self, LineError> {
        let name = &ports::resolve(name).map_err(LineError::NoSuchPort)?;
        let open = |source| LineError::Open {
            port: name.to_owned(),
            source,
        };
        let prompt = PromptPort::open(name); // first: the port is for this process alone from the next line on
        let port = serialport::new(name, baud)
            .timeout(SHORTEST_WAIT)
            .open()
            .map_err(open)?;
        port.clear(ClearBuffer::All).map_err(open)?; // nothing that was said before is meant for us
        Ok(Self {
            port,
            prompt,
            name: name.to_owned(),
            clock,
            chunk: Box::new([0; CHUNK]),
        })
    }

    fn failed(&self, doing: &'static str, source: std::io::Error) -> LineError {
        LineError::Io {
            port: self.name.clone(),
            doing,
            source,
        }
    }
}

impl Line for SerialLine {
    fn now(&self) -> HostNs {
        self.clock.now()
    }

    fn wait(&mut self, until: HostNs, inbox: &mut Vec<u8>) -> Result<(), LineError> {
        let patience = remaining(self.clock.now(), until).max(SHORTEST_WAIT);
        if let Some(prompt) = &mut self.prompt {
            let arrived = match prompt.wait(patience) {
                Ok(true) => prompt.read(&mut self.chunk[..], inbox),
                Ok(false) => Ok(()),
                Err(error) => Err(error),
            };
            return arrived.map_err(|error| self.failed("reading", error));
        }
        self.port
            .set_timeout(patience)
            .map_err(|error| self.failed("waiting", std::io::Error::from(error)))?;
        match self.port.read(&mut self.chunk[..]) {
            Ok(0) => Err(self.failed("reading", ErrorKind::UnexpectedEof.into())),
            Ok(count) => {
                inbox.extend_from_slice(self.chunk.get(..count).unwrap_or_default());
                Ok(())
            }
            Err(error) if matches!(error.kind(), ErrorKind::TimedOut | ErrorKind::Interrupted) => Ok(()),
            Err(error) => Err(self.failed("reading", error)),
        }
    }

    fn write(&mut self, bytes: &[u8], discard_first: bool) -> Result<(), LineError> {
        if discard_first {
            // Best effort: a port that cannot discard still gets the stop behind what it holds.
            let _ = self.port.clear(ClearBuffer::Output);
        }
        let bytes = match &self.prompt {
            Some(prompt) => {
                let taken = prompt
                    .write(bytes)
                    .map_err(|error| self.failed("writing", error))?;
                bytes.get(taken..).unwrap_or_default()
            }
            None => bytes,
        };
        if bytes.is_empty() {
            return Ok(());
        }
        self.port
            .set_timeout(WRITE_TIMEOUT)
            .map_err(|error| self.failed("waiting", std::io::Error::from(error)))?;
        self.port
            .write_all(bytes)
            .map_err(|error| self.failed("writing", error))
    }
}
