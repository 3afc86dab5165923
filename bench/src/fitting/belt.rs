//! A belt against a reference of the same unit: what of knee, stiffness, resonance and friction differs, and whether by more than
//! chance.

use serde::{Deserialize, Serialize};
use truerim_analysis::estimate::{Estimate, Refusal};
use truerim_analysis::inertia::{BeltComparison, BeltState, Direction, compare_belt};

use super::document::{FitDocument, Quantity};

/// Chance below which a difference counts as one.
pub const SIGNIFICANCE: f64 = 0.01;
/// Difference of temperature from which it stands beside the result, K.
const WARMER_K: f64 = 3.0;
/// Ways to know friction, the best first: the first that both fits have is compared.
const FRICTION: [Quantity; 3] = [
    Quantity::SweepCoulomb,
    Quantity::Coulomb,
    Quantity::MotorBreakaway,
];

/// What differs between two fits of one unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BeltReport {
    /// Recording of the reference, and of what is held against it, each with its time.
    pub recordings: [String; 2],
    /// Serial number of the unit.
    pub serial: String,
    /// Whether each has a knee within its loops.
    pub knees: [bool; 2],
    /// Differences and chances.
    pub comparison: BeltComparison,
    /// What a reader must know.
    pub notes: Vec<String>,
}

/// Why two fits are not compared.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NotCompared {
    /// Two units.
    #[error(
        "the reference {then_file} is of unit {then}, and {now_file} of unit {now}: belts are compared on one unit, where pulleys and motor stay the same"
    )]
    OtherUnit {
        /// Serial number in the reference.
        then: String,
        /// Its recording.
        then_file: String,
        /// Serial number in what is held against it.
        now: String,
        /// Its recording.
        now_file: String,
    },
    /// Another mounting.
    #[error(
        "the reference was measured {then}, this {now}: measure both alike, the belt best clamped with procedures/drivetrain.toml"
    )]
    OtherMounting {
        /// In the reference.
        then: String,
        /// Now.
        now: String,
    },
    /// Nothing in common.
    #[error("{0}; run procedures/drivetrain.toml on the clamped unit both times")]
    Nothing(Refusal),
}

/// Compares what `now` says of a belt with what `then` said. Only what scatters counts; what both share (gain of the sensor, the
/// rig's spring) cancels, as long as the rig is the same.
///
/// # Errors
/// [`NotCompared`] for two units or mountings, or when no quantity is known in both.
pub fn compare_belts(then: &FitDocument, now: &FitDocument) -> Result<BeltReport, NotCompared> {
    let (a, b) = (&then.recording, &now.recording);
    if a.unit.serial != b.unit.serial {
        return Err(NotCompared::OtherUnit {
            then: a.unit.serial.clone(),
            then_file: a.file.clone(),
            now: b.unit.serial.clone(),
            now_file: b.file.clone(),
        });
    }
    if a.mounting != b.mounting {
        return Err(NotCompared::OtherMounting {
            then: a.mounting.clone(),
            now: b.mounting.clone(),
        });
    }
    let known = |document: &FitDocument, quantity| {
        let found = document.headline(quantity).and_then(|m| m.estimate());
        found.cloned()
    };
    let friction = FRICTION
        .into_iter()
        .find(|quantity| known(then, *quantity).is_some() && known(now, *quantity).is_some());
    let state = |document: &FitDocument| BeltState {
        knee: known(document, Quantity::BeltKnee),
        stiffness: known(document, Quantity::BeltStiffness),
        beyond: known(document, Quantity::BeltBeyond),
        resonance: resonances(document),
        coulomb: friction.and_then(|quantity| known(document, quantity)),
    };
    let comparison = compare_belt(&state(then), &state(now), SIGNIFICANCE).map_err(NotCompared::Nothing)?;
    let mut notes = vec![
        "Knee, resonance at large amplitude and friction rise with tension, but also with temperature and bedding-in: compare like \
         with like. The torque tells that tension changed, not what it is in newtons."
            .to_owned(),
    ];
    if let Some(quantity) = friction {
        notes.push(format!("Friction compared: {}.", quantity.text().name));
    }
    let knees = [then, now].map(|document| known(document, Quantity::BeltKnee).is_some());
    match knees {
        [true, true] => {}
        [true, false] => notes.push("The reference has a knee; now there is none within the loops: the belt is tighter, or was loaded less.".to_owned()),
        [false, true] => notes.push("The reference has no knee within its loops; now there is one: the belt is slacker, or was loaded more.".to_owned()),
        [false, false] => notes.push("Neither has a knee within its loops: of tension below it the stiffness says next to nothing.".to_owned()),
    }
    if let [Some(then), Some(now)] = [then, now].map(warmth)
        && (now - then).abs() > WARMER_K
    {
        notes.push(format!(
            "{:.1} °C then, {:.1} °C now: part of a difference may be the temperature's.",
            then, now
        ));
    }
    if a.rig.fixture != b.rig.fixture || a.sensor.serial != b.sensor.serial {
        notes.push("Torque sensor or fixture is another: what they share no longer cancels, and the chances are too small.".to_owned());
    }
    Ok(BeltReport {
        recordings: [a, b].map(|recording| format!("{} of {}", recording.file, recording.created)),
        knees,
        serial: b.unit.serial.clone(),
        comparison,
        notes,
    })
}

fn resonances(document: &FitDocument) -> Vec<(f64, Estimate)> {
    let all = document.measurands.iter();
    all.filter(|m| m.quantity == Quantity::Resonance && m.conditions.preload_nm.unwrap_or(0.0).abs() < 1e-6)
        .filter_map(|m| Some((m.conditions.amplitude_nm?, m.estimate()?.clone())))
        .collect()
}

fn warmth(document: &FitDocument) -> Option<f64> {
    let mut all = document.measurands.iter();
    all.find_map(|m| m.conditions.temperature.as_ref())
        .map(|temperature| temperature.mean_degc)
}

impl BeltReport {
    /// Plain words, a difference a line.
    pub fn words(&self) -> String {
        let mut text = format!(
            "Unit {}: {} against the reference {}\n",
            self.serial, self.recordings[1], self.recordings[0]
        );
        for change in &self.comparison.changes {
            let d = &change.difference;
            let half = 0.5 * (d.interval[1] - d.interval[0]);
            text.push_str(&format!(
                "  {:<28} {:+.4} ± {:.4} {} ({:+.2} %), p = {}\n",
                change.what,
                d.value,
                half,
                d.unit.replace('.', "·"),
                100.0 * change.relative,
                chance(change.chance),
            ));
        }
        let verdict = match (self.comparison.changed, self.comparison.direction) {
            (true, Direction::Tighter) => "The belt differs from the reference, and points to more tension",
            (true, Direction::Slacker) => "The belt differs from the reference, and points to less tension",
            (true, Direction::Open) => {
                "The belt differs from the reference, but not in one direction: something else than tension changed"
            }
            (false, _) if self.knees[0] != self.knees[1] => {
                "What both have does not differ beyond chance, but only one of them has a knee: they are not alike, or were not \
                 loaded alike"
            }
            (false, _) => "No difference from the reference beyond chance",
        };
        text.push_str(&format!(
            "{verdict} (p = {}, the number of looks allowed for; limit {SIGNIFICANCE}).\n",
            chance(self.comparison.chance)
        ));
        for note in &self.notes {
            text.push_str(&format!("{note}\n"));
        }
        text
    }
}

fn chance(p: f64) -> String {
    if p < 1e-4 {
        "below 0.0001".to_owned()
    } else {
        format!("{p:.4}")
    }
}
