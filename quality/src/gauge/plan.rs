//! The plan of a crossed study.

use crate::distributions::chi_square_quantile;
use crate::{Interval, Refusal};
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use serde::Serialize;

/// One measurement of the plan: mount, measure, unmount. All counted from 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Step {
    /// Which part.
    pub part: usize,
    /// Who, or which bench.
    pub operator: usize,
    /// Which repeat of this pair.
    pub repeat: usize,
}

/// What a plan is too small for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum Weakness {
    /// Fewer than five parts: their variation is hardly known.
    FewParts,
    /// Fewer than three operators: reproducibility rests on one degree of freedom.
    FewOperators,
    /// Fewer than thirty measurements in all.
    FewMeasurements,
}

impl Weakness {
    /// What to change.
    pub fn words(&self) -> &'static str {
        match self {
            Self::FewParts => "fewer than five units: how units differ will hardly be known; take ten",
            Self::FewOperators => {
                "two operators or benches: how they differ will hardly be known; take three"
            }
            Self::FewMeasurements => "fewer than thirty measurements: add units or repeats",
        }
    }
}

/// A plan with its order and what may be expected of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Plan {
    /// In the order to be measured.
    pub steps: Vec<Step>,
    /// Degrees of freedom of repeatability (without pooling).
    pub repeatability_dof: usize,
    /// Interval that repeatability, as a standard deviation, will have: ends over the value found.
    pub repeatability_interval: Interval,
    /// The same for the spread between operators' means.
    pub operator_interval: Interval,
    /// The same for the spread between parts' means.
    pub part_interval: Interval,
    /// What it is too small for.
    pub weaknesses: Vec<Weakness>,
}

/// Plans a study of `parts` × `operators` × `repeats`.
///
/// All pairs are measured once before any is repeated, so that slow changes do not look like repeatability; within a
/// round operators follow in random order, and each measures the parts in a random order of its own. The same seed gives
/// the same plan.
///
/// # Errors
/// [`Refusal::TooFew`] below two of any, [`Refusal::OutOfRange`] above 50 of any, or for the level.
pub fn plan(parts: usize, operators: usize, repeats: usize, level: f64, seed: u64) -> Result<Plan, Refusal> {
    for (what, count) in [
        ("parts of a gauge study", parts),
        ("operators of a gauge study", operators),
        ("repeats of a gauge study", repeats),
    ] {
        Refusal::unless_enough(what, count, 2)?;
        Refusal::unless_within(what, count as f64, 2.0, 50.0)?;
    }
    Refusal::unless_probability("the level", level)?;
    let mut chance = ChaCha8Rng::seed_from_u64(seed);
    let mut steps = Vec::with_capacity(parts * operators * repeats);
    for repeat in 0..repeats {
        for operator in shuffled(operators, &mut chance) {
            let order = shuffled(parts, &mut chance);
            steps.extend(order.into_iter().map(|part| Step {
                part,
                operator,
                repeat,
            }));
        }
    }
    let repeatability_dof = parts * operators * (repeats - 1);
    let ends = |dof: usize| {
        let dof = dof as f64;
        let end = |q: f64| (dof / chi_square_quantile(q, dof)).sqrt();
        Interval {
            low: end(0.5 + 0.5 * level),
            high: end(0.5 - 0.5 * level),
            level,
        }
    };
    let weaknesses = [
        (parts < 5, Weakness::FewParts),
        (operators < 3, Weakness::FewOperators),
        (steps.len() < 30, Weakness::FewMeasurements),
    ];
    Ok(Plan {
        repeatability_dof,
        repeatability_interval: ends(repeatability_dof),
        operator_interval: ends(operators - 1),
        part_interval: ends(parts - 1),
        weaknesses: weaknesses.iter().filter(|(is, _)| *is).map(|(_, w)| *w).collect(),
        steps,
    })
}

/// Numbers below `n` in random order (Fisher and Yates).
fn shuffled(n: usize, chance: &mut ChaCha8Rng) -> Vec<usize> {
    let mut order: Vec<usize> = (0..n).collect();
    for last in (1..n).rev() {
        // The remainder's bias is below n/2^64.
        order.swap(last, (chance.next_u64() % (last as u64 + 1)) as usize);
    }
    order
}
