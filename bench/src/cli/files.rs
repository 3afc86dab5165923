//! `verify` and `recover`.

use super::args::{RecoverArgs, VerifyArgs};
use super::exit::{Exit, Problem};
use super::say::Say;
use crate::recording;

/// Recomputes a recording's seal.
pub(super) fn verify(args: &VerifyArgs, say: &Say) -> Result<Exit, Problem> {
    if super::publish::is_archive(&args.recording) {
        return super::publish::verify(&args.recording, !args.no_fit, say);
    }
    let verification = recording::verify(&args.recording)?;
    let differences: Vec<String> = verification
        .differences
        .iter()
        .map(|found| format!("{}: {}", found.object, found.what))
        .collect();
    say.json(&serde_json::json!({
        "intact": verification.is_intact(),
        "seal": verification.seal,
        "differences": differences,
    }));
    if verification.is_intact() {
        say.result(&format!(
            "{} is as it was sealed, {}",
            args.recording.display(),
            verification.seal.sha256
        ));
    } else {
        say.result(&format!(
            "{} was changed after it was sealed:",
            args.recording.display()
        ));
        differences
            .iter()
            .for_each(|found| say.result(&format!("  {found}")));
    }
    Ok(if verification.is_intact() {
        Exit::Done
    } else {
        Exit::File
    })
}

/// Makes a clean recording from a damaged one.
pub(super) fn recover(args: &RecoverArgs, say: &Say) -> Result<Exit, Problem> {
    let recovered = recording::recover(&args.damaged, &args.to)?;
    say.json(&serde_json::json!({
        "seal": recovered.seal,
        "rows": recovered.rows,
        "last_tick": recovered.last_tick,
        "notes": recovered.notes,
        "unreadable_rows": recovered.unreadable_rows,
        "unreadable_note_bytes": recovered.unreadable_note_bytes,
        "unfinished_rows": recovered.unfinished_rows,
    }));
    say.result(&format!("{}: {recovered}", args.to.display()));
    say.result(&format!("seal {}", recovered.seal.sha256));
    Ok(Exit::Done)
}
