//! Arguments and their help.

use std::path::PathBuf;

use bench_core::rig::Mounting;
use clap::{Args, Parser, Subcommand};

use super::calibrate::Calibrate;
use super::records::args::{EnterArgs, RECORDS_HELP, Records};
use crate::session::fault_kinds_text;

/// Measures what the motorised base of a driving-simulator wheel really renders.
///
/// It drives a motor that can break a wrist. Its interlock is no safety function: have a hard-wired emergency stop, keep
/// hands and cables away from the rim while it is armed, and follow your local rules.
#[derive(Debug, Parser)]
#[command(name = "truerim", version, after_help = AFTER_HELP)]
pub(super) struct Program {
    #[command(flatten)]
    pub(super) talk: Talk,
    #[command(subcommand)]
    pub(super) command: Command,
}

const AFTER_HELP: &str = "\
Examples:
  truerim measure --rig rigs/belt.toml --procedure procedures/quick.toml
      measures a virtual belt unit and leaves recording, fit, plots and report in a folder
  truerim check --rig my-rig.toml --port /dev/ttyACM0
      proves that stop and watchdog of a real rig work, at zero torque
  truerim check --limits --rig rigs/belt.toml --procedure procedures/quick.toml
      prints every limit that this run would have, and how it follows; nothing moves
  truerim check --signals --rig rigs/belt.toml --procedure procedures/response.toml
      prints crest factor and spectrum of what this run would play; nothing moves
  truerim report out/my-run/fit.json
      makes the report again from a fit

Exit codes:
  0  done
  1  a file, a recording or a fit could not be read, made or written
  2  the command line is wrong
  3  the interlock tripped: zero torque, the recording holds what came before
  4  stopped by the operator (Ctrl-C)
  5  the rig did not answer, refused, failed a proof, or has something bad in its check
  6  the link to the rig was lost in the middle of a run
  7  the recording could not be written in the middle of a run
  8  stopped because the system ends the program (SIGTERM, SIGHUP)
  9  a fault of this program
  10 a unit was judged not to keep to its limits
  11 of a unit nothing can be said by its limits";

/// The mounting of a word.
fn mounting(word: &str) -> Result<Mounting, String> {
    let named = Mounting::WORDS.iter().find(|(known, _)| *known == word);
    named.map(|(_, mounting)| *mounting).ok_or_else(|| {
        let words: Vec<&str> = Mounting::WORDS.iter().map(|(word, _)| *word).collect();
        format!("not a mounting; one of {}", words.join(", "))
    })
}

/// How much is said, and how.
#[derive(Debug, Clone, Copy, Args)]
pub(super) struct Talk {
    /// Say nothing but errors and results
    #[arg(long, short, global = true)]
    pub(super) quiet: bool,
    /// Print the result as JSON on standard output, and nothing else there
    #[arg(long, global = true)]
    pub(super) json: bool,
}

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Record, fit and report: the main job
    #[command(after_help = MEASURE_HELP)]
    Measure(RunArgs),
    /// Record only
    Record(RunArgs),
    /// Fit a recording: prints the results, writes fit.json beside it
    Fit(FitArgs),
    /// Make plots and an HTML page from a fit (fit.json) or a recording
    Report(ReportArgs),
    /// Say what differs between fits, or groups of fits, and whether by more than chance
    #[command(after_help = COMPARE_HELP)]
    Compare(CompareArgs),
    /// Open a rig, identify it, and prove at zero torque that stop and watchdog work
    Check(CheckArgs),
    /// List the serial ports of this computer, with what they are and the names that stay
    Ports,
    /// Calibrate the torque sensor by dead weights or an angle, or verify with a check weight; never arms
    #[command(subcommand)]
    Calibrate(Calibrate),
    /// Serve a virtual rig on a pseudo terminal, in real time; prints the port to open
    #[command(after_long_help = fault_kinds_text())]
    Virtual(VirtualArgs),
    /// Pack a measurement into one archive that a stranger can check and fit again
    #[command(after_help = PUBLISH_HELP)]
    Publish(PublishArgs),
    /// Check a recording's seal, or all of a published archive: whether anything was changed, and whether it gives the same numbers
    Verify(VerifyArgs),
    /// Make a clean recording from one whose program died while writing; the damaged one stays as it is
    Recover(RecoverArgs),
    /// Bring in data recorded by other means: CSV, Parquet, npz, mat, HDF5, netCDF-4
    #[command(after_help = IMPORT_HELP)]
    Import(ImportArgs),
    /// Write a recording's channels as CSV, Parquet or npz
    #[command(after_help = EXPORT_HELP)]
    Export(ExportArgs),
    /// Compute the steering torque of a car, as CSV that a procedure can play
    #[command(after_help = TRACE_HELP)]
    Trace(TraceArgs),
    /// Inertia (mass) and friction of any moving axis, from a table of time, position and torque or force
    #[command(after_help = AXIS_HELP)]
    Axis(AxisArgs),
    /// Records of units over benches and years: add, look, judge, correct, verify, export
    #[command(subcommand, after_help = RECORDS_HELP)]
    Records(Records),
    /// Turn a static map round: the command for a wanted torque, as CSV that a staircase can go by
    #[command(after_help = CORRECT_HELP)]
    Correct(CorrectArgs),
    /// Print a completion script for a shell
    Completions(CompletionsArgs),
}

