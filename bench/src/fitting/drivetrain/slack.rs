//! Where a belt's slack span lets go, from the same slow loops.

use bench_core::rig::StageKind;
use truerim_analysis::backlash::{BacklashFit, BacklashOptions, LoopRecord};
use truerim_analysis::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use truerim_analysis::inertia::fit_knee;

use super::{One, span};
use crate::fitting::document::Quantity;
use crate::fitting::groups::{refused, with_checks};
use crate::recording::Declared;

/// Share of the stiffness that may be left beyond a knee: half with equal spans, more or less with unequal ones. A bend by less is that
/// of friction and of the encoders.
const LEFT: [f64; 2] = [0.25, 0.85];
/// Steps of the rotor's encoder lie at one place in every loop, so that loops alike do not show them, and elsewhere in the next
/// recording: they scatter between recordings by this share of one step over the loop's twist.
const STEPS: f64 = 0.15;

/// Knee and stiffness on both sides of it, and the tension of a declared span; nothing where no belt is declared.
pub(super) fn of(
    record: &LoopRecord<'_>,
    options: &BacklashOptions,
    fit: &BacklashFit,
    step_rad: f64,
    declared: &Declared,
) -> Vec<One> {
    if !declared
        .drivetrain
        .as_ref()
        .is_some_and(|d| d.has(StageKind::Belt))
    {
        return Vec::new();
    }
    let mut found = knee(record, options, fit, step_rad);
    found.extend(span::of(declared));
    found
}

fn knee(record: &LoopRecord<'_>, options: &BacklashOptions, fit: &BacklashFit, step_rad: f64) -> Vec<One> {
    let all = [Quantity::BeltKnee, Quantity::BeltStiffness, Quantity::BeltBeyond];
    if fit.gap.estimate().is_some() {
        let outcome = refused(
            "gap",
            "the drivetrain has a gap, which bends the loops as a slack span does: a knee cannot be told",
        );
        return all.map(|quantity| One::alone(quantity, outcome.clone())).into();
    }
    let found = match fit_knee(record, options) {
        Ok(found) => found,
        Err(refusal) => return all.map(|quantity| One::alone(quantity, refusal.clone())).into(),
    };
    let twist = record.twist_rad.iter().fold(0.0_f64, |m, v| m.max(v.abs()));
    let doubt = STEPS * step_rad / twist.max(step_rad);
    let left = found.stiffness_ratio.estimate().map(|e| e.value);
    let bends = left.is_some_and(|left| (LEFT[0]..LEFT[1]).contains(&left));
    let outcome = |own: &Outcome, knee: bool| -> Outcome {
        match (own, left) {
            (Outcome::Estimate(estimate), _) if bends || !knee => stepped(estimate, doubt).into(),
            (Outcome::Estimate(_), Some(left)) => Refusal::OutOfRange {
                what:
                    "stiffness beyond the bend of the loops over stiffness below it, for a belt's slack span"
                        .into(),
                value: left,
                low: LEFT[0],
                high: LEFT[1],
                unit: "1".into(),
            }
            .into(),
            _ => own.clone(),
        }
    };
    let share = Check::new(
        "one span of two is left beyond the knee",
        bends,
        match left {
            Some(left) => format!(
                "{:.0} % of the stiffness is left, {:.0} to {:.0} % expected",
                100.0 * left,
                100.0 * LEFT[0],
                100.0 * LEFT[1]
            ),
            None => "no knee within the loops".to_owned(),
        },
    );
    let checks: Vec<Check> = found.checks.iter().cloned().chain([share]).collect();
    [
        (&found.knee, true),
        (&found.stiffness, false),
        (&found.beyond, true),
    ]
    .into_iter()
    .zip(all)
    .map(|((own, knee), quantity)| {
        One::alone(quantity, with_checks(outcome(own, knee), checks.iter().cloned()))
    })
    .collect()
}

fn stepped(estimate: &Estimate, doubt: f64) -> Result<Estimate, Refusal> {
    // It scatters between recordings: known as well as a constant, but of the kind that tells two of them apart.
    let part = Contribution::type_a("place of the rotor encoder's steps", estimate.value * doubt, 1e6);
    estimate.clone().with_contribution(part)
}
