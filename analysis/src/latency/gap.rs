//! Steps through a gap: time to cross it told from delay.
//!
//! From zero a geared drivetrain first crosses its backlash, and torque reaches the rim only when the flanks meet, with a
//! blow that no model of a rise describes; from a preload of the same sign they have met already. So the latency is
//! that of steps from a preload, and what the first visible torque of steps from zero comes later is the crossing. It
//! shortens as the step grows, so without steps from a preload the sizes of the steps from zero at least betray a gap.

use serde::{Deserialize, Serialize};

use super::{LatencyFit, OnsetMarks};
use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal, difference};

/// Delay and crossing times told apart.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GapCrossing {
    /// Latency without crossing, s.
    pub latency: Outcome,
    /// Commanded change from zero, N·m, and how much later torque is first seen than from a preload, s.
    pub crossing: Vec<(f64, Outcome)>,
    /// Whether steps from zero arrive as those from a preload do.
    pub check: Check,
}

/// Name of the check.
const CHECK: &str = "no gap is crossed";

/// Share of the lag from onset to first visible torque by which that lag may differ between steps from zero and from a
/// preload without any gap, for friction holds them differently: rectangular.
const LAG_DIFFERS: f64 = 0.25;

/// Tells crossing from delay by steps from a preload: `preloaded` are fit and marks of steps that begin at a torque of the
/// same sign, `from_zero` the marks of steps that begin at zero, one of each size (its magnitude in N·m).
///
/// # Errors
/// The refusal of the preloaded latency or mark, as [`Refusal::TooFewRepeats`]; those of a budget.
pub fn gap_crossing(
    preloaded: (&LatencyFit, &OnsetMarks),
    from_zero: &[(f64, &OnsetMarks)],
) -> Result<GapCrossing, Refusal> {
    let (Some(latency), Some(mark)) = (preloaded.0.latency.estimate(), preloaded.1.threshold.estimate())
    else {
        return Err(Refusal::TooFewRepeats {
            what: "steps from a preload".into(),
            got: preloaded.1.threshold_s.iter().flatten().count(),
            needed: 2,
        });
    };
    let lag_s = (mark.value - latency.value).max(0.0);
    let mut crossing = Vec::new();
    let mut seen = Vec::new();
    for (change_nm, marks) in from_zero {
        let outcome = match marks.threshold.estimate() {
            Some(zero) => {
                let mut e = later(zero, mark, lag_s)?;
                let clear = e.interval[0] > 0.0;
                if clear {
                    seen.push(format!("{:.2} ms at {change_nm} N·m", 1e3 * e.value));
                }
                e.checks.clear();
                e.into()
            }
            None => marks.threshold.clone(),
        };
        crossing.push((*change_nm, outcome));
    }
    let detail = if seen.is_empty() {
        "steps from zero arrive as those from a preload do".to_string()
    } else {
        format!("from zero torque is seen later by {}", seen.join(", "))
    };
    Ok(GapCrossing {
        latency: preloaded.0.latency.clone(),
        crossing,
        check: Check::new(CHECK, seen.is_empty(), detail),
    })
}

/// Difference of two marks with what lag may differ.
fn later(zero: &Estimate, mark: &Estimate, lag_s: f64) -> Result<Estimate, Refusal> {
    let apart = difference(zero, mark, ["from zero", "from a preload"], CHECK)?;
    let mut budget = apart.budget;
    budget.push(Contribution::rectangular(
        "lag of the first visible torque differs",
        LAG_DIFFERS * lag_s,
    ));
    Estimate::from_budget(
        apart.value,
        "s",
        apart.n,
        "first visible torque of steps from zero less that of steps from a preload",
        budget,
    )
}

/// Whether steps from zero, without any from a preload, cross a gap: the back-extrapolated onset of the smallest comes
/// later than that of the largest. A slew limit does the opposite, so it raises no alarm (and can hide a small gap).
/// Sizes should span a factor of two or more. Gives the check that no gap shows.
///
/// # Errors
/// [`Refusal::GapInTheWay`] when a gap shows, and [`Refusal::TooFewRepeats`] for fewer than two sizes.
pub fn gap_between_sizes(from_zero: &[(f64, &OnsetMarks)]) -> Result<Check, Refusal> {
    let mut sizes: Vec<(f64, &Estimate)> = from_zero
        .iter()
        .filter_map(|(change, marks)| marks.extrapolated.estimate().map(|e| (*change, e)))
        .collect();
    sizes.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (Some(small), Some(large)) = (sizes.first(), sizes.last().filter(|_| sizes.len() > 1)) else {
        return Err(Refusal::TooFewRepeats {
            what: "sizes of step from zero".into(),
            got: sizes.len(),
            needed: 2,
        });
    };
    let apart = difference(small.1, large.1, ["smallest step", "largest step"], CHECK)?;
    if apart.interval[0] > 0.0 {
        return Err(Refusal::GapInTheWay {
            what: "latency".into(),
            apart_s: apart.value,
        });
    }
    let detail = format!(
        "onset of {} N·m less that of {} N·m: {:.3} ms, at most {:.3} ms by chance",
        small.0,
        large.0,
        1e3 * apart.value,
        1e3 * (apart.interval[1] - apart.value)
    );
    Ok(Check::new(CHECK, true, detail))
}
