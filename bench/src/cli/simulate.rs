//! `virtual`.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use virtual_rig::VirtualRig;

use super::args::VirtualArgs;
use super::exit::{Exit, Problem};
use super::say::Say;
use crate::session::{SessionError, SettingsText};

/// Serves a virtual rig on a pseudo terminal until it is told to end.
pub(super) fn simulate(args: &VirtualArgs, say: &Say) -> Result<Exit, Problem> {
    let text = SettingsText::read(&args.rig)?;
    let rig = VirtualRig::from_toml(&text.file, &text.text, args.seed).map_err(SessionError::from)?;
    let ending = Arc::new(AtomicBool::new(false));
    for signal in [signal_hook::consts::SIGINT, signal_hook::consts::SIGTERM, signal_hook::consts::SIGHUP] {
        signal_hook::flag::register(signal, Arc::clone(&ending)).map_err(|source| Problem::Io {
            doing: "watch for",
            path: "Ctrl-C and SIGTERM".to_owned(),
            source,
        })?;
    }
    let served = virtual_rig::serve::serve_on_pty(
        rig,
        |port| {
            say.result(&port.display().to_string());
            say.json(&port);
            say.note("Open this port with --port; Ctrl-C ends the rig.");
        },
        &ending,
    );
    match served {
        Ok(()) => Ok(Exit::Done),
        Err(_) if ending.load(Ordering::SeqCst) => Ok(Exit::Done),
        Err(source) => Err(Problem::Io { doing: "serve", path: "the virtual rig on a pseudo terminal".to_owned(), source }),
    }
}
