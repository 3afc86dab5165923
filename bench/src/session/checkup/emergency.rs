//! The emergency-stop input: somebody presses, and the rig has to say so. Nothing is armed.

use rig_link::RigMessage;
use rig_link::message::Capabilities;

use crate::session::look::Client;
use crate::session::{Bench, SessionError};

/// What the input did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pressed {
    /// It opened within the time, and closed again if it was waited for.
    Seen {
        /// Whether it closed again in time.
        closed_again: bool,
    },
    /// It was open from the beginning.
    OpenAlready,
    /// It did not open.
    NotSeen,
    /// The rig has no such input.
    NoInput,
}

/// Watches the input for `seconds`, and for as long again for it to close.
///
/// # Errors
/// [`SessionError`] when the line cannot be opened or the rig does not answer.
pub fn watch_emergency_stop(bench: &Bench, seconds: u32) -> Result<Pressed, SessionError> {
    let mut client = Client::open(bench)?;
    let identity = client.greet()?;
    if !identity.capabilities.has(Capabilities::EMERGENCY_STOP_INPUT) {
        return Ok(Pressed::NoInput);
    }
    if !client.status()? {
        return Ok(Pressed::OpenAlready);
    }
    let within_us = u64::from(seconds) * 1_000_000;
    if !client.wait_for_input(false, within_us)? {
        return Ok(Pressed::NotSeen);
    }
    let closed_again = client.wait_for_input(true, within_us)?;
    Ok(Pressed::Seen { closed_again })
}

/// Whether a message shows the input, and how: closed or not.
pub(in crate::session) const fn shown(message: &RigMessage<'_>) -> Option<bool> {
    match message {
        RigMessage::Status(status) => Some(status.emergency_stop_closed),
        _ => None,
    }
}
