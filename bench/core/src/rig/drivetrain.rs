//! `[rig.drivetrain]`: what is known of motor, gears and belt, by which orders of torque are named.

use alloc::{format, vec::Vec};
use settings_file::{Section, write_number};

use core::fmt;

words! {
    /// What turns a shaft by the next.
    StageKind {
        /// A pair of gears.
        Gears = "gears",
        /// A toothed belt on two pulleys.
        Belt = "belt",
    }
}

/// A step from the motor to the rim.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct Stage {
    /// Gears or belt.
    pub kind: StageKind,
    /// Teeth on the side of the motor.
    pub driving: u32,
    /// Teeth on the side of the rim.
    pub driven: u32,
    /// Teeth of the belt; 0 for gears.
    pub belt: u32,
}

/// Motor and drivetrain as declared.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct Drivetrain {
    /// Magnetic poles of the motor, twice the pole pairs.
    pub poles: u32,
    /// Slots of its stator, or of the rotor of one with brushes.
    pub slots: u32,
    /// From the motor to the rim; none for a direct drive.
    pub stages: Vec<Stage>,
}

impl Drivetrain {
    /// Turns of the motor for one of the rim.
    pub fn ratio(&self) -> f64 {
        let ratios = self
            .stages
            .iter()
            .map(|s| f64::from(s.driven) / f64::from(s.driving));
        ratios.product()
    }
}

/// By how much the declared ratio and that of the teeth may differ: the digits of a rounded ratio.
const RATIO: f64 = 0.01;

/// Reads the table, if there is one.
pub(super) fn read(rig: &Section<'_>) -> Option<Drivetrain> {
    let s = rig.optional_section("drivetrain")?;
    let count =
        |s: &Section<'_>, key: &str, least: i64| u32::try_from(s.integer(key, least..=2000)).unwrap_or(1);
    let stages = s
        .sections("stage", 0..=4)
        .iter()
        .map(|stage| {
            let kind = stage.choice("kind", StageKind::WORDS).unwrap_or(StageKind::Gears);
            Stage {
                kind,
                driving: count(stage, "driving", 5).max(1),
                driven: count(stage, "driven", 5),
                belt: match kind {
                    StageKind::Belt => count(stage, "belt", 10).max(1),
                    StageKind::Gears => 0,
                },
            }
        })
        .collect();
    let poles = count(&s, "poles", 2);
    if s.has("poles") && poles % 2 == 1 {
        s.report(
            "poles",
            "magnets come in pairs",
            None,
            "give twice the pole pairs",
        );
    }
    Some(Drivetrain {
        poles,
        slots: count(&s, "slots", 2),
        stages,
    })
}

/// Reports teeth that do not give the declared ratio.
pub(super) fn contradictions(drivetrain: Option<&Drivetrain>, ratio: Option<f64>, rig: &Section<'_>) {
    let (Some(drivetrain), Some(ratio)) = (drivetrain, ratio) else {
        return;
    };
    let teeth = drivetrain.ratio();
    if (teeth - ratio).abs() > RATIO * ratio {
        rig.section("wheelbase").report(
            "ratio",
            format!(
                "the stages of rig.drivetrain give {}",
                write_number(libm::round(teeth * 1e4) / 1e4)
            ),
            None,
            "correct one of the two",
        );
    }
}
