//! What entries say. Fields are only ever added, and those that are added may be absent: entries of every age are read.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use crate::canonical::{canonical, sha256};

/// A kind of entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// A recording that was made: [`Recording`].
    Recording,
    /// A fit of a recording: [`Fit`].
    Fit,
    /// A limits file: [`LimitsText`].
    Limits,
    /// A fit judged by limits: [`Judgement`].
    Judgement,
    /// A remark: [`Note`].
    Note,
    /// A correction of an earlier entry: [`Correction`].
    Correction,
}

impl Kind {
    /// Every kind with its word.
    pub const WORDS: [(&str, Self); 6] = [
        ("recording", Self::Recording),
        ("fit", Self::Fit),
        ("limits", Self::Limits),
        ("judgement", Self::Judgement),
        ("note", Self::Note),
        ("correction", Self::Correction),
    ];

    /// The word of an entry's `kind`.
    #[must_use]
    pub fn word(self) -> &'static str {
        let of = Self::WORDS.iter().find(|(_, kind)| *kind == self);
        of.map_or("", |(word, _)| word)
    }

    /// The kind of a word.
    #[must_use]
    pub fn of_word(word: &str) -> Option<Self> {
        let of = Self::WORDS.iter().find(|(known, _)| *known == word);
        of.map(|(_, kind)| *kind)
    }
}

/// The unit under test, as its type plate says.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Unit {
    /// Model.
    pub model: String,
    /// Serial number; with the model it names a unit.
    pub serial: String,
    /// Firmware version and settings.
    pub firmware: String,
}

/// The rig and what holds the unit.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Rig {
    /// Name.
    pub name: String,
    /// `serial` or `virtual`.
    pub kind: String,
    /// Name of the fixture.
    pub fixture: String,
    /// SHA-256 of the rig file's text; empty if not known.
    #[serde(default)]
    pub sha256: String,
}

/// The calibration that a recording was made under.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Calibration {
    /// Model and serial number of the torque sensor.
    pub sensor: String,
    /// Number of the certificate.
    pub certificate: String,
    /// Identity of a certificate that this program made; empty where there is none.
    pub identity: String,
    /// Day of the calibration, `YYYY-MM-DD`.
    pub calibrated: String,
    /// Day it runs out.
    pub due: String,
    /// Whether it had run out when the recording was made.
    pub overdue: bool,
    /// What else did not hold of the certificate; empty where all is well.
    pub warnings: String,
}

/// A procedure, by the digest of its text.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Procedure {
    /// Its name.
    pub name: String,
    /// SHA-256 of the file's text; empty if not known.
    pub sha256: String,
}

/// A program.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Program {
    /// Name.
    pub name: String,
    /// Version.
    pub version: String,
    /// Build; empty if not known.
    pub build: String,
}

/// A recording: who measured what, when, with what. One recording is one entry, told from others by its seal.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Recording {
    /// Its seal, 64 hexadecimal digits.
    pub seal: String,
    /// How the seal is made.
    pub seal_method: String,
    /// Identifier of the run.
    pub run_id: String,
    /// When it was begun, RFC 3339 with the zone's offset.
    pub created: String,
    /// What was measured.
    pub unit: Unit,
    /// The bench it was measured on.
    pub bench: String,
    /// The rig.
    pub rig: Rig,
    /// `clamped`, `free` or `back-driven`.
    pub mounting: String,
    /// Who measured; empty if not said.
    pub operator: String,
    /// Batch of parts that the unit is of; empty if not said.
    #[serde(default)]
    pub batch: String,
    /// The calibration of the torque sensor.
    pub calibration: Calibration,
    /// What was played.
    pub procedure: Procedure,
    /// The program that recorded.
    pub software: Program,
    /// Seed of everything random.
    pub seed: u64,
    /// Samples.
    pub samples: u64,
    /// From the first to the last sample, s.
    pub duration_s: f64,
    /// `complete`, `tripped`, `stopped`, `failed` or `unknown`.
    pub completion: String,
    /// Why it ended; empty when complete.
    pub cause: String,
    /// The recording as a file, when it was entered.
    pub file: String,
}

impl Recording {
    /// What tells it from others: `recording SEAL`.
    #[must_use]
    pub fn key(&self) -> String {
        recording_key(&self.seal)
    }
}

/// The key of the recording with a seal.
#[must_use]
pub fn recording_key(seal: &str) -> String {
    format!("recording {seal}")
}

/// One measurand of a fit: a value with its uncertainty, or the reason why there is none.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Measured {
    /// Its name in the fit document.
    pub id: String,
    /// SI unit as UDUNITS writes it; empty where there is no value.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub unit: String,
    /// Value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// Standard uncertainty.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u: Option<f64>,
    /// The interval that holds the true value with probability `level`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub interval: Option<[f64; 2]>,
    /// Probability of the interval.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub level: Option<f64>,
    /// Repeats behind it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub n: Option<u64>,
    /// Effective degrees of freedom; absent: infinite.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dof: Option<f64>,
    /// Mean temperature, °C.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_degc: Option<f64>,
    /// Why there is no value: a stable word.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub refused: Option<String>,
}

