//! Runs in which something goes wrong, by the thousand; see `acceptance::campaign`.
//!
//! `cargo run --release -p acceptance --bin fault-campaign -- --runs 20000 --quiet-hours 20`

#![allow(clippy::print_stdout)] // its output is what it is for

use std::path::PathBuf;
use std::process::ExitCode;

use acceptance::campaign::quiet::{self, Quiet};
use acceptance::campaign::units::{Unit, mounting_of_word};
use acceptance::campaign::verdict::{Class, judge};
use acceptance::campaign::{Case, Only, Verdict, table, work};
use bench_core::rig::Mounting;
use clap::Parser;
use virtual_rig::faults::{FaultKind, KINDS};

/// Runs between two writings of the tables.
const PART: usize = 1_000;

/// Runs in which one thing goes wrong, and runs in which nothing does.
#[derive(Debug, Parser)]
struct Args {
    /// How many runs in which something goes wrong
    #[arg(long, default_value_t = 0)]
    runs: u64,
    /// Seed of the campaign; run k of a seed is always the same
    #[arg(long, default_value_t = 1)]
    seed: u64,
    /// Only this kind of fault
    #[arg(long, value_parser = kind)]
    fault: Option<FaultKind>,
    /// Only this mounting
    #[arg(long, value_parser = mounting_of_word)]
    mounting: Option<Mounting>,
    /// Only this wheelbase: geared, belt or direct
    #[arg(long, value_parser = Unit::of_word)]
    unit: Option<Unit>,
    /// Plays one run of this seed and says all about it
    #[arg(long, value_parser = number)]
    replay: Option<u64>,
    /// Hours of bench time in which nothing goes wrong
    #[arg(long, default_value_t = 0.0)]
    quiet_hours: f64,
    /// Plays one fault-free run of this seed; needs --unit and --procedure
    #[arg(long, value_parser = number)]
    replay_quiet: Option<u64>,
    /// The shipped procedure of --replay-quiet
    #[arg(long, default_value = "quick")]
    procedure: String,
    /// Says each run that moved something and was not noticed, a line each
    #[arg(long)]
    unnoticed: bool,
    /// Writes the tables there
    #[arg(long)]
    markdown: Option<PathBuf>,
}

fn kind(word: &str) -> Result<FaultKind, String> {
    let named = KINDS.iter().find(|info| info.word == word);
    named.map(|info| info.kind).ok_or_else(|| {
        let words: Vec<&str> = KINDS.iter().map(|info| info.word).collect();
        format!("one of {}", words.join(", "))
    })
}

fn number(text: &str) -> Result<u64, String> {
    let parsed = match text.strip_prefix("0x") {
        Some(digits) => u64::from_str_radix(digits, 16),
        None => text.parse(),
    };
    parsed.map_err(|error| error.to_string())
}

fn main() -> ExitCode {
    let args = Args::parse();
    let only = Only {
        kind: args.fault,
        mounting: args.mounting,
        unit: args.unit,
    };
    if let Some(seed) = args.replay {
        return replay(&Case::new(seed, only));
    }
    if let Some(seed) = args.replay_quiet {
        let run = quiet::one(args.unit.unwrap_or(Unit::Belt), &args.procedure, seed);
        println!("{run:#?}");
        return exit(run.wrong.is_some());
    }
    let count = usize::try_from(args.runs).unwrap_or(usize::MAX);
    let quiet_runs = quiet_runs(args.seed, args.quiet_hours);
    for run in quiet_runs.iter().filter(|run| run.wrong.is_some()) {
        println!(
            "false trip: {} ; {}",
            run.wrong.as_deref().unwrap_or(""),
            run.command()
        );
    }
    let mut verdicts: Vec<Verdict> = Vec::with_capacity(count);
    // In parts, so that what is known is on the disk however long the rest takes.
    while verdicts.len() < count || verdicts.is_empty() {
        let done = verdicts.len();
        verdicts.extend(work::spread(PART.min(count - done), |index| {
            judge(&Case::numbered(args.seed, (done + index) as u64, only)).without_samples()
        }));
        if let Some(path) = &args.markdown
            && let Err(error) = std::fs::write(path, table::document(&verdicts, &quiet_runs, args.seed))
        {
            println!("cannot write {}: {error}", path.display());
            return ExitCode::FAILURE;
        }
        if count == 0 {
            break;
        }
    }
    println!("{}", table::document(&verdicts, &quiet_runs, args.seed));
    if args.unnoticed {
        verdicts
            .iter()
            .filter_map(unnoticed)
            .for_each(|line| println!("{line}"));
    }
    let wrong = verdicts.iter().any(|verdict| !verdict.failures.is_empty());
    exit(wrong || quiet_runs.iter().any(|run| run.wrong.is_some()))
}

/// One that went another way than without the fault, and was not noticed.
fn unnoticed(verdict: &Verdict) -> Option<String> {
    let [angle_rad, torque_nm] = verdict.differs;
    let case = &verdict.played.case;
    matches!(verdict.class, Class::WithinLimits | Class::Beyond).then(|| {
        format!(
            "{} of {:.5} (SI), {}, {}, at {}{}: {:.2} deg, {:.2} N.m; {}",
            case.info.word,
            verdict.played.size,
            case.unit.word(),
            case.mounting,
            verdict.played.moment.word(),
            if case.slice.is_some() { ", slice" } else { "" },
            angle_rad.to_degrees(),
            torque_nm,
            case.command()
        )
    })
}

fn exit(wrong: bool) -> ExitCode {
    if wrong {
        ExitCode::FAILURE
    } else {
        ExitCode::SUCCESS
    }
}

/// As many runs as fill the hours, every pairing at least once.
fn quiet_runs(seed: u64, hours: f64) -> Vec<Quiet> {
    if hours <= 0.0 {
        return Vec::new();
    }
    let pairings = quiet::pairings();
    let mut runs = work::spread(pairings, |index| quiet::quiet(seed, index));
    let round_s: f64 = runs.iter().map(|run| run.time_s).sum();
    let rounds = (hours * 3600.0 / round_s).ceil() as usize;
    let more = rounds.saturating_sub(1) * pairings;
    runs.extend(work::spread(more, |index| quiet::quiet(seed, index + pairings)));
    runs
}

fn replay(case: &Case) -> ExitCode {
    println!("{case:#?}");
    let verdict = judge(case).without_samples();
    println!(
        "size {} (SI), at {}",
        verdict.played.size,
        verdict.played.moment.word()
    );
    println!("ended as: {}", verdict.played.outcome.end);
    println!("{verdict:#?}");
    exit(!verdict.failures.is_empty())
}
