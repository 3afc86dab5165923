//! What is measured: a unit, how it is held, and the procedure.

use bench_core::rig::Mounting;
use virtual_rig::parameters::RigParameters;
use virtual_rig::plant::FarSide;

/// A unit held in one way, measured by one procedure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Scene {
    /// Stem of the rig file.
    pub wheelbase: &'static str,
    /// `clamped`, `free` or `back-driven`.
    pub mounting: &'static str,
    /// Stem of the procedure.
    pub procedure: &'static str,
    /// Reference of the independent integration at the procedure's amplitude, where there is one.
    pub reference: Option<&'static str>,
}

const UNITS: [(&str, Option<&str>); 3] = [
    ("belt", Some("belt-1.4-on-1.5-every-250us.json")),
    ("direct", None),
    ("geared", None),
];
const PROCEDURES: [(&str, &str); 3] = [("clamped", "quick"), ("free", "coast"), ("back-driven", "drag")];

/// Every unit in every mounting.
#[must_use]
pub fn scenes() -> Vec<Scene> {
    let mut all = Vec::new();
    for (wheelbase, reference) in UNITS {
        for (mounting, procedure) in PROCEDURES {
            all.push(Scene {
                wheelbase,
                mounting,
                procedure,
                reference,
            });
        }
    }
    all
}

impl Scene {
    /// A unit in a mounting.
    ///
    /// # Errors
    /// When there is no such scene.
    pub fn of(wheelbase: &str, mounting: &str) -> Result<Self, String> {
        let found = scenes()
            .into_iter()
            .find(|scene| scene.wheelbase == wheelbase && scene.mounting == mounting);
        found.ok_or_else(|| {
            format!("no unit {wheelbase}, {mounting}: belt, direct or geared; clamped, free or back-driven")
        })
    }

    pub(super) fn mounting(&self) -> Option<Mounting> {
        let words = Mounting::WORDS.iter();
        words
            .clone()
            .find(|(word, _)| *word == self.mounting)
            .map(|(_, m)| *m)
    }

    /// The drive's speed, rad/s.
    pub(super) fn drive_rad_s(&self, parameters: &RigParameters) -> Result<f64, String> {
        match &parameters.plant.mounting.far_side {
            FarSide::Drive(script) => script
                .speeds_rad_s
                .first()
                .map(|speed| speed.abs())
                .ok_or_else(|| "the drive has no speed".to_owned()),
            _ => Err(format!("{} is not driven", self.wheelbase)),
        }
    }
}
