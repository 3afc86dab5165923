//! The check unit that is measured every day before anything else.

use crate::Refusal;
use crate::charts::{Baseline, Chart, ChartPair, EwmaLimits, EwmaSettings, RunRule, ewma, individuals};
use serde::Serialize;

/// Charts of a check unit, and since when they can no longer be relied on.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CheckUnit {
    /// Single values and moving ranges.
    pub pair: ChartPair,
    /// Average with a weight of 0.2, for what creeps.
    pub average: Chart,
    /// Last check at which nothing signalled; what was accepted after it has to be judged again. `None` if even the first
    /// signalled.
    pub last_good: Option<usize>,
}

impl CheckUnit {
    /// Whether the newest check is good.
    pub fn is_good(&self) -> bool {
        self.last_good
            .is_some_and(|at| at + 1 == self.pair.location.points.len())
    }
}

/// Charts the checks of one unit against a baseline by one beyond three sigma, nine on one side, six rising or falling and
/// an EWMA (weight 0.2, 2.7 sigma): together a false alarm about every fifty checks.
///
/// # Errors
/// Those of [`individuals`].
pub fn check_unit(values: &[f64], baseline: Baseline) -> Result<CheckUnit, Refusal> {
    let rules = [
        RunRule::OneBeyondThreeSigma,
        RunRule::NineOnOneSide,
        RunRule::SixRisingOrFalling,
    ];
    let pair = individuals(values, baseline, &rules)?;
    let average = ewma(
        values,
        &EwmaSettings {
            target: pair.location.centre,
            sigma: pair.sigma,
            weight: 0.2,
            width: 2.7,
            limits: EwmaLimits::Exact,
        },
    )?;
    let signals = pair
        .location
        .signals
        .iter()
        .chain(&average.signals)
        .map(|s| s.last);
    // A moving range belongs to the later of its two values.
    let ranges = pair.spread.signals.iter().map(|s| s.last + 1);
    let bad: Vec<usize> = signals.chain(ranges).collect();
    Ok(CheckUnit {
        last_good: (0..values.len()).rev().find(|at| !bad.contains(at)),
        pair,
        average,
    })
}
