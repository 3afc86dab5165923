//! Arguments of `records`, and those by which `measure` adds.

use std::path::PathBuf;

use clap::{Args, Subcommand};

/// What `measure` and `record` enter into the records.
#[derive(Debug, Clone, Args)]
pub(in crate::cli) struct EnterArgs {
    /// Serial number of the unit, instead of the rig file's. Recorded
    #[arg(long, value_name = "SERIAL")]
    pub(in crate::cli) unit: Option<String>,
    /// Records to add the measurement to: a path, sqlite:PATH, or postgres://USER@HOST/DATABASE
    #[arg(long, value_name = "URL")]
    pub(in crate::cli) records: Option<String>,
    /// Name of this bench in the records [default: the rig controller's serial number]
    #[arg(long, value_name = "NAME", requires = "records")]
    pub(in crate::cli) bench: Option<String>,
    /// Batch of parts that the unit is of, for the records
    #[arg(long, value_name = "NAME", requires = "records")]
    pub(in crate::cli) batch: Option<String>,
    /// Judge the unit by these limits at once: on the terminal, on the page, in the records, and by the exit code
    #[arg(long, value_name = "FILE")]
    pub(in crate::cli) limits: Option<PathBuf>,
}

pub(in crate::cli) const RECORDS_HELP: &str = "\
Examples:
  truerim measure --rig my-rig.toml --procedure procedures/quick.toml --unit W-0412 --records records.db
      measures and adds what was found
  truerim records history W-0412 --records records.db
      everything that was ever entered about that unit
  truerim records judge W-0412 --limits limits/marten.toml --records postgres://anna@bench-server/records
  truerim records export W-0412 --out W-0412 --records records.db
      a folder that a third party can verify

Instead of --records, the environment variable TRUERIM_RECORDS can say where they are.
How a team uses them: docs/records.md";

pub(in crate::cli) const JUDGE_HELP: &str = "\
Exit codes:
  0   all that was judged passed
  10  something failed
  11  nothing failed, but of something nothing can be said";

#[derive(Debug, Clone, Subcommand)]
pub(in crate::cli) enum Records {
    /// Add fits, or results folders with all that lies below them; what is there already stays as it is
    Add(AddArgs),
    /// Add what could not be added when it was measured
    CatchUp(CatchUpArgs),
    /// Everything that was entered about a unit, in order
    History(UnitArgs),
    /// Where fits of the same recording by several versions differ
    Changes(UnitArgs),
    /// Units, with their last measurement
    Units(ListArgs),
    /// Models
    Models(ListArgs),
    /// Benches
    Benches(ListArgs),
    /// Values of measurands over the units of a model
    Values(ValuesArgs),
    /// Judge the last measurement of a unit, or of every unit of a model, by limits
    #[command(after_help = JUDGE_HELP)]
    Judge(JudgeArgs),
    /// Add a remark about a unit or an entry
    Note(NoteArgs),
    /// Correct an entry: the old one stays visible, and the correction says what holds instead, and why
    Correct(CorrectArgs),
    /// Check that no entry was changed, removed, moved or slipped in
    Verify(VerifyArgs),
    /// Write a unit's whole history as a folder that a third party can verify
    Export(ExportArgs),
    /// Fit the recordings of an archive again with this version, on all cores; goes on where it was ended
    Refit(RefitArgs),
    /// Write the page of a model, a unit or a bench: charts with limits, capability, what goes with shifts, history
    #[command(after_help = PAGE_HELP)]
    Page(PageArgs),
    /// Write limits that hold a share of all units, from a reference group (the filters say which)
    Limits(LimitsArgs),
    /// Plan a gauge study (every unit on every bench or by every operator, in random order), say what comes next, compute it
    Study(StudyArgs),
    /// Enter a year of an invented factory with known faults, and write its pages
    Demo(DemoArgs),
}

const PAGE_HELP: &str = "\
Examples:
  truerim records page \"Marten 7\" --out marten.html --limits limits/marten.toml
  truerim records page --unit W-0412 --out W-0412.html --limits limits/marten.toml
      one unit: over its life, among its model, judgements, fits beside one another, corrections
  truerim records page --bench north --out north.html --check-unit W-CHECK
      one bench: check unit, shifts by fixture, firmware and calibration, months, operators
  truerim records page --model \"Marten 7\" --bench north --from 2026-01-01 --out north-marten.html
      a model, of what was measured on one bench since then
  truerim records page \"Marten 7\" --out marten.html --check-unit W-CHECK \\
      --study-unit W-0401,W-0402,W-0403,W-0404,W-0405 --study-by operator --study-measurand latency";

