//! One unit's history as a folder that a third party can verify without this program.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use records::content::{Fit, Kind, Recording as RecordingEntry};
use records::{Chain, Item, Store, UnitName, sha256};
use serde::Serialize;

use super::{ArchiveError, FIT, RECORDING, io, unfit};
use crate::recording;

/// The script that goes with an export.
const SCRIPT: &str = include_str!("verify.py");

/// What was exported.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Exported {
    /// Entries of the unit.
    pub entries: usize,
    /// Recordings that were found and copied.
    pub recordings: usize,
    /// Fit documents that were found and copied.
    pub fits: usize,
    /// Recordings whose file was not found where it was entered, or is not as it was sealed, with that place.
    pub missing: Vec<(i64, String)>,
    /// Number of the last entry of the records.
    pub end: i64,
    /// Its link.
    pub link: String,
}

/// Writes the history of a unit into a new folder.
///
/// # Errors
/// That the folder exists and is not empty, or that something cannot be read or written.
pub fn export(store: &mut Store, unit: &UnitName, out: &Path) -> Result<Exported, ArchiveError> {
    if out.is_dir()
        && std::fs::read_dir(out)
            .map_err(io("read the folder", out))?
            .next()
            .is_some()
    {
        return Err(unfit(out, "is not empty; name a new folder"));
    }
    std::fs::create_dir_all(out).map_err(io("make the folder", out))?;
    let (history, chain) = store.history_and_chain(unit)?;
    let mut done = Exported {
        entries: history.len(),
        end: chain.end.0,
        link: chain.end.1.clone(),
        ..Exported::default()
    };
    let mut sums: BTreeMap<String, String> = BTreeMap::new();
    let mut put = |name: &str, text: &str| {
        let path = out.join(name);
        sums.insert(name.to_owned(), sha256(text));
        std::fs::write(&path, text).map_err(io("write", &path))
    };
    let lines: String = history
        .iter()
        .map(|item| format!("{}\n", item.entry.line))
        .collect();
    put("entries.jsonl", &lines)?;
    put("chain.txt", &chain_text(&chain))?;
    put("verify.py", SCRIPT)?;
    let mut copied = Vec::new();
    for item in &history {
        if item.entry.kind()? == Kind::Recording {
            copied.extend(copy(item, &history, out, &mut done)?);
        }
    }
    put("README.md", &readme(unit, &done))?;
    for name in copied {
        let path = out.join(&name);
        let bytes = std::fs::read(&path).map_err(io("read", &path))?;
        sums.insert(name, sha256(bytes));
    }
    let list: String = sums
        .iter()
        .map(|(name, sum)| format!("{sum}  {name}\n"))
        .collect();
    let path = out.join("SHA256SUMS");
    std::fs::write(&path, list).map_err(io("write", &path))?;
    Ok(done)
}

/// The digests of all entries from the unit's first to the last: `before`, the link before them; one line each; `end`.
fn chain_text(chain: &Chain) -> String {
    let (before, link) = &chain.before;
    let mut text = format!("before {before} {link}\n");
    for (seq, digest) in (before + 1..).zip(&chain.digests) {
        text += &format!("{seq} {digest}\n");
    }
    let (end, link) = &chain.end;
    text + &format!("end {end} {link}\n")
}

/// Copies a recording and the fit beside it, where they are what was entered.
fn copy(item: &Item, history: &[Item], out: &Path, done: &mut Exported) -> Result<Vec<String>, ArchiveError> {
    let entered: RecordingEntry = item.entry.content()?;
    let from = PathBuf::from(&entered.file);
    let intact = from.extension().is_some_and(|ending| ending == "h5")
        && recording::verify(&from).is_ok_and(|seal| seal.is_intact() && seal.seal.sha256 == entered.seal);
    let mut copied = Vec::new();
    let place = format!("recordings/{}", item.entry.seq);
    let mut one = |from: &Path, name: &str| -> Result<(), ArchiveError> {
        let folder = out.join(&place);
        std::fs::create_dir_all(&folder).map_err(io("make the folder", &folder))?;
        std::fs::copy(from, folder.join(name)).map_err(io("copy", from))?;
        copied.push(format!("{place}/{name}"));
        Ok(())
    };
    match intact {
        true => {
            one(&from, RECORDING)?;
            done.recordings += 1;
        }
        false => done.missing.push((item.entry.seq, entered.file.clone())),
    }
    // A fit named itself lies where the entry says; the other lies beside its recording.
    let fit = if from.extension().is_some_and(|ending| ending == "json") {
        from
    } else {
        from.with_file_name(FIT)
    };
    if is_entered(&fit, &entered, history)? {
        one(&fit, FIT)?;
        done.fits += 1;
    }
    Ok(copied)
}

/// Whether a fit document says what one of the entries of a recording's fits says.
fn is_entered(fit: &Path, recording: &RecordingEntry, history: &[Item]) -> Result<bool, ArchiveError> {
    let document = std::fs::read_to_string(fit).ok();
    let document = document.and_then(|text| serde_json::from_str(&text).ok());
    let Some(document) = document else {
        return Ok(false);
    };
    let (_, found) = super::contents(&document, "", &super::Given::default());
    for item in history.iter().filter(|item| item.entry.kind == Kind::Fit.word()) {
        let entered: Fit = item.entry.content()?;
        if entered.seal == recording.seal && entered == found {
            return Ok(true);
        }
    }
    Ok(false)
}

fn readme(unit: &UnitName, done: &Exported) -> String {
    let missing: String = match done.missing.is_empty() {
        true => "Every recording was found and is in `recordings`.\n".to_owned(),
        false => {
            let lines = done.missing.iter();
            let lines = lines.map(|(seq, file)| format!("- entry {seq}: {file}\n"));
            format!(
                "These recordings were not found as they were sealed, where they were when they were entered:\n\n{}",
                lines.collect::<String>()
            )
        }
    };
    format!(
        "# Records of {model} {serial}

{entries} entries; the records they are from ended at entry {end} with the link

    {link}

when this folder was made. Compare it with a link that you had from elsewhere, or ask for one: it stands for every entry up to
it, so that nothing in here can be changed later without that link becoming another.

| file | what |
| --- | --- |
| `entries.jsonl` | the entries of this unit, one a line, in order: canonical JSON, exactly the bytes that their digests are of |
| `chain.txt` | number and SHA-256 of every entry of the records from this unit's first on, also of those that are not shown here |
| `recordings/N` | the recording of entry N (HDF5) and its fit, where they were found |
| `SHA256SUMS` | SHA-256 of each of these files |
| `verify.py` | does all that follows; needs Python 3 and nothing else |

{missing}
## How to verify

1. `sha256sum -c SHA256SUMS`: no file was damaged on its way.
2. The digest of an entry is the SHA-256 of its line without the line feed, and stands in `chain.txt` behind the entry's `seq`:
   `sed -n 1p entries.jsonl | tr -d '\\n' | sha256sum`.
3. The link of an entry is the SHA-256 of the link before it, a space, its digest and a line feed. Beginning with the link behind
   `before`, going through `chain.txt` must end with the link behind `end`: `printf '%s %s\\n' LINK DIGEST | sha256sum`.
4. Every number in `recordings/N/fit.json` is the one in the entry of that fit.

`python3 verify.py` does these four and says what does not hold. That a recording is as it was sealed, `truerim verify` checks; how
a seal is made is in the program's documentation of recordings.
",
        model = unit.model,
        serial = unit.serial,
        entries = done.entries,
        end = done.end,
        link = done.link,
    )
}