const MEASURE_HELP: &str = "\
Examples:
  truerim measure --rig rigs/belt.toml --procedure procedures/quick.toml --yes
      a virtual rig needs no port: it runs in this process, much faster than real time
  truerim measure --rig rigs/belt.toml --procedure procedures/quick.toml --port /dev/pts/5
      the same rig served by `truerim virtual`, in real time through a serial port
  truerim measure --rig my-rig.toml --procedure procedures/quick.toml --out results/unit-17
      a real rig; asks before it arms
  truerim measure --rig my-rig.toml --procedure procedures/quick.toml --unit W-0412 --records records.db
      also adds what was found to the records of units";

const PUBLISH_HELP: &str = "\
Examples:
  truerim publish out/first-run --out first-run.zip
      recording, fit, report, plots, tables, rig and procedure, described as an RO-Crate
  truerim verify first-run.zip
      compares every file with its hash, recomputes the seal, fits the recording again and says what differs

`sha256sum -c SHA256SUMS` checks the unpacked files without this program.";

const COMPARE_HELP: &str = "\
Examples:
  truerim compare out/before/fit.json out/after/fit.json --out out/before-after
      one fit against another; leaves a page with the curves over one another
  truerim compare --group before=a/fit.json,b/fit.json --group after=c/fit.json,d/fit.json
      groups of runs; those with different words after --clamping were clamped anew between
  truerim compare out/unit-1/recording.h5 out/unit-2/recording.h5 --remounted r1/fit.json,r2/fit.json,r3/fit.json
      two units; three more runs of one unit, clamped anew before each, say what clamping spreads results by

A recording stands for the fit.json beside it, or is fitted. The first group is the reference.";

const IMPORT_HELP: &str = "\
Examples:
  truerim import bench.csv --map bench-map.toml --out out/bench/recording.h5
      makes a recording that fit and report read like any other; it says that it was imported
  truerim import bench.csv --map bench-map.toml --out out/bench/recording.h5 --repair
      the same, leaving out rows that cannot be read, and resampling uneven time; each is said in the recording

What a map holds, with an example for each kind of file: docs/importing.md";

const EXPORT_HELP: &str = "\
Examples:
  truerim export out/run/recording.h5 --format csv --out run.csv
  truerim export out/run/recording.h5 --format parquet --channels setpoint,torque --from 12 --to 14.5 --out part.parquet
  truerim export out/run/recording.h5 --format npz --out run.npz --map run-map.toml
      also writes the map with which `truerim import` brings the data back, segments included";

