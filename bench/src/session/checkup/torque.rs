//! Sign and gain by the smallest torque: the approach of a run, and nothing behind it.

use bench_core::channels::SampleRow;
use bench_core::rig::Mounting;
use bench_core::run::{Course, Outcome, Permit, Run, RunEvent, RunOptions};
use bench_core::time::HostNs;

use crate::drive::{Line, Sink, StopFlag, conduct};
use crate::session::{Bench, SessionError, SettingsText, plan_for};

/// The approach, and the shortest segment that a procedure may have behind it, no larger.
const PROCEDURE: &str = r#"
[procedure]
name = "smallest torque"
purpose = "sign and gain before anything larger"
mounting = "clamped"
sample_rate = "2 kHz"
ramp = "0.05 N·m/ms"
zero = "300 ms"
[approach]
level = "5 %"
hold = "300 ms"
rest = "400 ms"
gain = ["40 %", "160 %"]
[[segment]]
name = "the same once more"
excitation = "step"
levels = ["5 %"]
repeats = 1
hold = "100 ms"
rest = "100 ms"
"#;

/// What came of it.
#[derive(Debug)]
pub struct Smallest {
    /// How the run ended.
    pub outcome: Outcome,
    /// Measured over commanded, when it passed.
    pub gain: Option<f64>,
}

#[derive(Default)]
struct Gain(Option<f64>);

impl Sink for Gain {
    fn row(&mut self, _: &SampleRow) -> Result<(), String> {
        Ok(())
    }

    fn event(&mut self, _: HostNs, event: &RunEvent) -> Result<(), String> {
        if let RunEvent::ApproachPassed { gain, .. } = event {
            self.0 = Some(*gain);
        }
        Ok(())
    }
}

/// Plays 5 % of the peak torque once each way round the approach. `None` on a mounting whose rim would turn.
///
/// # Errors
/// [`SessionError`] when the line cannot be opened or the rig's limits forbid even this.
pub fn smallest_torque(
    bench: &Bench,
    permit: Permit,
    stop: &StopFlag,
) -> Result<Option<Smallest>, SessionError> {
    if bench.rig.mounting != Mounting::Clamped {
        return Ok(None);
    }
    smallest_torque_over(bench, bench.line()?, permit, stop).map(Some)
}

/// [`smallest_torque`] over a line that is open already, on a clamped rim.
///
/// # Errors
/// [`SessionError`] when the rig's limits forbid even this.
pub fn smallest_torque_over(
    bench: &Bench,
    mut line: Box<dyn Line + '_>,
    permit: Permit,
    stop: &StopFlag,
) -> Result<Smallest, SessionError> {
    let procedure = SettingsText {
        file: "the smallest torque".to_owned(),
        text: PROCEDURE.to_owned(),
    };
    let plan = plan_for(&procedure, &bench.rig, bench.seed)?;
    let mut run = Run::new(
        bench.rig.clone(),
        Course::Measure(Box::new(plan)),
        Some(permit),
        RunOptions::default(),
    );
    let mut gain = Gain::default();
    let outcome = conduct(&mut run, line.as_mut(), &mut gain, stop);
    Ok(Smallest {
        outcome,
        gain: gain.0,
    })
}
