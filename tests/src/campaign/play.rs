//! Plays one case: plan, rig, fault, run, and what came of it.

use bench_core::channels::SampleRow;
use bench_core::plan::Plan;
use bench_core::rig::{Limits, Mounting, Rig};
use bench_core::run::{Course, End, Outcome, Permit, Run, RunEvent, RunOptions};
use bench_core::time::HostNs;
use rig_link::RigState;
use truerim::drive::{Sink, StopFlag, conduct};
use virtual_rig::plant::FarSide;
use virtual_rig::{RigParameters, VirtualRig};

use super::case::{Case, Moment};
use super::line::{Looking, NONE_NM, Seen};
use super::scripts;

/// With a short procedure the drive starts when the first torque has been judged, s since switching on.
const DRIVE_STARTS_S: f64 = 2.0;
/// How long at most a rig is looked at after the bench has left it, µs; less once the rim rests.
const AFTER_US: u64 = 1_500_000;
/// The same for a rim that a drive turns, which never rests.
const AFTER_ON_DRIVE_US: u64 = 250_000;

/// A case with its rig and plan.
pub struct Scene {
    /// The bench's view of the rig.
    pub rig: Rig,
    /// The rig as it is.
    pub parameters: RigParameters,
    /// What is played.
    pub plan: Plan,
}

/// What came of a case.
#[derive(Debug, Clone)]
pub struct Played {
    /// The case.
    pub case: Case,
    /// The moment that its plan has.
    pub moment: Moment,
    /// The size of the fault, SI.
    pub size: f64,
    /// How the run ended.
    pub outcome: Outcome,
    /// Conditions that fired, in order.
    pub trips: Vec<&'static str>,
    /// What the rig did.
    pub seen: Seen,
    /// The limits in force.
    pub limits: Limits,
    /// Whether the rig was armed, or its motor made torque, after all was over.
    pub torque_at_end: bool,
    /// Whether the rig was armed still when the bench left.
    pub armed_when_left: bool,
    /// Whether the bench's last word was a stop (or the end of samples after a confirmed one).
    pub last_words_stop: bool,
    /// Length of the run, rig ticks.
    pub ticks: u64,
}

/// Reads rig and procedure of a case.
#[must_use]
pub fn scene(case: &Case) -> Scene {
    let stop = if case.brakes { "brake" } else { "coast" };
    let text = case
        .unit
        .text()
        .replacen("stop = \"brake\"", &format!("stop = \"{stop}\""), 1);
    let rig = case.unit.rig(&text, case.mounting);
    let mut parameters = case.unit.parameters(&text, case.mounting, case.seed);
    let procedure = match case.slice {
        Some(which) => scripts::slice(case.mounting, which),
        None => scripts::short(case.mounting),
    };
    if let (FarSide::Drive(script), None) = (&mut parameters.plant.mounting.far_side, case.slice) {
        script.start_s = DRIVE_STARTS_S;
    }
    if let (Some(stops), Some(travel_rad)) =
        (&mut parameters.plant.end_stops, scripts::near_stops(&procedure))
    {
        stops.travel_rad = travel_rad;
    }
    let plan = procedure
        .plan(&rig, case.seed)
        .unwrap_or_else(|findings| panic!("{findings}"));
    Scene {
        rig,
        parameters,
        plan,
    }
}

/// Plays it; `faulty: false` plays the same run without the fault, looked at from the same moment on.
#[must_use]
pub fn play(case: &Case, faulty: bool) -> Played {
    let Scene {
        rig,
        parameters,
        plan,
    } = scene(case);
    let (moment, onset) = case.onset(&plan);
    let size = case.size(&parameters.plant);
    let on_drive = case.mounting == Mounting::BackDriven;
    let limits = *plan.limits();
    let mut line = Looking::new(
        VirtualRig::new(parameters, case.seed),
        on_drive,
        limits.rim_speed_rad_s,
        onset,
        faulty.then_some((case.info.kind, size)),
    );
    let (outcome, trips) = drive(rig, plan, &mut line);
    let armed_when_left = line.truth().state == RigState::Armed;
    let ticks = outcome.counters.rows * 250;
    line.settle(if on_drive { AFTER_ON_DRIVE_US } else { AFTER_US });
    let torque_at_end =
        line.truth().state == RigState::Armed || (!case.brakes && line.motor_nm().abs() >= NONE_NM);
    Played {
        case: *case,
        moment,
        size,
        outcome,
        trips,
        limits,
        torque_at_end,
        armed_when_left,
        last_words_stop: line.last_words_stop,
        seen: line.seen,
        ticks,
    }
}

/// Runs a plan to its end.
pub fn drive(rig: Rig, plan: Plan, line: &mut Looking) -> (Outcome, Vec<&'static str>) {
    let mut run = Run::new(
        rig,
        Course::Measure(Box::new(plan)),
        Some(Permit::granted("campaign")),
        RunOptions::default(),
    );
    let mut sink = Trips(Vec::new());
    let outcome = conduct(&mut run, line, &mut sink, &StopFlag::new());
    (outcome, sink.0)
}

struct Trips(Vec<&'static str>);

impl Sink for Trips {
    fn row(&mut self, _: &SampleRow) -> Result<(), String> {
        Ok(())
    }

    fn event(&mut self, _: HostNs, event: &RunEvent) -> Result<(), String> {
        if let RunEvent::Tripped(trip) = event {
            self.0.push(trip.condition.name());
        }
        Ok(())
    }
}

impl Played {
    /// By what the fault was detected: the condition, with what the rig itself tripped on; `None` when the run went
    /// through.
    #[must_use]
    pub fn detected_by(&self) -> Option<String> {
        match &self.outcome.end {
            End::Completed => None,
            End::Tripped(trip) if trip.detail.is_empty() => Some(trip.condition.name().to_owned()),
            End::Tripped(trip) => Some(format!("{} ({})", trip.condition.name(), trip.detail)),
            End::Stopped(cause) => Some(first_word(&format!("{cause:?}"))),
            End::Failed(failure) => Some(format!("refused: {}", first_word(&format!("{failure:?}")))),
        }
    }

    /// From the onset to the last torque of the armed motor, µs.
    #[must_use]
    pub fn to_zero_us(&self) -> u64 {
        match (self.seen.onset, self.seen.driven) {
            (Some(onset), Some(driven)) => driven.saturating_sub(onset),
            _ => 0,
        }
    }
}

fn first_word(text: &str) -> String {
    let end = text.find([' ', '(', '{']).unwrap_or(text.len());
    text[..end].to_owned()
}
