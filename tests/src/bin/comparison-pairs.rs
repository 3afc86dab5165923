//! How often equal units are told apart, and a softer one from its reference, over pairs of seeds.
#![allow(clippy::print_stdout, clippy::print_stderr)] // a program for people

use std::collections::BTreeMap;
use std::process::ExitCode;

use acceptance::changed::shipped;
use acceptance::pairs::{STIFFNESS_NM_PER_RAD, survey};
use clap::Parser;
use truerim::compare::{Comparison, sentence};

/// Compares virtual belt units of equal stiffness, and of a lower one.
#[derive(Debug, Parser)]
struct Arguments {
    /// Number of pairs
    #[arg(long, default_value_t = 40)]
    pairs: u64,
    /// First seed; every pair takes three
    #[arg(long, default_value_t = 1)]
    first: u64,
    /// Procedure
    #[arg(long, default_value = "quick")]
    procedure: String,
    /// Stiffness of the softer unit as a share of the shipped one
    #[arg(long, default_value_t = 0.9)]
    softer: f64,
    /// Threads
    #[arg(long, default_value_t = 2)]
    threads: usize,
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let found = shipped(&arguments.procedure).and_then(|procedure| {
        survey(
            &procedure,
            Some(arguments.softer * STIFFNESS_NM_PER_RAD),
            (arguments.first, arguments.pairs),
            arguments.threads,
            &|seed| eprintln!("seed {seed} done"),
        )
    });
    let pairs = match found {
        Ok(pairs) => pairs,
        Err(problem) => {
            eprintln!("comparison-pairs: {problem}");
            return ExitCode::FAILURE;
        }
    };
    let wrongly: Vec<_> = pairs.iter().filter(|pair| pair.equal.differs()).collect();
    for pair in &wrongly {
        println!("seed {}: equal units told apart", pair.seed);
        for line in differences(&pair.equal) {
            println!("  {line}");
        }
    }
    let tests: usize = pairs.iter().map(|pair| pair.equal.family).sum();
    let below: usize = pairs
        .iter()
        .flat_map(|pair| pair.equal.compared())
        .filter(|(_, compared)| compared.chance <= 0.05)
        .count();
    println!(
        "equal units: told apart in {} of {} comparisons (stated: at most 5 %); {tests} tests, of which {below} alone below 5 %",
        wrongly.len(),
        pairs.len()
    );
    let mut by_quantity: BTreeMap<&str, usize> = BTreeMap::new();
    for pair in &pairs {
        for (row, compared) in pair.softer.iter().flat_map(Comparison::compared) {
            if row.headline {
                *by_quantity.entry(row.quantity.text().name).or_default() += usize::from(compared.differs);
            }
        }
    }
    println!("stiffness times {}: found by", arguments.softer);
    for (name, count) in by_quantity.into_iter().filter(|(_, count)| *count > 0) {
        println!("  {name}: {count} of {}", pairs.len());
    }
    ExitCode::SUCCESS
}

fn differences(comparison: &Comparison) -> Vec<String> {
    let differs = comparison.compared().filter(|(_, compared)| compared.differs);
    differs.map(|(row, _)| sentence(row)).collect()
}
