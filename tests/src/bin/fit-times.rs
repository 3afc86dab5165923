//! Times each fit on the arrays of one recording, one thread, best of a few runs, as a line of JSON each.
//! `tests/reference/analysis/fit_times.py` does the same with scipy on the same recording and prints both side by side. With `--page` the
//! report alone: how long fit and files take, and how large they are.
#![allow(clippy::print_stdout, clippy::print_stderr)] // a program for people

use std::hint::black_box;
use std::path::PathBuf;
use std::process::ExitCode;
use std::time::Instant;

use clap::Parser;
use ndarray::Array1;
use truerim::fitting::{FitOptions, fit_recording};
use truerim::recording::{Recording, SegmentRow};
use truerim::report::{html, plots, write_report};
use truerim_analysis::frequency::{FrequencyOptions, FrequencyResponse, SweepRecord, frequency_response};
use truerim_analysis::rational::{RationalOptions, ResponseLines, fit_rational};
use truerim_analysis::spectra::{WelchOptions, spectra};
use truerim_analysis::step::{StepOptions, StepRecord, measure_step};

/// Times of the fits on one recording.
#[derive(Debug, Parser)]
struct Arguments {
    /// A recording with steps and chirps
    recording: PathBuf,
    /// Runs of which the shortest counts
    #[arg(long, default_value_t = 5)]
    runs: usize,
    /// Times and weighs the report instead
    #[arg(long)]
    page: bool,
}

type Problem = Box<dyn std::error::Error>;

/// Time, setpoint and torque of a segment.
struct Cut {
    row: SegmentRow,
    t_s: Array1<f64>,
    setpoint_nm: Array1<f64>,
    torque_nm: Array1<f64>,
}

fn cuts(recording: &Recording, excitation: &str, before_s: f64) -> Result<Vec<Cut>, Problem> {
    let tick_s = recording.header().tick_s;
    let wanted = recording
        .segments()
        .iter()
        .filter(|row| row.excitation == excitation && row.is_excitation());
    wanted
        .map(|row| {
            let before = (before_s / tick_s) as u64;
            let rows = recording.rows_between(row.start_tick.saturating_sub(before), row.end_tick)?;
            let ticks = recording.ticks(rows.clone())?;
            Ok(Cut {
                row: row.clone(),
                t_s: ticks.mapv(|tick| tick_s * (tick as f64 - row.start_tick as f64)),
                setpoint_nm: recording.values("setpoint", rows.clone())?,
                torque_nm: recording.values("torque", rows)?,
            })
        })
        .collect()
}

/// Shortest of a few runs, ms.
#[allow(clippy::disallowed_methods)] // times what has no part in a run
fn best<T>(runs: usize, mut work: impl FnMut() -> T) -> f64 {
    let times = (0..runs.max(1)).map(|_| {
        let start = Instant::now();
        black_box(work());
        start.elapsed().as_secs_f64()
    });
    1e3 * times.fold(f64::INFINITY, f64::min)
}

fn response(chirps: &[Cut], fs_hz: f64) -> Result<FrequencyResponse, Problem> {
    let records: Vec<SweepRecord<'_>> = chirps
        .iter()
        .map(|cut| SweepRecord {
            fs_hz,
            input_nm: cut.setpoint_nm.view(),
            output_nm: cut.torque_nm.view(),
            input_hold_s: 1.0 / fs_hz,
            input_age_s: 0.0,
        })
        .collect();
    let options = FrequencyOptions {
        f_max_hz: 270.0,
        ..FrequencyOptions::default()
    };
    Ok(frequency_response(&records, &options)?)
}

/// The report of a recording: time of each part of it, and bytes.
fn page(recording: &Recording, runs: usize) -> Result<(), Problem> {
    let fit = || fit_recording(recording, &FitOptions::default());
    let document = fit()?;
    let drawn = plots(&document)?;
    let folder = tempfile::tempdir()?;
    let written = || write_report(folder.path(), &document);
    let files = written()?;
    for (what, ms) in [
        ("fit", best(runs, fit)),
        ("plots", best(runs, || plots(&document))),
        ("page from fit and plots", best(runs, || html(&document, &drawn))),
        ("page, plots and tables from fit, written", best(runs, written)),
    ] {
        println!("{{\"what\": \"{what}\", \"ms\": {ms:.1}}}");
    }
    let size = |path: &PathBuf| std::fs::metadata(path).map(|data| data.len());
    let all: u64 = files.iter().map(size).sum::<Result<u64, _>>()?;
    let page = files.first().ok_or("no page was written")?;
    for (what, bytes) in [("page", size(page)?), ("all files of the report", all)] {
        println!("{{\"what\": \"{what}\", \"bytes\": {bytes}}}");
    }
    Ok(())
}

fn run(arguments: &Arguments) -> Result<(), Problem> {
    let recording = Recording::open(&arguments.recording)?;
    if arguments.page {
        return page(&recording, arguments.runs);
    }
    let fs_hz = recording.header().sample_rate_hz();
    let runs = arguments.runs;
    let (steps, chirps) = (cuts(&recording, "step", 0.03)?, cuts(&recording, "chirp", 0.0)?);
    let tell = |what: &str, ms: f64| println!("{{\"what\": \"{what}\", \"ms\": {ms:.3}}}");
    let first = chirps.first().ok_or("the recording holds no chirp")?;
    let options = WelchOptions::half_overlap(fs_hz, 8192);
    let (x, y) = (first.setpoint_nm.to_vec(), first.torque_nm.to_vec());
    let welch = || spectra(&x, &y, &options);
    welch()?;
    tell("spectra and coherence", best(runs, welch));
    tell(
        "chirp response",
        best(runs, || response(&chirps, fs_hz).map(|r| r.f_hz.len()).ok()),
    );
    let lines = ResponseLines::of_sweeps(&response(&chirps, fs_hz)?, [0.0, f64::INFINITY])?;
    let rational = |orders: [usize; 2], excess: [usize; 2]| RationalOptions {
        orders,
        excess,
        floor_rel: 1e-3,
        ..RationalOptions::default()
    };
    // One number of poles need not come to rest; then there is nothing to time.
    let one = || fit_rational(&lines, &rational([4, 4], [1, 4])).map(|fit| fit.residual);
    match one() {
        Ok(_) => tell("rational fit, 4 poles", best(runs, one)),
        Err(refusal) => eprintln!("fit-times: 4 poles: {refusal}"),
    }
    let chosen = || fit_rational(&lines, &rational([1, 8], [1, 4])).map(|fit| fit.residual);
    match chosen() {
        Ok(_) => tell("rational fit, order chosen", best(runs, chosen)),
        Err(refusal) => eprintln!("fit-times: order: {refusal}"),
    }
    let measure = |cut: &Cut| {
        let record = StepRecord {
            t_s: cut.t_s.view(),
            torque_nm: cut.torque_nm.view(),
            from_nm: cut.row.from_nm,
            to_nm: cut.row.to_nm,
        };
        measure_step(&record, &StepOptions::default()).is_ok()
    };
    tell(
        "step measures, all steps",
        best(runs, || steps.iter().filter(|cut| measure(cut)).count()),
    );
    tell(
        "whole recording",
        best(runs.min(3), || {
            fit_recording(&recording, &FitOptions::default()).is_ok()
        }),
    );
    Ok(())
}

fn main() -> ExitCode {
    match run(&Arguments::parse()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(problem) => {
            eprintln!("fit-times: {problem}");
            ExitCode::FAILURE
        }
    }
}
