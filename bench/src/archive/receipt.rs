//! Receipts: what the records answered, beside the recording.
//!
//! A link stands for all entries up to its own. Kept away from the database, it shows later that no entry up to it was changed,
//! removed or cut off.

use std::path::Path;

use records::{Added, Noted, Stamp};
use serde::{Deserialize, Serialize};

use super::{ArchiveError, enter, io, unfit, write_safely};

/// Name of the receipt in a results folder.
pub const RECEIPT: &str = "record.json";

#[derive(Debug, Serialize, Deserialize)]
struct Receipt {
    /// Where the records lie, without a password.
    records: String,
    entered: String,
    entries: Vec<Line>,
}

#[derive(Debug, Serialize, Deserialize)]
struct Line {
    seq: i64,
    digest: String,
    link: String,
}

pub(super) fn write(folder: &Path, records: &str, added: &Added, stamp: &Stamp) -> Result<(), ArchiveError> {
    let line = |placed: &records::Placed| Line {
        seq: placed.seq,
        digest: placed.digest.clone(),
        link: placed.link.clone(),
    };
    let receipt = Receipt {
        records: records.to_owned(),
        entered: stamp.entered.clone(),
        entries: vec![line(&added.recording), line(&added.fit)],
    };
    let path = folder.join(RECEIPT);
    let text = serde_json::to_string_pretty(&receipt).map_err(|error| unfit(&path, error.to_string()))?;
    write_safely(&path, &(text + "\n"))
}

/// What receipts below a folder note of the records at an address.
///
/// # Errors
/// That a receipt cannot be read.
pub fn receipts(folder: &Path, records: &str) -> Result<Vec<Noted>, ArchiveError> {
    let mut noted = Vec::new();
    for folder in enter::folders(folder)? {
        let path = folder.join(RECEIPT);
        if !path.is_file() {
            continue;
        }
        let text = std::fs::read_to_string(&path).map_err(io("read", &path))?;
        let receipt: Receipt =
            serde_json::from_str(&text).map_err(|error| unfit(&path, format!("is no receipt ({error})")))?;
        if receipt.records == records {
            noted.extend(receipt.entries.into_iter().map(|line| Noted {
                seq: line.seq,
                link: line.link,
                place: path.display().to_string(),
            }));
        }
    }
    Ok(noted)
}