const CORRECT_HELP: &str = "\
Examples:
  truerim correct out/belt/fit.json --out curve.csv
      then `correction = \"curve.csv\"` in a staircase beside it: levels become wanted torques";
const TRACE_HELP: &str = "\
Examples:
  truerim trace --manoeuvre corner-to-limit --speed 90 --peak-torque 6 --out corner.csv
  truerim trace --manoeuvre straight --speed 100 --road C --seed 3 --out bumps.csv
  truerim trace --manoeuvre kerb-strike --speed 80 --kerb saw --kerb-height 25 --kerb-spacing 1 --out kerb.csv

Traces recorded elsewhere need no command: a trace segment of a procedure names any CSV file, its columns and units
(docs/procedures.md)";

const AXIS_HELP: &str = "\
Examples:
  truerim axis slide.csv --time t=ms --position x=mm --effort force=N
      a linear axis: mass, viscous friction and Coulomb friction both ways, in kg and N
  truerim axis rotor.parquet --time t --position angle=deg --effort torque=N·m --corner 10
      a rotary one, low-passed at 10 Hz: well above the wanted motion, below the first resonance

The motion must go both ways and change its speed. What a table may be: docs/importing.md";

/// Which rig.
#[derive(Debug, Clone, Args)]
pub(super) struct RigArgs {
    /// Rig file
    #[arg(long, value_name = "FILE")]
    pub(super) rig: PathBuf,
    /// How the rim is held, instead of what the rig file says; one of the mountings that it describes. Recorded
    #[arg(long, value_name = "WORD", value_parser = mounting)]
    pub(super) mounting: Option<Mounting>,
    /// Something that goes wrong with a virtual rig in this process: "KIND at START [size SIZE]"; repeatable. Recorded
    #[arg(long, value_name = "FAULT")]
    pub(super) fault: Vec<String>,
    /// Serial port, instead of the rig file's; for a virtual rig, one that `truerim virtual` printed
    #[arg(long, value_name = "PATH")]
    pub(super) port: Option<String>,
    /// Seed of dithered starts, orders and simulated noise; recorded
    #[arg(long, default_value_t = 1)]
    pub(super) seed: u64,
    /// Who measures, for the recording
    #[arg(long, value_name = "NAME", default_value = "")]
    pub(super) operator: String,
    /// Which clamping of the rim this is, any word; runs with the same one were made without touching the fixture. Recorded
    #[arg(long, value_name = "WORD", default_value = "")]
    pub(super) clamping: String,
    /// Arm without asking; only with a rig file that says the rig is virtual or has a hard-wired emergency stop
    #[arg(long)]
    pub(super) yes: bool,
}

#[derive(Debug, Clone, Args)]
pub(super) struct RunArgs {
    #[command(flatten)]
    pub(super) rig: RigArgs,
    /// Procedure file
    #[arg(long, value_name = "FILE")]
    pub(super) procedure: PathBuf,
    /// Folder for the results; made if missing, refused if it holds a recording already [default: out/UNIT-PROCEDURE-TIME]
    #[arg(long, value_name = "FOLDER")]
    pub(super) out: Option<PathBuf>,
    #[command(flatten)]
    pub(super) enter: EnterArgs,
}

#[derive(Debug, Clone, Args)]
pub(super) struct FitArgs {
    /// Recording (HDF5)
    pub(super) recording: PathBuf,
    /// Where to write the fit [default: fit.json beside the recording]
    #[arg(long, value_name = "FILE")]
    pub(super) out: Option<PathBuf>,
    /// Earlier recording or fit of the same unit: say what changed in its belt
    #[arg(long, value_name = "FILE")]
    pub(super) reference: Option<PathBuf>,
}

#[derive(Debug, Clone, Args)]
pub(super) struct ReportArgs {
    /// Fit (JSON) or recording (HDF5)
    pub(super) source: PathBuf,
    /// Folder for report.html, plots and fit.json [default: the folder of the source]
    #[arg(long, value_name = "FOLDER")]
    pub(super) out: Option<PathBuf>,
}