/// Which records, and who writes.
#[derive(Debug, Clone, Args)]
pub(in crate::cli) struct Where {
    /// The records: a path, sqlite:PATH, or postgres://USER@HOST/DATABASE [default: the environment's TRUERIM_RECORDS]
    #[arg(long, value_name = "URL")]
    pub(in crate::cli) records: Option<String>,
    /// Who enters [default: the user's login name]
    #[arg(long, value_name = "NAME")]
    pub(in crate::cli) by: Option<String>,
}

#[derive(Debug, Clone, Args)]
pub(in crate::cli) struct AddArgs {
    /// Fits (fit.json), recordings, or folders
    #[arg(required = true)]
    pub(in crate::cli) sources: Vec<PathBuf>,
    /// Name of the bench that they were measured on [default: the rig controller's serial number]
    #[arg(long, value_name = "NAME")]
    pub(in crate::cli) bench: Option<String>,
    /// Batch of parts that the units are of
    #[arg(long, value_name = "NAME")]
    pub(in crate::cli) batch: Option<String>,
    #[command(flatten)]
    pub(in crate::cli) place: Where,
}

#[derive(Debug, Clone, Args)]
pub(in crate::cli) struct CatchUpArgs {
    /// Folder that holds the results folders
    #[arg(default_value = "out")]
    pub(in crate::cli) folder: PathBuf,
    #[command(flatten)]
    pub(in crate::cli) place: Where,
}

#[derive(Debug, Clone, Args)]
pub(in crate::cli) struct UnitArgs {
    /// Serial number
    pub(in crate::cli) unit: String,
    /// Model, where units of several models have that number
    #[arg(long, value_name = "NAME")]
    pub(in crate::cli) model: Option<String>,
    #[command(flatten)]
    pub(in crate::cli) place: Where,
}

/// Which measurements count.
#[derive(Debug, Clone, Default, Args)]
pub(in crate::cli) struct FilterArgs {
    /// Only with this firmware
    #[arg(long, value_name = "VERSION")]
    pub(in crate::cli) firmware: Option<String>,
    /// Only from this bench
    #[arg(long, value_name = "NAME")]
    pub(in crate::cli) bench: Option<String>,
    /// Only in this fixture
    #[arg(long, value_name = "NAME")]
    pub(in crate::cli) fixture: Option<String>,
    /// Only by this operator
    #[arg(long, value_name = "NAME")]
    pub(in crate::cli) operator: Option<String>,
    /// Only of this batch
    #[arg(long, value_name = "NAME")]
    pub(in crate::cli) batch: Option<String>,
    /// Only from this day on (UTC), or from this date and time
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub(in crate::cli) from: Option<String>,
    /// Only before this day (UTC), or this date and time
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub(in crate::cli) until: Option<String>,
}

#[derive(Debug, Clone, Args)]
pub(in crate::cli) struct ListArgs {
    /// Only this model
    #[arg(long, value_name = "NAME")]
    pub(in crate::cli) model: Option<String>,
    #[command(flatten)]
    pub(in crate::cli) filter: FilterArgs,
    #[command(flatten)]
    pub(in crate::cli) place: Where,
}

#[derive(Debug, Clone, Args)]
pub(in crate::cli) struct ValuesArgs {
    /// Model
    pub(in crate::cli) model: String,
    /// Measurands, as in fit.json, separated by commas [default: all]
    #[arg(long, value_name = "NAMES", value_delimiter = ',')]
    pub(in crate::cli) measurand: Vec<String>,
    /// Also write them as a table, a line a value
    #[arg(long, value_name = "FILE")]
    pub(in crate::cli) csv: Option<PathBuf>,
    /// Also write them as a Parquet table, with types and units
    #[arg(long, value_name = "FILE")]
    pub(in crate::cli) parquet: Option<PathBuf>,
    #[command(flatten)]
    pub(in crate::cli) filter: FilterArgs,
    #[command(flatten)]
    pub(in crate::cli) place: Where,
}

