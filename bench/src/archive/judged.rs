//! A measurement judged at once: what limits make of its fit, beside it and on its page.

use std::path::{Path, PathBuf};

use records::RecordsError;
use records::content::{Judged, Judgement};
use records::limits::{Limits, judge};
use serde::{Deserialize, Serialize};

use super::contents::{Given, contents};
use super::{ArchiveError, io, unfit, write_safely};
use crate::fitting::{FitDocument, plain};
use crate::report::{Verdict, with_verdict};

/// Name of the judgement in a results folder.
pub const JUDGEMENT: &str = "judgement.json";
/// Name of the page in a results folder.
const PAGE: &str = "report.html";

/// A limits file as a note keeps it, so that it is the same one that judges later.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LimitsNote {
    /// Where it was read.
    pub file: String,
    /// What is in it.
    pub text: String,
}

impl LimitsNote {
    /// The limits.
    ///
    /// # Errors
    /// What is wrong with the file, line by line.
    pub fn limits(&self) -> Result<Limits, RecordsError> {
        Ok(Limits::from_toml(&self.file, &self.text)?)
    }
}

/// What lies in a results folder.
#[derive(Debug, Serialize, Deserialize)]
struct Kept {
    limits: String,
    judgement: Judgement,
}

/// Judges a fit document by limits, by the same rule as the records.
///
/// # Errors
/// [`RecordsError::Refused`] for limits of another model, or a limit of another kind than its measurand.
pub fn judge_document(document: &FitDocument, limits: &Limits) -> Result<Judgement, RecordsError> {
    let (recording, fit) = contents(document, "", &Given::default());
    let of = &recording.unit;
    if of.model != limits.text.model {
        return Err(RecordsError::Refused {
            what: format!("a judgement of {} by \"{}\"", of.serial, limits.text.name),
            why: format!(
                "these limits are for the model {}, the unit is a {}",
                limits.text.model, of.model
            ),
        });
    }
    judge(limits, &fit, recording.calibration.overdue)
}

/// Leaves a judgement beside the fit, and puts it on the page.
///
/// # Errors
/// That a file cannot be written.
pub fn keep_judgement(
    folder: &Path,
    limits: &Limits,
    judgement: &Judgement,
) -> Result<PathBuf, ArchiveError> {
    let path = folder.join(JUDGEMENT);
    let kept = Kept {
        limits: limits.text.name.clone(),
        judgement: judgement.clone(),
    };
    let text = serde_json::to_string_pretty(&kept).map_err(|error| unfit(&path, error.to_string()))?;
    write_safely(&path, &(text + "\n"))?;
    judgement_on_page(folder)?;
    Ok(path)
}

/// Puts the judgement that lies in a results folder on the page there; nothing where there is none of the two.
///
/// # Errors
/// That a file cannot be read or written.
pub fn judgement_on_page(folder: &Path) -> Result<(), ArchiveError> {
    let (from, page) = (folder.join(JUDGEMENT), folder.join(PAGE));
    if !from.is_file() || !page.is_file() {
        return Ok(());
    }
    let text = std::fs::read_to_string(&from).map_err(io("read", &from))?;
    let kept: Kept = serde_json::from_str(&text).map_err(|error| {
        unfit(
            &from,
            format!("is no judgement ({error}); remove it, and judge again"),
        )
    })?;
    let html = std::fs::read_to_string(&page).map_err(io("read", &page))?;
    std::fs::write(&page, with_verdict(&html, &in_words(&kept))).map_err(io("write", &page))
}

fn in_words(kept: &Kept) -> Verdict {
    let Kept { limits, judgement } = kept;
    Verdict {
        word: judgement.verdict.word().to_owned(),
        limits: limits.clone(),
        reason: judgement.reason.clone(),
        lines: judgement.measurands.iter().map(line).collect(),
    }
}

fn line(one: &Judged) -> [String; 3] {
    let number = |value: f64| plain(value, 4);
    let mut numbers: Vec<String> = Vec::new();
    numbers.extend(one.value.map(number));
    numbers.extend(one.u.map(|u| format!("u {}", number(u))));
    numbers.extend(one.low.map(|low| format!("at least {}", number(low))));
    numbers.extend(one.high.map(|high| format!("at most {}", number(high))));
    if one.guard > 0.0 {
        numbers.push(format!("guard band {}", number(one.guard)));
    }
    numbers.extend(
        one.conformance
            .map(|share| format!("conforms with {:.2} %", 100.0 * share)),
    );
    if one.warning {
        numbers.push("beyond a warning limit".to_owned());
    }
    if !one.reason.is_empty() {
        numbers.push(one.reason.clone());
    }
    [
        one.id.clone(),
        one.verdict.word().to_owned(),
        format!("{} (SI)", numbers.join(", ")),
    ]
}