#[derive(Debug, Clone, Args)]
pub(super) struct PublishArgs {
    /// Folder that a measurement left, with recording.h5, fit.json and report.html
    pub(super) folder: PathBuf,
    /// Archive to make (ZIP)
    #[arg(long, value_name = "FILE")]
    pub(super) out: PathBuf,
    /// Licence under which others may use it, best as a URL [default: none is stated]
    #[arg(long, value_name = "URL", default_value = "")]
    pub(super) license: String,
    /// Who publishes it [default: not stated]
    #[arg(long, value_name = "NAME", default_value = "")]
    pub(super) author: String,
    /// Day of publication, YYYY-MM-DD [default: the day of the recording]
    #[arg(long, value_name = "DATE", default_value = "")]
    pub(super) date: String,
}

#[derive(Debug, Clone, Args)]
pub(super) struct CompareArgs {
    /// Fits (JSON) or recordings (HDF5); the first is the reference
    #[arg(required_unless_present = "group", num_args = 2.., value_name = "FILE")]
    pub(super) fits: Vec<PathBuf>,
    /// Runs that stand for one state; repeatable, the first is the reference
    #[arg(long, value_name = "NAME=FILE,FILE", conflicts_with = "fits")]
    pub(super) group: Vec<String>,
    /// Runs of one unit with the rim clamped anew before each, which only tell what that does to results; repeatable
    #[arg(long, value_name = "FILE,FILE")]
    pub(super) remounted: Vec<String>,
    /// The rim was clamped anew before every run, whatever the recordings say
    #[arg(long, conflicts_with = "untouched")]
    pub(super) clamped_anew: bool,
    /// The fixture was not touched between any of the runs, whatever the recordings say
    #[arg(long)]
    pub(super) untouched: bool,
    /// Compare only results that stand for their quantity: fewer looks, so less is allowed for
    #[arg(long)]
    pub(super) headline: bool,
    /// Chance of calling any difference by chance, for the whole comparison
    #[arg(long, value_name = "SHARE", default_value_t = 0.05)]
    pub(super) significance: f64,
    /// Folder for comparison.html, .json, .csv and plots [default: none is written]
    #[arg(long, value_name = "FOLDER")]
    pub(super) out: Option<PathBuf>,
}

#[derive(Debug, Clone, Args)]
pub(super) struct CorrectArgs {
    /// Fit (JSON) or recording (HDF5) with a static map
    pub(super) source: PathBuf,
    /// File to make
    #[arg(long, value_name = "FILE")]
    pub(super) out: PathBuf,
    /// Rows of the table
    #[arg(long, value_name = "N", default_value_t = 201)]
    pub(super) rows: usize,
}

#[derive(Debug, Clone, Args)]
pub(super) struct CheckArgs {
    #[command(flatten)]
    pub(super) rig: RigArgs,
    /// Print the limits that would be in force, each with how it follows, and touch no port
    #[arg(long, group = "shown")]
    pub(super) limits: bool,
    /// Print what each excitation of a procedure delivers (time, crest factor, spectrum), and touch no port
    #[arg(long, group = "shown", requires = "procedure")]
    pub(super) signals: bool,
    /// Procedure file whose limits or signals are asked for; without it, the limits of the rig at zero torque
    #[arg(long, value_name = "FILE", requires = "shown")]
    pub(super) procedure: Option<PathBuf>,
    /// Also push with 5 % of the peak torque, for sign and gain; asks again before it arms
    #[arg(long, conflicts_with = "shown")]
    pub(super) torque: bool,
    /// Also ask to press the emergency stop, and see that the rig reports it
    #[arg(long, conflicts_with = "shown")]
    pub(super) emergency_stop: bool,
    /// Write everything that was found, with what to do about it, as a page (HTML)
    #[arg(long, value_name = "FILE", conflicts_with = "shown")]
    pub(super) page: Option<PathBuf>,
}

