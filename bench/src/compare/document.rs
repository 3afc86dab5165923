//! What a comparison says, in a form that JSON can hold.

use serde::{Deserialize, Serialize};
use truerim_analysis::estimate::Estimate;

use super::ways::Ways;
use crate::fitting::{Conditions, Program, Quantity, ShownIn};

/// What a comparison's JSON calls itself.
pub const SCHEMA: &str = "truerim comparison";
/// Version of its layout.
pub const SCHEMA_VERSION: u32 = 1;

/// Groups held against the first of them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Comparison {
    /// [`SCHEMA`].
    pub schema: String,
    /// [`SCHEMA_VERSION`].
    pub schema_version: u32,
    /// The program that compared.
    pub software: Program,
    /// The groups; the first is the reference.
    pub groups: Vec<GroupFacts>,
    /// Number of fits that only tell how far clamping anew spreads results.
    pub remounted: usize,
    /// Chance below which any difference at all counts as one, for the whole comparison.
    pub significance: f64,
    /// Number of tests that share it.
    pub family: usize,
    /// What differs between the set-ups, the worst first.
    pub warnings: Vec<Warning>,
    /// What runs in different mountings tell in several ways.
    #[serde(default)]
    pub ways: Vec<Ways>,
    /// One quantity, group of repeats and compared group a row; those that stand for their quantity first.
    pub rows: Vec<Row>,
}

impl Comparison {
    /// Rows that were compared.
    pub fn compared(&self) -> impl Iterator<Item = (&Row, &Compared)> {
        self.rows.iter().filter_map(|row| match &row.outcome {
            RowOutcome::Compared(compared) => Some((row, compared.as_ref())),
            RowOutcome::NotCompared { .. } => None,
        })
    }

    /// Whether anything differs beyond chance.
    pub fn differs(&self) -> bool {
        self.compared().any(|(_, compared)| compared.differs)
    }
}

/// A group and its runs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GroupFacts {
    /// Name.
    pub name: String,
    /// Runs.
    pub members: Vec<MemberFacts>,
    /// Number of clampings among them that can be told apart.
    pub clampings: usize,
}

/// One run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MemberFacts {
    /// Recording.
    pub file: String,
    /// Identifier of the run.
    pub run_id: String,
    /// Start, RFC 3339.
    pub created: String,
    /// Unit: model and serial number.
    pub unit: String,
    /// Seal of the recording, if it has one.
    pub seal: Option<String>,
    /// Which clamping it belongs to, if that is stated.
    pub clamping: Option<String>,
}

/// How much a difference of set-ups takes from the comparison.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Severity {
    /// A difference found may well be the set-up's.
    Spoils,
    /// A reader must know it.
    Caution,
}

/// Something that differs between the set-ups, or is not known of them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Warning {
    /// Stable short code.
    pub code: String,
    /// How bad.
    pub severity: Severity,
    /// What differs, what it means and what to do.
    pub text: String,
}

/// One quantity of one group of repeats, of one group of fits against the reference.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Row {
    /// What is measured.
    pub quantity: Quantity,
    /// Whether it stands for the quantity.
    pub headline: bool,
    /// The group of repeats in words.
    pub group: String,
    /// Name a person reads.
    pub name: String,
    /// What is meant.
    pub definition: String,
    /// Where the method comes from.
    pub source: String,
    /// Unit a person reads it in.
    pub shown_in: ShownIn,
    /// The reference.
    pub then: String,
    /// What is held against it.
    pub now: String,
    /// Conditions in the reference.
    pub conditions: Conditions,
    /// What a reader of this row must know.
    pub notes: Vec<String>,
    /// The difference, or why there is none.
    pub outcome: RowOutcome,
}

/// A comparison or the reason why there is none.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "status", rename_all = "snake_case")]
pub enum RowOutcome {
    /// Both hold a value.
    Compared(Box<Compared>),
    /// They do not, or not of the same thing.
    NotCompared {
        /// Stable short code.
        code: String,
        /// What happened and what to do.
        reason: String,
    },
}

/// The mean of a group.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Known {
    /// The value, SI.
    pub value: f64,
    /// Its standard uncertainty.
    pub std_uncertainty: f64,
    /// Its 95 % interval.
    pub interval: [f64; 2],
    /// Number of fits behind it.
    pub fits: usize,
    /// Number of clampings behind it.
    pub clampings: usize,
}

/// What the scatter in a difference was taken from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SpreadKind {
    /// Repeats within a run.
    WithinRuns,
    /// Runs without touching the fixture, or not known to have been clamped anew.
    Runs,
    /// Repeats with the rim clamped anew.
    Remounting,
}

/// The bench's own repeatability as it enters a difference.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SpreadUsed {
    /// Where it is from.
    pub kind: SpreadKind,
    /// Standard deviation of one fit, SI.
    pub sd: f64,
    /// Degrees of freedom; `None` is infinite.
    pub dof: Option<f64>,
    /// The difference as a multiple of it; `None` where nothing scatters.
    pub multiple: Option<f64>,
}

/// Two values and what lies between them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Compared {
    /// The reference.
    pub then: Known,
    /// What is held against it.
    pub now: Known,
    /// Now less then, SI.
    pub difference: Estimate,
    /// Now over then, less one, where zero means nothing there.
    pub relative: Option<Estimate>,
    /// Chance of so large a difference without any.
    pub chance: f64,
    /// The same with all tests of the comparison allowed for (Holm 1979).
    pub chance_adjusted: f64,
    /// Whether it differs beyond chance.
    pub differs: bool,
    /// Size that the difference does not exceed, with 95 % confidence (two one-sided tests).
    pub smaller_than: f64,
    /// Least difference that this comparison would find in four of five cases, all tests allowed for.
    pub would_find: f64,
    /// The bench's own repeatability.
    pub spread: SpreadUsed,
    /// What both share and thus cancels, each once.
    pub shared: Vec<String>,
}
