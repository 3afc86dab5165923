//! `verify` and `recover`.

use super::args::{RecordingArgs, RecoverArgs};
use super::exit::{Exit, Problem};
use super::say::Say;
use crate::recording;

/// Recomputes a recording's seal.
pub(super) fn verify(args: &RecordingArgs, say: &Say) -> Result<Exit, Problem> {
    let verification = recording::verify(&args.recording)?;
    say.json(&serde_json::json!({ "intact": verification.is_intact(), "text": verification.to_string() }));
    say.result(&verification.to_string());
    Ok(if verification.is_intact() { Exit::Done } else { Exit::File })
}

/// Makes a clean recording from a damaged one.
pub(super) fn recover(args: &RecoverArgs, say: &Say) -> Result<Exit, Problem> {
    let seal = recording::recover(&args.damaged, &args.to)?;
    say.json(&seal);
    say.result(&format!("{} is whole again up to its last flush, seal {}", args.to.display(), seal.sha256));
    Ok(Exit::Done)
}
