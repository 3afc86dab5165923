//! Runs in which nothing goes wrong, which must not trip: every shipped procedure on every wheelbase in its mounting.

use bench_core::run::End;
use virtual_rig::VirtualRig;

use super::case::{Draws, Onset};
use super::line::Looking;
use super::play::drive;
use super::scripts::shipped;
use super::units::Unit;

/// One fault-free run.
#[derive(Debug, Clone)]
pub struct Quiet {
    /// Seed of plan and rig.
    pub seed: u64,
    /// The wheelbase.
    pub unit: Unit,
    /// The procedure's file name.
    pub procedure: String,
    /// The mounting.
    pub mounting: String,
    /// Bench time, s.
    pub time_s: f64,
    /// How it ended, where it did not go through.
    pub wrong: Option<String>,
}

/// How many pairings there are.
#[must_use]
pub fn pairings() -> usize {
    shipped().len() * Unit::ALL.len()
}

/// Run `index` of the survey with seed `master`: pairings in turn, each time with another seed.
#[must_use]
pub fn quiet(master: u64, index: usize) -> Quiet {
    let procedures = shipped();
    let procedure = &procedures[index % procedures.len()];
    let unit = Unit::ALL[index / procedures.len() % Unit::ALL.len()];
    let seed = Draws::new(master ^ (index as u64).wrapping_mul(0xa076_1d64_78bd_642f)).next();
    one(unit, &procedure.file, seed)
}

/// One run of a shipped procedure.
#[must_use]
pub fn one(unit: Unit, name: &str, seed: u64) -> Quiet {
    let procedure = shipped()
        .into_iter()
        .find(|procedure| procedure.file == name)
        .unwrap_or_else(|| panic!("no shipped procedure is called {name:?}"));
    let mounting = procedure.mounting.value;
    let rig = unit.rig(unit.text(), mounting);
    let plan = procedure
        .plan(&rig, seed)
        .unwrap_or_else(|findings| panic!("{findings}"));
    let time_s = plan.duration_us() as f64 * 1e-6;
    let parameters = unit.parameters(unit.text(), mounting, seed);
    // Looked at from after its end on: not at all.
    let mut line = Looking::new(
        VirtualRig::new(parameters, seed),
        false,
        f64::INFINITY,
        Onset::SinceBoot(u64::MAX),
        None,
    );
    let (outcome, _) = drive(rig, plan, &mut line);
    let wrong = (outcome.end != End::Completed || !outcome.zero_confirmed).then(|| outcome.end.to_string());
    Quiet {
        seed,
        unit,
        procedure: procedure.file,
        mounting: mounting.word().to_owned(),
        time_s,
        wrong,
    }
}

impl Quiet {
    /// The command that repeats it.
    #[must_use]
    pub fn command(&self) -> String {
        format!(
            "cargo run --release -p acceptance --bin fault-campaign -- --replay-quiet {:#018x} --unit {} --procedure {}",
            self.seed,
            self.unit.word(),
            self.procedure
        )
    }
}
