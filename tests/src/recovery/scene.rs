//! What is measured: a unit, how it is held, and the procedure.

use bench_core::rig::Mounting;
use virtual_rig::parameters::RigParameters;
use virtual_rig::plant::FarSide;

use super::brief::BRIEF;
use super::tenfold::TENFOLD;
use crate::campaign::units::Unit;

/// A unit held in one way, measured by one procedure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Scene {
    /// The unit.
    pub wheelbase: Unit,
    /// How it is held.
    pub mounting: Mounting,
    /// Stem of the procedure.
    pub procedure: &'static str,
    /// Reference of the independent integration at the procedure's amplitude, where there is one.
    pub reference: Option<&'static str>,
}

const UNITS: [(Unit, Option<&str>); 3] = [
    (Unit::Belt, Some("belt-1.4-on-1.5-every-250us.json")),
    (Unit::Direct, Some("direct-3.2-on-3.44-every-250us.json")),
    (Unit::Geared, Some("geared-0.6-on-0.645-every-250us.json")),
];
const PROCEDURES: [(Mounting, &str); 16] = [
    (Mounting::Clamped, "quick"),
    (Mounting::Free, "coast"),
    (Mounting::BackDriven, "drag"),
    (Mounting::Clamped, "response"),
    (Mounting::Clamped, "drivetrain"),
    (Mounting::Free, "free"),
    (Mounting::Free, "travel"),
    (Mounting::BackDriven, "rolling"),
    (Mounting::BackDriven, "around"),
    (Mounting::BackDriven, BRIEF),
    (Mounting::Clamped, "static"),
    (Mounting::Clamped, "shock"),
    (Mounting::Clamped, "resolution"),
    (Mounting::Clamped, "limit"),
    (Mounting::Clamped, "heat"),
    (Mounting::Clamped, TENFOLD),
];

/// Every unit in every mounting, by every procedure.
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
    /// A unit in a mounting, by the short procedure for it.
    ///
    /// # Errors
    /// When there is no such scene.
    pub fn of(wheelbase: Unit, mounting: Mounting) -> Result<Self, String> {
        let mut all = scenes().into_iter();
        let found = all.find(|scene| (scene.wheelbase, scene.mounting) == (wheelbase, mounting));
        found.ok_or_else(|| format!("{}, {mounting} is not measured", wheelbase.word()))
    }

    /// A unit measured by a procedure.
    ///
    /// # Errors
    /// When there is no such scene.
    pub fn by(wheelbase: Unit, procedure: &str) -> Result<Self, String> {
        let mut all = scenes().into_iter();
        let found = all.find(|scene| (scene.wheelbase, scene.procedure) == (wheelbase, procedure));
        found.ok_or_else(|| format!("{} is not measured by {procedure}", wheelbase.word()))
    }

    /// In words.
    #[must_use]
    pub fn name(&self) -> String {
        format!("{}, {}, {}", self.wheelbase.word(), self.mounting, self.procedure)
    }

    /// The drive's speed, rad/s.
    pub(super) fn drive_rad_s(&self, parameters: &RigParameters) -> Result<f64, String> {
        match &parameters.plant.mounting.far_side {
            FarSide::Drive(script) => script
                .speeds_rad_s
                .first()
                .map(|speed| speed.abs())
                .ok_or_else(|| "the drive has no speed".to_owned()),
            _ => Err(format!("{} is not driven", self.wheelbase.word())),
        }
    }
}
