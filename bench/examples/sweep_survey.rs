//! Prints what the chirps of many seeds give, one line a seed and quantity, for studies of bias and coverage. Each seed is
//! a whole run of the virtual rig in lock-step with the chirps of the procedure alone.
//!
//! `cargo run --release -p truerim --example sweep_survey -- FIRST COUNT [RIG [PROCEDURE]] > found.csv`, on two threads.
//! `tests/reference/analysis/sweep_coverage.py found.csv` turns it into bias, spread and coverage.
#![allow(clippy::print_stdout, clippy::print_stderr)] // a program for people

use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};

use bench_core::run::{End, Permit};
use truerim::drive::StopFlag;
use truerim::fitting::{FitDocument, FitOptions, Quantity, fit_recording};
use truerim::recording::Recording;
use truerim::session::{self, Bench, SettingsText};
use truerim_analysis::estimate::Outcome;

type Problem = Box<dyn std::error::Error + Send + Sync>;

/// The procedure without its steps: they would take most of the time.
fn chirps_only(mut procedure: SettingsText) -> SettingsText {
    let mut parts = procedure.text.split("[[segment]]");
    let head = parts.next().unwrap_or_default().to_owned();
    procedure.text = parts
        .filter(|part| part.contains("excitation = \"chirp\""))
        .fold(head, |text, part| text + "[[segment]]" + part);
    procedure
}

fn measure(rig: &Path, procedure: &Path, seed: u64, folder: &Path) -> Result<FitDocument, Problem> {
    let bench = Bench::open(rig, None, None, seed, "survey".to_owned())?;
    let procedure = chirps_only(SettingsText::read(procedure)?);
    let plan = session::plan_for(&procedure, &bench.rig, seed)?;
    let path = folder.join(format!("seed-{seed}.h5"));
    let permit = Permit::granted("survey");
    let stop = StopFlag::new();
    let session = session::record(&bench, &procedure, plan, permit, &path, &stop, &mut |_| {})?;
    if session.outcome.end != End::Completed {
        return Err(format!("seed {seed}: {}", session.outcome.end).into());
    }
    let document = fit_recording(&Recording::open(&path)?, &FitOptions::default())?;
    std::fs::remove_file(&path)?;
    Ok(document)
}

fn lines(document: &FitDocument, seed: u64) -> String {
    let mut out = String::new();
    for quantity in Quantity::ALL.into_iter().filter(|q| q.is_by_frequency()) {
        let id = quantity.text().id;
        match document.headline(quantity).map(|m| &m.result) {
            Some(Outcome::Estimate(e)) => {
                let failed = e.checks.iter().filter(|c| !c.passed).count();
                out += &format!(
                    "{seed},{id},{},{},{},{},{failed}",
                    e.value, e.std_uncertainty, e.interval[0], e.interval[1]
                );
                for part in &e.budget {
                    out += &format!(",{}={:.3e}", part.source.replace(',', ";"), part.std_uncertainty);
                }
                out.push('\n');
            }
            _ => out += &format!("{seed},{id},,,,,refused\n"),
        }
    }
    out
}

fn main() -> Result<(), Problem> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let number = |i: usize, otherwise: u64| arguments.get(i).map_or(Ok(otherwise), |text| text.parse());
    let (first, count) = (number(0, 1)?, number(1, 10)?);
    let file = |i: usize, otherwise: &str| arguments.get(i).cloned().unwrap_or_else(|| otherwise.to_owned());
    let (rig, procedure) = (file(2, "rigs/belt.toml"), file(3, "procedures/quick.toml"));
    let folder = tempfile::tempdir()?;
    let next = AtomicU64::new(first);
    let work = || -> Result<(), Problem> {
        loop {
            let seed = next.fetch_add(1, Ordering::Relaxed);
            if seed >= first + count {
                return Ok(());
            }
            let document = measure(Path::new(&rig), Path::new(&procedure), seed, folder.path())?;
            print!("{}", lines(&document, seed));
        }
    };
    std::thread::scope(|scope| {
        let workers = [scope.spawn(work), scope.spawn(work)];
        workers
            .into_iter()
            .try_for_each(|worker| worker.join().unwrap_or_else(|_| Err("a thread panicked".into())))
    })
}