#[derive(Debug, Clone, Args)]
pub(in crate::cli) struct PageArgs {
    /// Model; the same as --model
    #[arg(value_name = "MODEL", conflicts_with = "model")]
    pub(in crate::cli) name: Option<String>,
    /// The page of this model; with --unit, which model's unit
    #[arg(long, value_name = "NAME")]
    pub(in crate::cli) model: Option<String>,
    /// The page of the unit with this serial number
    #[arg(long, value_name = "SERIAL")]
    pub(in crate::cli) unit: Option<String>,
    /// File to write (HTML)
    #[arg(long, value_name = "FILE")]
    pub(in crate::cli) out: PathBuf,
    /// Measurands, as in fit.json, separated by commas [default: those of the limits, or the twelve measured most often]
    #[arg(long, value_name = "NAMES", value_delimiter = ',')]
    pub(in crate::cli) measurand: Vec<String>,
    /// Limits file
    #[arg(long, value_name = "FILE")]
    pub(in crate::cli) limits: Option<PathBuf>,
    /// Serial number of a unit that is measured again and again to check a bench; repeatable
    #[arg(long, value_name = "SERIAL")]
    pub(in crate::cli) check_unit: Vec<String>,
    /// Serial numbers of the units of a gauge study, separated by commas
    #[arg(
        long,
        value_name = "SERIALS",
        value_delimiter = ',',
        requires = "study_measurand"
    )]
    pub(in crate::cli) study_unit: Vec<String>,
    /// What the gauge study crosses with the units
    #[arg(long, value_enum, default_value = "operator")]
    pub(in crate::cli) study_by: By,
    /// Measurand of the gauge study
    #[arg(long, value_name = "NAME", requires = "study_unit")]
    pub(in crate::cli) study_measurand: Option<String>,
    /// Only so many of the newest measurements of a model
    #[arg(long, value_name = "N", default_value_t = crate::archive::NEWEST)]
    pub(in crate::cli) newest: usize,
    #[command(flatten)]
    pub(in crate::cli) filter: FilterArgs,
    #[command(flatten)]
    pub(in crate::cli) place: Where,
}

/// What a gauge study crosses with its units.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(in crate::cli) enum By {
    /// Benches
    Bench,
    /// Operators
    Operator,
}

#[derive(Debug, Clone, Args)]
pub(in crate::cli) struct LimitsArgs {
    /// Model
    pub(in crate::cli) model: String,
    /// Measurands, as in fit.json, separated by commas: NAME for both sides, NAME:above or NAME:below for the one on which is
    /// rejected
    #[arg(long, value_name = "NAMES", value_delimiter = ',', required = true)]
    pub(in crate::cli) measurand: Vec<String>,
    /// Share of all units within the limits, %
    #[arg(long, value_name = "%", default_value_t = 99.0)]
    pub(in crate::cli) share: f64,
    /// Probability with which the limits hold it, %
    #[arg(long, value_name = "%", default_value_t = 95.0)]
    pub(in crate::cli) level: f64,
    /// File to write (TOML)
    #[arg(long, value_name = "FILE")]
    pub(in crate::cli) out: PathBuf,
    #[command(flatten)]
    pub(in crate::cli) filter: FilterArgs,
    #[command(flatten)]
    pub(in crate::cli) place: Where,
}

#[derive(Debug, Clone, Args)]
pub(in crate::cli) struct StudyArgs {
    /// Serial numbers of the units, separated by commas: ten that span the product
    #[arg(long, value_name = "SERIALS", value_delimiter = ',', required = true)]
    pub(in crate::cli) unit: Vec<String>,
    /// Benches or operators, separated by commas
    #[arg(long, value_name = "NAMES", value_delimiter = ',', required = true)]
    pub(in crate::cli) by: Vec<String>,
    /// Measurements of each unit by each of them
    #[arg(long, value_name = "N", default_value_t = 3)]
    pub(in crate::cli) repeats: usize,
    /// Seed of the order
    #[arg(long, default_value_t = 1)]
    pub(in crate::cli) seed: u64,
    /// What the study is of, as in fit.json: says what of the plan was measured and what comes next, and computes the study once it
    /// is whole
    #[arg(long, value_name = "NAME")]
    pub(in crate::cli) measurand: Option<String>,
    /// What --by names
    #[arg(long, value_enum, default_value = "bench")]
    pub(in crate::cli) crossed: By,
    /// Model, where units of several models have these numbers
    #[arg(long, value_name = "NAME")]
    pub(in crate::cli) model: Option<String>,
    /// Only what was measured from this day on (UTC), or from this date and time: when the study began
    #[arg(long, value_name = "YYYY-MM-DD")]
    pub(in crate::cli) from: Option<String>,
    /// Limits file, for the share of the tolerance
    #[arg(long, value_name = "FILE")]
    pub(in crate::cli) limits: Option<PathBuf>,
    #[command(flatten)]
    pub(in crate::cli) place: Where,
}