/// A fit: what one version of the analysis says of a recording.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Fit {
    /// Seal of the recording.
    pub seal: String,
    /// The program that fitted.
    pub software: Program,
    /// Whether the run ended as planned and every check on the recording passed.
    pub sound: bool,
    /// The checks on the recording that did not pass.
    pub failed_checks: Vec<String>,
    /// The measurands, in the order of the fit document.
    pub measured: Vec<Measured>,
}

impl Fit {
    /// What tells it from others: `fit` and the SHA-256 of its canonical form. The same numbers by the same version from the
    /// same recording are the same fit.
    #[must_use]
    pub fn key(&self) -> String {
        format!("fit {}", sha256(canonical(self)))
    }
}

/// A limits file, verbatim.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct LimitsText {
    /// Its name.
    pub name: String,
    /// The model it is for.
    pub model: String,
    /// SHA-256 of the text.
    pub sha256: String,
    /// The text.
    pub text: String,
}

impl LimitsText {
    /// What tells it from others: `limits SHA-256`.
    #[must_use]
    pub fn key(&self) -> String {
        format!("limits {}", self.sha256)
    }
}

/// What a judgement says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// Conforms, by the decision rule.
    Pass,
    /// Neither can be said.
    Undecided,
    /// Does not conform, by the decision rule.
    Fail,
}

impl Verdict {
    /// As it is written.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::Undecided => "undecided",
            Self::Fail => "fail",
        }
    }

    /// The verdict of a word.
    #[must_use]
    pub fn of_word(word: &str) -> Option<Self> {
        [Self::Pass, Self::Undecided, Self::Fail]
            .into_iter()
            .find(|verdict| verdict.word() == word)
    }
}

/// One measurand judged.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Judged {
    /// The measurand.
    pub id: String,
    /// What is said of it.
    pub verdict: Verdict,
    /// Whether its value lies beyond a warning limit.
    pub warning: bool,
    /// Its value, SI; absent where there is none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// Its standard uncertainty.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub u: Option<f64>,
    /// Lower limit, SI.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub low: Option<f64>,
    /// Upper limit, SI.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub high: Option<f64>,
    /// Width of the guard band, SI.
    pub guard: f64,
    /// Probability that the true value lies within the limits, given this value and uncertainty and nothing else (JCGM 106, 7).
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub conformance: Option<f64>,
    /// Why nothing can be said; empty otherwise.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub reason: String,
}

/// A fit judged by limits.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Judgement {
    /// Key of the fit.
    pub fit: String,
    /// Key of the limits.
    pub limits: String,
    /// What is said of the unit: the worst of its measurands'.
    pub verdict: Verdict,
    /// Whether any measurand lies beyond a warning limit.
    pub warning: bool,
    /// Why nothing can be said of the unit as a whole; empty otherwise.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub reason: String,
    /// Each measurand that has limits.
    pub measurands: Vec<Judged>,
}

impl Judgement {
    /// What tells it from others: `judgement` and the SHA-256 of its canonical form.
    #[must_use]
    pub fn key(&self) -> String {
        format!("judgement {}", sha256(canonical(self)))
    }
}

/// What a note or a correction is about, and what it says.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Note {
    /// The unit; absent where the note is about something else.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<(String, String)>,
    /// The entry; absent where the note is about a unit as a whole.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub entry: Option<i64>,
    /// The remark.
    pub text: String,
}

/// What can be corrected in the entry of a recording; measured values cannot.
pub const CORRECTABLE: [&str; 7] = [
    "model", "serial", "firmware", "bench", "fixture", "operator", "batch",
];

/// A correction: the entry it is about stays as it is and visible, and this says what holds instead.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Correction {
    /// Number of the entry that is corrected.
    pub entry: i64,
    /// Digest of that entry.
    pub digest: String,
    /// Why.
    pub reason: String,
    /// Whether the entry is withdrawn: it then counts nowhere, and stays in the history.
    pub withdrawn: bool,
    /// What holds instead, by its word in [`CORRECTABLE`].
    pub facts: BTreeMap<String, String>,
}

impl Recording {
    /// This recording with what a correction says instead.
    #[must_use]
    pub fn corrected(mut self, facts: &BTreeMap<String, String>) -> Self {
        for (word, value) in facts {
            let place = match word.as_str() {
                "model" => &mut self.unit.model,
                "serial" => &mut self.unit.serial,
                "firmware" => &mut self.unit.firmware,
                "bench" => &mut self.bench,
                "fixture" => &mut self.rig.fixture,
                "operator" => &mut self.operator,
                "batch" => &mut self.batch,
                _ => continue,
            };
            place.clone_from(value);
        }
        self
    }
}