#[derive(Debug, Clone, Args)]
pub(super) struct VirtualArgs {
    /// Rig file with a [virtual] table
    #[arg(long, value_name = "FILE")]
    pub(super) rig: PathBuf,
    /// How the rim is held, instead of what the rig file says; one of the mountings that it describes
    #[arg(long, value_name = "WORD", value_parser = mounting)]
    pub(super) mounting: Option<Mounting>,
    /// Seed of everything random
    #[arg(long, default_value_t = 1)]
    pub(super) seed: u64,
    /// Something that goes wrong: "KIND at START [size SIZE]", such as "clamp-slip at 1.5 s size 0.2 N·m"; repeatable
    #[arg(long, value_name = "FAULT")]
    pub(super) fault: Vec<String>,
    /// Print what a perfect measurement of the rig would find, and how it follows from its parameters; serves nothing
    #[arg(long)]
    pub(super) describe: bool,
}

#[derive(Debug, Clone, Args)]
pub(super) struct VerifyArgs {
    /// Recording (HDF5), or an archive that `truerim publish` made
    pub(super) recording: PathBuf,
    /// Of an archive: compare hashes and seal alone, and do not fit again
    #[arg(long)]
    pub(super) no_fit: bool,
}

#[derive(Debug, Clone, Args)]
pub(super) struct RecoverArgs {
    /// The damaged recording
    pub(super) damaged: PathBuf,
    /// The clean one to make
    pub(super) to: PathBuf,
}

#[derive(Debug, Clone, Args)]
pub(super) struct ImportArgs {
    /// Data file; its kind is told from its contents
    pub(super) data: PathBuf,
    /// Map file: which column is what, in which unit
    #[arg(long, value_name = "FILE")]
    pub(super) map: PathBuf,
    /// Recording to make (HDF5)
    #[arg(long, value_name = "FILE")]
    pub(super) out: PathBuf,
    /// Put right what can be: leave out rows, resample uneven time, turn a reversed torque; each is said in the recording
    #[arg(long)]
    pub(super) repair: bool,
    /// Used by this program itself: reads HDF5 in this process, with limits
    #[arg(long, hide = true)]
    pub(super) here: bool,
}