impl StudyArgs {
    /// The filter that says when the study began.
    pub(in crate::cli) fn since(&self) -> FilterArgs {
        FilterArgs {
            from: self.from.clone(),
            ..FilterArgs::default()
        }
    }
}

#[derive(Debug, Clone, Args)]
pub(in crate::cli) struct DemoArgs {
    /// Folder for pages and limits
    #[arg(long, value_name = "FOLDER", default_value = "out/demo")]
    pub(in crate::cli) out: PathBuf,
    /// Units of each model
    #[arg(long, value_name = "N", default_value_t = 300)]
    pub(in crate::cli) units: usize,
    /// Seed of the year
    #[arg(long, default_value_t = 2)]
    pub(in crate::cli) seed: u64,
    #[command(flatten)]
    pub(in crate::cli) place: Where,
}

#[derive(Debug, Clone, Args)]
pub(in crate::cli) struct JudgeArgs {
    /// Serial number [default: every unit of the model that the limits are for]
    pub(in crate::cli) unit: Option<String>,
    /// Limits file
    #[arg(long, value_name = "FILE")]
    pub(in crate::cli) limits: PathBuf,
    #[command(flatten)]
    pub(in crate::cli) place: Where,
}

#[derive(Debug, Clone, Args)]
pub(in crate::cli) struct NoteArgs {
    /// The remark
    pub(in crate::cli) text: String,
    /// Serial number of the unit that it is about
    #[arg(
        long,
        value_name = "SERIAL",
        required_unless_present = "entry",
        conflicts_with = "entry"
    )]
    pub(in crate::cli) unit: Option<String>,
    /// Model, where units of several models have that number
    #[arg(long, value_name = "NAME", requires = "unit")]
    pub(in crate::cli) model: Option<String>,
    /// Number of the entry that it is about
    #[arg(long, value_name = "N")]
    pub(in crate::cli) entry: Option<i64>,
    #[command(flatten)]
    pub(in crate::cli) place: Where,
}

#[derive(Debug, Clone, Args)]
pub(in crate::cli) struct CorrectArgs {
    /// Number of the entry
    pub(in crate::cli) entry: i64,
    /// Why it is wrong
    #[arg(long, value_name = "TEXT")]
    pub(in crate::cli) reason: String,
    /// What holds instead, in a recording's entry: model, serial, firmware, bench, fixture, operator or batch; repeatable
    #[arg(long, value_name = "WORD=VALUE", required_unless_present_any = ["withdraw", "restore"])]
    pub(in crate::cli) set: Vec<String>,
    /// Withdraw the entry: it counts nowhere any more
    #[arg(long, conflicts_with_all = ["set", "restore"])]
    pub(in crate::cli) withdraw: bool,
    /// Take a withdrawal back
    #[arg(long, conflicts_with = "set")]
    pub(in crate::cli) restore: bool,
    #[command(flatten)]
    pub(in crate::cli) place: Where,
}

#[derive(Debug, Clone, Args)]
pub(in crate::cli) struct VerifyArgs {
    /// Folder with results folders whose receipts (record.json) are compared; repeatable
    #[arg(long, value_name = "FOLDER")]
    pub(in crate::cli) receipts: Vec<PathBuf>,
    /// An entry's number and its link, noted elsewhere; repeatable
    #[arg(long, value_name = "N:LINK")]
    pub(in crate::cli) expect: Vec<String>,
    #[command(flatten)]
    pub(in crate::cli) place: Where,
}

#[derive(Debug, Clone, Args)]
pub(in crate::cli) struct ExportArgs {
    /// Serial number
    pub(in crate::cli) unit: String,
    /// Model, where units of several models have that number
    #[arg(long, value_name = "NAME")]
    pub(in crate::cli) model: Option<String>,
    /// Folder to make
    #[arg(long, value_name = "FOLDER")]
    pub(in crate::cli) out: PathBuf,
    #[command(flatten)]
    pub(in crate::cli) place: Where,
}

#[derive(Debug, Clone, Args)]
pub(in crate::cli) struct RefitArgs {
    /// Folder with recordings, at any depth
    #[arg(long, value_name = "FOLDER")]
    pub(in crate::cli) archive: PathBuf,
    /// Recordings fitted at the same time [default: as many as there are cores]
    #[arg(long, value_name = "N")]
    pub(in crate::cli) jobs: Option<usize>,
    #[command(flatten)]
    pub(in crate::cli) place: Where,
}
