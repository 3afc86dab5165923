//! One run from files to a sealed recording: what to measure, on what, and where to put it.

pub mod checkup;
pub mod corrections;
mod display;
mod faults;
mod header;
mod look;
mod notes;
mod parts;
mod proof;
mod recorder;
mod room;
mod traces;

use std::path::{Path, PathBuf};

use bench_core::plan::Plan;
use bench_core::rig::{Kind, Mounting, Rig};
use bench_core::run::{Course, Outcome, Permit, Progress, Run, RunOptions};
use settings_file::Findings;
use virtual_rig::faults::FaultTextError;
use virtual_rig::{RigParameters, VirtualRig};

use crate::drive::clock::wall_clock;
use crate::drive::schedule::{Granted, ask_for_real_time, back_to_ordinary};
use crate::drive::{Lateness, Line, LineError, LockStep, Said, StopFlag, conduct};
use crate::recording::{RecordingError, Seal};
pub use faults::{fault_kinds_text, faults_of};
pub use look::{Look, look};
pub use proof::{Checked, check, check_over};
pub use recorder::{ApproachGain, RunRecorder};
pub use traces::{plan_for, plan_of, samples};

/// Why a session could not begin, or what became of its recording.
#[derive(Debug, thiserror::Error)]
pub enum SessionError {
    /// A settings file cannot be read.
    #[error("cannot read {path}: {source}")]
    Read {
        /// Which.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// Something in the settings files is wrong.
    #[error("{0}")]
    Findings(#[from] Findings),
    /// The line cannot be opened.
    #[error("{0}")]
    Line(#[from] LineError),
    /// The recording cannot be written.
    #[error("{0}")]
    Recording(#[from] RecordingError),
    /// A virtual rig in lock-step needs the rig's `[virtual]` table.
    #[error("{file} has kind = \"serial\"; only a virtual rig runs without a port")]
    NotVirtual {
        /// The rig file.
        file: String,
    },
    /// A `--fault` argument is no fault.
    #[error("--fault \"{text}\": {why}")]
    Fault {
        /// The argument.
        text: String,
        /// What is wrong with it.
        why: FaultTextError,
    },
    /// Faults for a rig that is not simulated here.
    #[error("--fault works on a virtual rig in this process; for one on a port give it to `truerim virtual`")]
    FaultsElsewhere,
    /// A rig that was only to be looked at did not answer, or not as it should.
    #[error("{what} was asked of the rig: {why}; check the port, and that nothing else uses the rig")]
    NotLookedAt {
        /// What was asked.
        what: &'static str,
        /// What came of it.
        why: String,
    },
    /// No port to open.
    #[error("{file}: rig.link.port is \"auto\"; name the port with --port")]
    NoPort {
        /// The rig file.
        file: String,
    },
}

/// A settings file as it was read: its name and its text, kept verbatim.
#[derive(Debug, Clone)]
pub struct SettingsText {
    /// Path as given.
    pub file: String,
    /// The whole text.
    pub text: String,
}

impl SettingsText {
    /// Reads a file.
    ///
    /// # Errors
    /// [`SessionError::Read`].
    pub fn read(path: &Path) -> Result<Self, SessionError> {
        let text = std::fs::read_to_string(path).map_err(|source| SessionError::Read {
            path: path.to_owned(),
            source,
        })?;
        Ok(Self {
            file: path.display().to_string(),
            text,
        })
    }
}

/// A mounting as the virtual rig knows it.
#[must_use]
pub const fn simulated(mounting: Mounting) -> virtual_rig::Mounting {
    match mounting {
        Mounting::Clamped => virtual_rig::Mounting::Clamped,
        Mounting::Free => virtual_rig::Mounting::Free,
        Mounting::BackDriven => virtual_rig::Mounting::BackDriven,
    }
}

/// How the bench reaches the rig.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Way {
    /// The virtual rig of the rig file, in this process, in lock-step.
    LockStep,
    /// A serial port, in real time.
    Port(String),
}

/// Rig, seed and the way to it.
#[derive(Debug, Clone)]
pub struct Bench {
    /// The rig, checked.
    pub rig: Rig,
    /// Its file.
    pub rig_text: SettingsText,
    /// How it is reached.
    pub way: Way,
    /// Seed of everything random.
    pub seed: u64,
    /// Who measures.
    pub operator: String,
    /// Which clamping of the rim this is; runs with the same word were made without touching the fixture. Empty: not stated.
    pub clamping: String,
    /// Faults scripted for the virtual rig, in its file and besides, as text; none as far as is known.
    pub faults: Vec<String>,
    /// The virtual rig of this process with its faults; none where the rig is reached through a port.
    simulated: Option<RigParameters>,
}

impl Bench {
    /// Reads a rig file and settles how the rim is held and how the rig is reached: `mounting` and `port` if given, else
    /// what the file says; a virtual rig without a port runs in lock-step.
    ///
    /// # Errors
    /// [`SessionError`] naming the file and what to do.
    pub fn open(
        rig: &Path,
        mounting: Option<Mounting>,
        port: Option<String>,
        seed: u64,
        operator: String,
    ) -> Result<Self, SessionError> {
        let rig_text = SettingsText::read(rig)?;
        let rig = Rig::mounted(&rig_text.file, &rig_text.text, mounting)?;
        let declared = (rig.link.port != "auto").then(|| rig.link.port.clone());
        let way = match (port.or(declared), rig.kind) {
            (Some(port), _) => Way::Port(port),
            (None, Kind::Virtual) => Way::LockStep,
            (None, Kind::Serial) => return Err(SessionError::NoPort { file: rig_text.file }),
        };
        let simulated = match way {
            Way::LockStep => {
                let mounting = Some(simulated(rig.mounting));
                Some(RigParameters::mounted(
                    &rig_text.file,
                    &rig_text.text,
                    seed,
                    mounting,
                )?)
            }
            Way::Port(_) => None,
        };
        Self {
            rig,
            rig_text,
            way,
            seed,
            operator,
            clamping: String::new(),
            faults: Vec::new(),
            simulated,
        }
        .with_faults(&[])
    }

    /// The line to the rig, open.
    fn line(&self) -> Result<Box<dyn Line>, SessionError> {
        match (&self.way, &self.simulated) {
            (Way::LockStep, Some(parameters)) => {
                let rig = VirtualRig::new(parameters.clone(), self.seed);
                Ok(Box::new(LockStep::new(rig)))
            }
            (Way::LockStep, None) => Err(SessionError::NotVirtual {
                file: self.rig_text.file.clone(),
            }),
            (Way::Port(port), _) => Ok(parts::line(&self.rig, port)?),
        }
    }

    /// Whether time is the host's: then real-time scheduling is asked for and the disk is never waited for.
    #[must_use]
    pub const fn in_real_time(&self) -> bool {
        matches!(self.way, Way::Port(_))
    }
}

/// What a session left behind.
#[derive(Debug)]
pub struct Session {
    /// How the run ended.
    pub outcome: Outcome,
    /// The seal, when a recording was begun and could be finished.
    pub seal: Option<Seal>,
    /// Why the recording could not be finished, if it was begun and could not.
    pub recording_error: Option<RecordingError>,
    /// What the system granted to the driving thread; `None` in lock-step.
    pub granted: Option<Granted>,
    /// Measured over commanded torque of the approach, when it passed.
    pub approach: Option<ApproachGain>,
    /// How late the loop woke when the time of a wait had come.
    pub lateness: Lateness,
    /// What the parts of a rig have to say of themselves: a sensor on its own port, a force-feedback device.
    pub account: Vec<Said>,
}

/// Records one run of `plan` into `path`, calling `on_progress` as it goes on, on a thread of its own.
///
/// # Errors
/// [`SessionError`] when it cannot even begin. How a run that began ended is in [`Session::outcome`].
pub fn record(
    bench: &Bench,
    procedure: &SettingsText,
    plan: Plan,
    permit: Permit,
    path: &Path,
    stop: &StopFlag,
    on_progress: &mut (dyn FnMut(Progress) + Send),
) -> Result<Session, SessionError> {
    let line = bench.line()?;
    let granted = bench.in_real_time().then(ask_for_real_time);
    let order = Order {
        bench,
        procedure,
        plan,
        permit,
        path,
        real_time: bench.in_real_time(),
        granted,
    };
    Ok(record_over(order, line, stop, on_progress))
}

/// What is to be recorded, and how.
#[derive(Debug)]
pub struct Order<'a> {
    /// Rig and seed.
    pub bench: &'a Bench,
    /// The procedure's text, for the recording.
    pub procedure: &'a SettingsText,
    /// What to play.
    pub plan: Plan,
    /// Somebody's permission.
    pub permit: Permit,
    /// Where the recording goes.
    pub path: &'a Path,
    /// Whether time goes on by itself: then the disk is never waited for.
    pub real_time: bool,
    /// What the system granted to this thread, if it was asked.
    pub granted: Option<Granted>,
}

/// [`record`] over a line that is open already. This thread drives the motor: it asks for no memory and takes no lock
/// while the rig is armed, as long as the line does not.
pub fn record_over(
    order: Order<'_>,
    mut line: Box<dyn Line + '_>,
    stop: &StopFlag,
    on_progress: &mut (dyn FnMut(Progress) + Send),
) -> Session {
    let (bench, granted) = (order.bench, order.granted);
    let header = header::before_contact(
        bench,
        order.procedure,
        &order.plan,
        &order.permit,
        &wall_clock(),
        granted,
    );
    let (shown, shows) = display::pair();
    std::thread::scope(|scope| {
        // Without a thread for it nothing is shown; the run does not need it.
        let showing = std::thread::Builder::new()
            .name("progress".to_owned())
            .spawn_scoped(scope, move || shows.run(on_progress));
        let mut sink = RunRecorder::new(order.path, header, order.plan.clone(), order.real_time);
        sink.show_on(shown);
        let course = Course::Measure(Box::new(order.plan));
        let mut run = Run::new(
            bench.rig.clone(),
            course,
            Some(order.permit),
            RunOptions::default(),
        );
        let outcome = conduct(&mut run, line.as_mut(), &mut sink, stop);
        let account = line.account();
        drop(line);
        sink.hide();
        if let Ok(showing) = showing {
            showing.thread().unpark();
        }
        if granted.is_some() {
            back_to_ordinary(); // sealing and all that follows may wait
        }
        let (approach, lateness) = (sink.approach(), sink.lateness());
        let (seal, recording_error) = match sink.finish(&outcome) {
            Some(Ok(seal)) => (Some(seal), None),
            Some(Err(error)) => (None, Some(error)),
            None => (None, None),
        };
        Session {
            outcome,
            seal,
            recording_error,
            granted,
            approach,
            lateness,
            account,
        }
    })
}