#[derive(Debug, Clone, Args)]
pub(super) struct ExportArgs {
    /// Recording (HDF5)
    pub(super) recording: PathBuf,
    /// Kind of file
    #[arg(long, value_enum)]
    pub(super) format: ExportFormat,
    /// Channels to write, separated by commas [default: all]
    #[arg(long, value_name = "NAMES", value_delimiter = ',')]
    pub(super) channels: Vec<String>,
    /// From this time on the recording's clock, s
    #[arg(long, value_name = "SECONDS", allow_negative_numbers = true)]
    pub(super) from: Option<f64>,
    /// Up to this time, s
    #[arg(long, value_name = "SECONDS", allow_negative_numbers = true)]
    pub(super) to: Option<f64>,
    /// File to make
    #[arg(long, value_name = "FILE")]
    pub(super) out: PathBuf,
    /// Map to make beside it, for importing the file again
    #[arg(long, value_name = "FILE")]
    pub(super) map: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum ExportFormat {
    /// Text, one row a line
    Csv,
    /// Apache Parquet
    Parquet,
    /// NumPy, one array a column
    Npz,
}

#[derive(Debug, Clone, Args)]
pub(super) struct CompletionsArgs {
    /// Shell
    pub(super) shell: clap_complete::Shell,
}

#[derive(Debug, Clone, Args)]
pub(super) struct AxisArgs {
    /// Table: CSV or TSV, Parquet, npz, mat, HDF5
    pub(super) data: PathBuf,
    /// Column of the time, with its unit where the table does not say it: NAME or NAME=UNIT; s otherwise
    #[arg(long, value_name = "COLUMN")]
    pub(super) time: String,
    /// Column of the angle (deg, rad, turn) or position (m, mm), likewise; says whether the axis is rotary or linear
    #[arg(long, value_name = "COLUMN")]
    pub(super) position: String,
    /// Column of the torque (N·m) or force (N), likewise
    #[arg(long, value_name = "COLUMN")]
    pub(super) effort: String,
    /// Corner of the low-pass, Hz [default: 20, or a fortieth of the sample rate if that is less]
    #[arg(long, value_name = "HZ")]
    pub(super) corner: Option<f64>,
    /// Slowest speed used, rad/s or m/s [default: a tenth of the fast ones]
    #[arg(long, value_name = "SPEED")]
    pub(super) least_speed: Option<f64>,
    /// Standard uncertainty of the torque's or force's scale, %
    #[arg(long, value_name = "%", default_value_t = 0.0)]
    pub(super) gain_uncertainty: f64,
    /// Standard uncertainty of its zero, N·m or N
    #[arg(long, value_name = "EFFORT", default_value_t = 0.0)]
    pub(super) zero_uncertainty: f64,
    /// Character between fields [default: told from the header]
    #[arg(long, value_name = "CHAR")]
    pub(super) delimiter: Option<char>,
    /// Numbers have a decimal comma
    #[arg(long)]
    pub(super) decimal_comma: bool,
}

#[derive(Debug, Clone, Args)]
pub(super) struct TraceArgs {
    /// What is driven
    #[arg(long, value_enum)]
    pub(super) manoeuvre: ManoeuvreArg,
    /// Speed, km/h
    #[arg(long, value_name = "KM/H")]
    pub(super) speed: f64,
    /// Greatest torque at the rim, N·m, to which all of it is scaled [default: the car's own, without assistance]
    #[arg(long, value_name = "N·M")]
    pub(super) peak_torque: Option<f64>,
    /// Roughness class of ISO 8608, A to H [default: smooth]
    #[arg(long, value_name = "LETTER")]
    pub(super) road: Option<char>,
    /// Shape of a kerb's teeth, for kerb-strike
    #[arg(long, value_enum, default_value = "round")]
    pub(super) kerb: KerbArg,
    /// Height of a tooth, mm
    #[arg(long, value_name = "MM", default_value_t = 30.0)]
    pub(super) kerb_height: f64,
    /// Length of a tooth, m
    #[arg(long, value_name = "M", default_value_t = 0.5)]
    pub(super) kerb_length: f64,
    /// From tooth to tooth, m
    #[arg(long, value_name = "M", default_value_t = 1.0)]
    pub(super) kerb_spacing: f64,
    /// Number of teeth
    #[arg(long, value_name = "N", default_value_t = 8)]
    pub(super) kerb_teeth: u32,
    /// Seed of the road
    #[arg(long, default_value_t = 1)]
    pub(super) seed: u64,
    /// Rows a second
    #[arg(long, value_name = "HZ", default_value_t = 500.0)]
    pub(super) rate: f64,
    /// File to make
    #[arg(long, value_name = "FILE")]
    pub(super) out: PathBuf,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum ManoeuvreArg {
    /// Lock wound on until the front tyres are past their limit, held, taken off
    CornerToLimit,
    /// Power makes the rear slide in a corner; the driver steers against it
    SlideAndCatch,
    /// Straight ahead; bumps by --road
    Straight,
    /// The right-hand wheels run over a kerb
    KerbStrike,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum KerbArg {
    /// Half a sine
    Round,
    /// Up, level, down
    Flat,
    /// Up slowly, down steeply
    Saw,
}

/// The word of an argument's value.
fn word_of(value: &impl clap::ValueEnum) -> String {
    value
        .to_possible_value()
        .map(|value| value.get_name().to_owned())
        .unwrap_or_default()
}

impl ManoeuvreArg {
    /// As it is written.
    pub(super) fn word(self) -> String {
        word_of(&self)
    }
}

impl KerbArg {
    /// As it is written.
    pub(super) fn word(self) -> String {
        word_of(&self)
    }
}
