//! Prints how near the estimates come to known truth over many seeds, and how often the truth lies inside the stated
//! intervals.
#![allow(clippy::print_stdout, clippy::print_stderr)] // a program for people

use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::atomic::{AtomicU64, Ordering};

use acceptance::campaign::units::{Unit, mounting_of_word};
use acceptance::recovery::{Scene, Truth, markdown, rows, scenes, survey, table, truths};
use bench_core::rig::Mounting;
use clap::Parser;

/// Recovery and coverage of the fits over seeds, on the virtual units.
#[derive(Debug, Parser)]
struct Arguments {
    /// Number of seeds
    #[arg(long, default_value_t = 50)]
    seeds: u64,
    /// First seed
    #[arg(long, default_value_t = 1)]
    first: u64,
    /// Threads; 0 for one a processor
    #[arg(long, default_value_t = 0)]
    threads: usize,
    /// Unit: belt, direct or geared; all of them if left out
    #[arg(long, value_parser = Unit::of_word)]
    wheelbase: Option<Unit>,
    /// Mounting: clamped, free or back-driven; all of them if left out
    #[arg(long, value_parser = mounting_of_word)]
    mounting: Option<Mounting>,
    /// Procedure, by the stem of its file; all of them if left out
    #[arg(long)]
    procedure: Option<String>,
    /// Id of a measurand, as in fit.json; all with a known value if left out
    #[arg(long)]
    measurand: Option<String>,
    /// Write the tables to this file, as a document
    #[arg(long, value_name = "FILE")]
    markdown: Option<PathBuf>,
    /// Print every seed's estimates too
    #[arg(long)]
    each: bool,
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let threads = match arguments.threads {
        0 => std::thread::available_parallelism().map_or(1, std::num::NonZero::get),
        some => some,
    };
    let wanted = |scene: &Scene| {
        arguments.wheelbase.is_none_or(|unit| unit == scene.wheelbase)
            && arguments
                .mounting
                .is_none_or(|mounting| mounting == scene.mounting)
            && arguments
                .procedure
                .as_ref()
                .is_none_or(|procedure| procedure == scene.procedure)
    };
    let (mut any, mut document) = (false, HEAD.to_owned());
    for scene in scenes().iter().filter(|scene| wanted(scene)) {
        match one(scene, &arguments, threads, &mut document) {
            Ok(rows) => any |= rows > 0,
            Err(problem) => {
                eprintln!("recovery: {problem}");
                return ExitCode::FAILURE;
            }
        }
    }
    if !any {
        eprintln!("recovery: no measurand with that id has a known value there; ids are those of fit.json");
        return ExitCode::FAILURE;
    }
    if let Some(file) = &arguments.markdown
        && let Err(problem) = std::fs::write(file, document)
    {
        eprintln!("recovery: {}: {problem}", file.display());
        return ExitCode::FAILURE;
    }
    ExitCode::SUCCESS
}

/// What stands above the tables of a document.
const HEAD: &str = "# Known truth, and what the fits make of it\n\n\
    Each seed is a whole measurement of a virtual unit: the rig in lock-step, the recording, the fit. The truth comes from the \
    rig file by closed form or, for bandwidth and flat band, from an independent integration (`tests/reference/plant`). \
    *Mean error* is estimate less truth, *spread* the standard deviation over seeds, *least spread* what waits or sensor noise \
    alone leave to an estimate without bias, with the spread as a multiple of it, *stated u* the mean of the standard \
    uncertainties that the fits state. A right 95 % interval holds the truth in 95 % of seeds; one that holds it always is \
    wider than it need be.\n";

/// Surveys one scene, prints its table and adds it to the document; how many rows it has.
fn one(scene: &Scene, arguments: &Arguments, threads: usize, document: &mut String) -> Result<usize, String> {
    let mut truths = truths(scene)?;
    if let Some(id) = &arguments.measurand {
        truths.retain(|truth| truth.quantity.text().id == id);
    }
    if truths.is_empty() {
        return Ok(0);
    }
    let done = AtomicU64::new(0);
    let progress = |_| {
        let done = done.fetch_add(1, Ordering::Relaxed) + 1;
        if done.is_multiple_of(10) {
            eprintln!("{}: {done} of {} seeds", scene.name(), arguments.seeds);
        }
    };
    let seeds = survey(
        scene,
        &truths,
        arguments.first,
        arguments.seeds,
        threads,
        &progress,
    )?;
    if arguments.each {
        for seed in &seeds {
            let values = seed
                .found
                .iter()
                .zip(&truths)
                .map(|(found, truth)| each(found, truth));
            println!("seed {:>4}: {}", seed.seed, values.collect::<Vec<_>>().join("  "));
        }
    }
    let rows = rows(&truths, &seeds);
    println!("{}", scene.name());
    print!("{}", table(&rows));
    document.push_str(&format!(
        "\n## {}: seeds {} to {}\n\n{}",
        scene.name(),
        arguments.first,
        arguments.first + arguments.seeds - 1,
        markdown(&rows)
    ));
    Ok(rows.len())
}

fn each(found: &Option<acceptance::recovery::Found>, truth: &Truth) -> String {
    let k = truth.quantity.text().shown_in.factor();
    match found {
        Some(f) => format!("{:.5}±{:.5}", f.value * k, f.std_uncertainty * k),
        None => "refused".to_owned(),
    }
}
