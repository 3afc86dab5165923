//! Tells belts of two tensions apart, and equal ones not, over pairs of seeds.
#![allow(clippy::print_stdout, clippy::print_stderr)] // a program for people

use std::process::ExitCode;

use acceptance::belts::survey;
use clap::Parser;
use truerim::fitting::SIGNIFICANCE;

/// How often two belts of the virtual unit are told apart, and two equal ones are not.
#[derive(Debug, Parser)]
struct Arguments {
    /// Number of pairs
    #[arg(long, default_value_t = 100)]
    pairs: u64,
    /// First seed; every pair takes three
    #[arg(long, default_value_t = 1)]
    first: u64,
    /// Pretension of the reference, N
    #[arg(long, default_value_t = 40.0)]
    then: f64,
    /// Pretension of the other belt, N
    #[arg(long, default_value_t = 36.0)]
    now: f64,
    /// Threads
    #[arg(long, default_value_t = 2)]
    threads: usize,
    /// Print what is said of every pair
    #[arg(long)]
    each: bool,
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let pairs = match survey(
        [arguments.then, arguments.now],
        arguments.first,
        arguments.pairs,
        arguments.threads,
    ) {
        Ok(pairs) => pairs,
        Err(problem) => {
            eprintln!("belt-pairs: {problem}");
            return ExitCode::FAILURE;
        }
    };
    if arguments.each {
        for pair in &pairs {
            println!("seed {}\n{}{}", pair.seed, pair.other.words(), pair.equal.words());
        }
    }
    let apart = pairs.iter().filter(|pair| pair.other.comparison.changed);
    let wrongly = pairs.iter().filter(|pair| pair.equal.comparison.changed);
    println!(
        "{} N against {} N: told apart in {} of {} pairs; {} N against {} N: in {} (limit of chance {SIGNIFICANCE})",
        arguments.now,
        arguments.then,
        apart.count(),
        pairs.len(),
        arguments.then,
        arguments.then,
        wrongly.count()
    );
    let largest = |of: fn(&acceptance::belts::Pair) -> f64| pairs.iter().map(of).fold(0.0, f64::max);
    let smallest = pairs
        .iter()
        .map(|pair| pair.equal.comparison.chance)
        .fold(1.0, f64::min);
    println!(
        "largest p of two belts {:.2e}; smallest p of equal ones {smallest:.4}",
        largest(|pair| pair.other.comparison.chance)
    );
    ExitCode::SUCCESS
}
