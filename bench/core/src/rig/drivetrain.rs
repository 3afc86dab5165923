//! `[rig.drivetrain]`: what is known of motor, gears and belt, by which orders of torque are named.

use alloc::{format, vec::Vec};
use settings_file::{Frequency, Length, LinearDensity, Section, write_number};

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

/// A free span of a belt that was plucked; each value with its standard uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// Frequency at which it rings, Hz; above 0.
    pub frequency_hz: [f64; 2],
    /// Free length between the points where it leaves its pulleys, m; above 0.
    pub length_m: [f64; 2],
    /// Mass per length of the belt, kg/m; above 0.
    pub mass_kg_per_m: [f64; 2],
}

/// Motor and drivetrain as declared.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Drivetrain {
    /// Magnetic poles of the motor, twice the pole pairs.
    pub poles: u32,
    /// Slots of its stator, or of the rotor of one with brushes.
    pub slots: u32,
    /// From the motor to the rim; none for a direct drive.
    pub stages: Vec<Stage>,
    /// A span of its belt that was plucked; `None` where none was.
    pub span: Option<Span>,
}

impl Drivetrain {
    /// Whether one of its stages is of this kind.
    #[must_use]
    pub fn has(&self, kind: StageKind) -> bool {
        self.stages.iter().any(|stage| stage.kind == kind)
    }

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
    let stages: Vec<Stage> = s
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
    let span = s.optional_section("span").map(|table| span(&table));
    Some(Drivetrain {
        poles,
        slots: count(&s, "slots", 2),
        stages,
        span,
    })
}

fn span(s: &Section<'_>) -> Span {
    Span {
        frequency_hz: [
            s.quantity::<Frequency>("frequency", 5.0..=5_000.0),
            s.quantity::<Frequency>("frequency_uncertainty", 0.01..=1_000.0),
        ],
        length_m: [
            s.quantity::<Length>("length", 0.01..=2.0),
            s.quantity::<Length>("length_uncertainty", 1e-5..=0.5),
        ],
        mass_kg_per_m: [
            s.quantity::<LinearDensity>("mass_per_length", 1e-3..=2.0),
            s.quantity::<LinearDensity>("mass_per_length_uncertainty", 1e-6..=0.5),
        ],
    }
}

/// Largest standard uncertainty of a span's values, as a share of them.
const MOST_SPAN: f64 = 0.2;

/// Reports a span that is no belt's or is hardly known, and teeth that do not give the declared ratio.
pub(super) fn contradictions(drivetrain: Option<&Drivetrain>, ratio: Option<f64>, rig: &Section<'_>) {
    if let Some((drivetrain, span)) = drivetrain.and_then(|d| Some((d, d.span?))) {
        span_contradictions(drivetrain, &span, &rig.section("drivetrain"));
    }
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

fn span_contradictions(drivetrain: &Drivetrain, span: &Span, s: &Section<'_>) {
    if !drivetrain.has(StageKind::Belt) {
        s.report(
            "span",
            "a span of a belt, but no stage is one",
            None,
            "declare the stage with kind = \"belt\", or remove the table",
        );
    }
    for (key, [value, u]) in [
        ("frequency", span.frequency_hz),
        ("length", span.length_m),
        ("mass_per_length", span.mass_kg_per_m),
    ] {
        if u > MOST_SPAN * value {
            s.section("span").report(
                &format!("{key}_uncertainty"),
                "a value that is as good as unknown",
                Some(format!("at most {} % of {key}", write_number(100.0 * MOST_SPAN))),
                "measure it again; tension goes by the square of length and frequency",
            );
        }
    }
}
