//! Prints how near the estimates come to known truth over many seeds, and how often the truth lies inside the stated
//! intervals.
#![allow(clippy::print_stdout, clippy::print_stderr)] // a program for people

use std::process::ExitCode;
use std::sync::atomic::{AtomicU64, Ordering};

use acceptance::recovery::{rows, survey, table, truths};
use clap::Parser;

/// Recovery and coverage of the fits over seeds, on the virtual belt unit.
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
    let done = AtomicU64::new(0);
    let progress = |_| {
        let done = done.fetch_add(1, Ordering::Relaxed) + 1;
        if done.is_multiple_of(10) {
            eprintln!("{done} of {} seeds", arguments.seeds);
        }
    };
    let result = truths().and_then(|truths| {
        survey(&truths, arguments.first, arguments.seeds, threads, &progress).map(|seeds| (truths, seeds))
    });
    match result {
        Ok((truths, seeds)) => {
            if arguments.each {
                for seed in &seeds {
                    let values: Vec<String> = seed
                        .found
                        .iter()
                        .zip(&truths)
                        .map(|(found, truth)| match found {
                            Some(f) => {
                                format!(
                                    "{:.4}±{:.4}",
                                    f.value * truth.per_si,
                                    f.std_uncertainty * truth.per_si
                                )
                            }
                            None => "refused".to_owned(),
                        })
                        .collect();
                    println!("seed {:>4}: {}", seed.seed, values.join("  "));
                }
            }
            print!("{}", table(&rows(&truths, &seeds)));
            ExitCode::SUCCESS
        }
        Err(problem) => {
            eprintln!("recovery: {problem}");
            ExitCode::FAILURE
        }
    }
}
