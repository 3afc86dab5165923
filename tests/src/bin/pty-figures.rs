//! Prints what the bench does in real time over a pseudo-terminal on this computer. See `acceptance::pty_figures`.
#![allow(clippy::print_stdout)] // printing figures is its job

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::mpsc::{Sender, channel};
use std::time::Duration;

use acceptance::pty_figures::host::{Host, load_average};
use acceptance::pty_figures::load::{self, Load};
use acceptance::pty_figures::table::Figures;
use acceptance::pty_figures::{Unmeasured, endurance, markdown, minute, rig_process, stops, wakes};
use clap::Parser;

/// Time beyond what everything should take, after which the program gives up.
const GRACE_S: f64 = 60.0;
/// Longest that one trial of each kind should take, under both kinds of scheduling, s.
const TRIAL_S: f64 = 0.3;
/// How much longer than the minutes asked for their runs may take: each begins with proofs and ends with a seal.
const RUNS: f64 = 1.5;
/// How much slower everything else may be while the processors are busy.
const LOADED: f64 = 4.0;

/// Waits of each length.
const WAKES: usize = 250;

/// Measures what the bench does in real time over a pseudo-terminal, and prints it.
#[derive(Debug, Parser)]
#[command(name = "pty-figures")]
struct Arguments {
    /// Length of the recorded run; 0 leaves it out.
    #[arg(long, default_value_t = 60.0)]
    seconds: f64,
    /// Minutes for which the real program runs against `truerim virtual`, instead of the recorded run.
    #[arg(long, default_value_t = 0.0)]
    minutes: f64,
    /// Keeps every processor busy meanwhile with a process of ordinary priority.
    #[arg(long)]
    load: bool,
    /// Violating samples and echoes under each kind of scheduling; 0 leaves them out.
    #[arg(long, default_value_t = 1_000)]
    trials: usize,
    /// The virtual rig's file.
    #[arg(long, value_name = "FILE")]
    rig: Option<PathBuf>,
    /// Seed of everything random.
    #[arg(long, default_value_t = 7)]
    seed: u64,
    /// Also writes the figures to this file.
    #[arg(long, value_name = "FILE")]
    json: Option<PathBuf>,
    /// Also writes the figures between the markers of this page.
    #[arg(long, value_name = "FILE")]
    markdown: Option<PathBuf>,
    /// Keeps a processor busy and does nothing else; the program starts itself so.
    #[arg(long, hide = true)]
    spin: bool,
    /// Serves the rig of this file and nothing else; the program starts itself so.
    #[arg(long, value_name = "FILE", hide = true)]
    serve: Option<PathBuf>,
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    if let Some(rig) = &arguments.serve {
        return done(rig_process::serve_here(rig, arguments.seed));
    }
    if arguments.spin {
        load::spin_here();
        return ExitCode::SUCCESS;
    }
    let runs_s = arguments.seconds.max(0.0) + arguments.minutes.max(0.0) * 60.0 * RUNS;
    let slower = if arguments.load { LOADED } else { 1.0 };
    let _alive = give_up_after(runs_s + slower * (arguments.trials as f64 * TRIAL_S + GRACE_S));
    done(measure(&arguments))
}

fn measure(arguments: &Arguments) -> Result<(), Unmeasured> {
    let belt = Path::new(env!("CARGO_MANIFEST_DIR")).join("../rigs/belt.toml");
    let rig = arguments.rig.as_deref().unwrap_or(&belt);
    let mut figures = Figures {
        host: Host::read(),
        load: vec![load_average()],
        busy: 0,
        endurance: None,
        minute: None,
        stops: None,
        wakes: None,
    };
    let busy = if arguments.load {
        Some(Load::start(figures.host.processors)?)
    } else {
        None
    };
    figures.busy = busy.as_ref().map_or(0, Load::processes);
    if arguments.minutes > 0.0 {
        let seconds = arguments.minutes * 60.0;
        let ran = endurance::measure(rig, seconds, arguments.seed, &mut |leg| {
            println!("{:.1} s: {}", leg.recorded_s, leg.end);
        })?;
        figures.endurance = Some(ran);
        figures.load.push(load_average());
    } else if arguments.seconds > 0.0 {
        figures.minute = Some(minute::measure(rig, arguments.seconds, arguments.seed)?);
        figures.load.push(load_average());
    }
    if arguments.trials > 0 {
        figures.stops = Some(stops::measure(rig, arguments.trials, arguments.seed)?);
        figures.wakes = Some(wakes::measure(WAKES)?);
        figures.load.push(load_average());
    }
    drop(busy);
    for line in figures.lines() {
        println!("{line}");
    }
    if let Some(path) = &arguments.markdown {
        markdown::write(path, &figures)?;
    }
    if let Some(path) = &arguments.json {
        let text = format!("{:#}\n", figures.json());
        std::fs::write(path, text)
            .map_err(|error| Unmeasured::from_error(&path.display().to_string(), &error))?;
    }
    Ok(())
}

fn done(result: Result<(), Unmeasured>) -> ExitCode {
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            println!("no figures: {why}");
            ExitCode::FAILURE
        }
    }
}

/// Ends the program after `seconds`, whatever hangs, unless what is returned was dropped before.
fn give_up_after(seconds: f64) -> Sender<()> {
    let (alive, ended) = channel();
    std::thread::spawn(move || {
        let waited = ended.recv_timeout(Duration::from_secs_f64(seconds));
        if waited == Err(std::sync::mpsc::RecvTimeoutError::Timeout) {
            println!("no figures: not done within {seconds:.0} s; something hangs");
            std::process::exit(1);
        }
    });
    alive
}
