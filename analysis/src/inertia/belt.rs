//! What changed in a belt against a reference of the same unit.

use serde::{Deserialize, Serialize};
use statrs::distribution::{ContinuousCDF, Normal, StudentsT};

use crate::estimate::{Contribution, Estimate, Kind, Refusal};

/// What is known of a belt at one time; what was not measured is left out.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct BeltState {
    /// Torque at the knee of the loop, N·m.
    pub knee: Option<Estimate>,
    /// Stiffness below the knee, N·m/rad.
    pub stiffness: Option<Estimate>,
    /// Stiffness beyond it, N·m/rad.
    pub beyond: Option<Estimate>,
    /// Resonance by amplitude of the excitation (N·m), Hz.
    pub resonance: Vec<(f64, Estimate)>,
    /// Coulomb torque, N·m.
    pub coulomb: Option<Estimate>,
}

/// Which way the tension went.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Direction {
    /// What changed points to more tension.
    Tighter,
    /// What changed points to less.
    Slacker,
    /// Nothing changed beyond the uncertainties, or what did points both ways.
    Open,
}

/// One difference.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BeltChange {
    /// Of what.
    pub what: String,
    /// Now less then.
    pub difference: Estimate,
    /// Now over then, less one.
    pub relative: f64,
    /// Chance of so large a difference without a change.
    pub chance: f64,
}

/// The comparison.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BeltComparison {
    /// Differences, one a quantity known in both.
    pub changes: Vec<BeltChange>,
    /// Chance of the most striking of them without any change, the number of looks allowed for (Holm 1979).
    pub chance: f64,
    /// Whether that is below the significance asked for.
    pub changed: bool,
    /// Which way.
    pub direction: Direction,
}

/// Compares a belt with a reference of the same unit, on the same rig. Temperature and bedding-in move the same
/// quantities as a quarter-turn of the tensioner: compare like with like. No force is claimed.
///
/// # Errors
/// [`Refusal::TooFewRepeats`] when nothing was measured in both; [`Refusal::OutOfRange`] for a significance outside
/// 0 to 1.
pub fn compare_belt(then: &BeltState, now: &BeltState, significance: f64) -> Result<BeltComparison, Refusal> {
    if !(significance > 0.0 && significance < 1.0) {
        return Err(Refusal::OutOfRange {
            what: "the significance of a change".into(),
            value: significance,
            low: 0.0,
            high: 1.0,
            unit: "1".into(),
        });
    }
    let mut pairs: Vec<(String, &Estimate, &Estimate)> = Vec::new();
    for (what, a, b) in [
        ("knee", &then.knee, &now.knee),
        ("stiffness", &then.stiffness, &now.stiffness),
        ("stiffness beyond the knee", &then.beyond, &now.beyond),
        ("Coulomb torque", &then.coulomb, &now.coulomb),
    ] {
        if let (Some(a), Some(b)) = (a, b) {
            pairs.push((what.into(), a, b));
        }
    }
    for (amplitude, a) in &then.resonance {
        let same = now
            .resonance
            .iter()
            .find(|(other, _)| (other / amplitude - 1.0).abs() < 0.02);
        if let Some((_, b)) = same {
            pairs.push((format!("resonance at {amplitude} N·m"), a, b));
        }
    }
    if pairs.is_empty() {
        return Err(Refusal::TooFewRepeats {
            what: "a comparison of belts (quantities measured in both)".into(),
            got: 0,
            needed: 1,
        });
    }
    let changes = pairs
        .into_iter()
        .map(|(what, a, b)| change(what, a, b))
        .collect::<Result<Vec<_>, _>>()?;
    let count = changes.len() as f64;
    let chance = changes.iter().map(|c| c.chance).fold(1.0, f64::min) * count;
    let changed = chance < significance;
    // All of these rise with tension.
    let striking = changes.iter().filter(|c| c.chance * count < significance);
    let (up, down) = striking.fold((0, 0), |m, c| {
        if c.difference.value > 0.0 {
            (m.0 + 1, m.1)
        } else {
            (m.0, m.1 + 1)
        }
    });
    let direction = match (up, down) {
        (1.., 0) => Direction::Tighter,
        (0, 1..) => Direction::Slacker,
        _ => Direction::Open,
    };
    Ok(BeltComparison {
        changes,
        chance: chance.min(1.0),
        changed,
        direction,
    })
}

/// Difference by Welch's test. Only what scatters (type A) tells two states of one unit on one rig apart; what is
/// known from elsewhere (type B: gain of the sensor, stiffness in series) is the same in both and cancels.
fn change(what: String, then: &Estimate, now: &Estimate) -> Result<BeltChange, Refusal> {
    let own = |e: &Estimate, which: &str| -> Vec<Contribution> {
        let parts = e.budget.iter().filter(|c| c.kind == Kind::A);
        parts
            .map(|c| Contribution {
                source: format!("{}, {which}", c.source),
                ..c.clone()
            })
            .collect()
    };
    let mut budget = own(then, "then");
    budget.extend(own(now, "now"));
    let n = then.n.min(now.n);
    let method = "difference of two states of one unit (Welch)";
    let difference = Estimate::from_budget(now.value - then.value, &now.unit, n, method, budget)?;
    if difference.std_uncertainty <= 0.0 {
        return Err(Refusal::TooFewRepeats {
            what: format!("{what} of both belts (repeats that scatter)"),
            got: 0,
            needed: 2,
        });
    }
    let t = (difference.value / difference.std_uncertainty).abs();
    let chance = if difference.dof > 1e7 {
        2.0 * Normal::standard().sf(t)
    } else {
        StudentsT::new(0.0, 1.0, difference.dof).map_or(f64::NAN, |d| 2.0 * d.sf(t))
    };
    Ok(BeltChange {
        what,
        relative: now.value / then.value - 1.0,
        difference,
        chance,
    })
}

/// Tension of a free span from its measured frequency, `F = 4 m L² f²` (a string's fundamental; mass per length `m`,
/// kg/m; free length `L`, m), N. For belts whose span can be reached; nothing the torque says enters.
///
/// # Errors
/// [`Refusal::OutOfRange`] for a value that is not positive.
pub fn span_tension(
    mass_kg_m: &Estimate,
    length_m: &Estimate,
    frequency_hz: &Estimate,
) -> Result<Estimate, Refusal> {
    for (what, e) in [
        ("mass per length", mass_kg_m),
        ("span", length_m),
        ("frequency", frequency_hz),
    ] {
        if e.value <= 0.0 {
            return Err(Refusal::OutOfRange {
                what: format!("the {what} of a belt"),
                value: e.value,
                low: 0.0,
                high: f64::INFINITY,
                unit: e.unit.clone(),
            });
        }
    }
    let force = 4.0 * mass_kg_m.value * length_m.value.powi(2) * frequency_hz.value.powi(2);
    let part = |what: &str, power: f64, e: &Estimate| {
        Contribution::type_b(what, power * force * e.std_uncertainty / e.value)
    };
    let budget = vec![
        part("mass per length", 1.0, mass_kg_m),
        part("span", 2.0, length_m),
        part("frequency", 2.0, frequency_hz),
    ];
    Estimate::from_budget(force, "N", frequency_hz.n, "fundamental of the free span", budget)
}

/// Frequency of a span under tension, Hz: the same formula turned round.
pub fn span_frequency_hz(tension_n: f64, mass_kg_m: f64, length_m: f64) -> f64 {
    0.5 / length_m * (tension_n / mass_kg_m).sqrt()
}
