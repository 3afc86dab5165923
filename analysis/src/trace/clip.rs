//! Whether the peaks of a trace are cut off.

use super::TraceRecords;
use crate::estimate::{Check, Contribution, Estimate, Outcome, Refusal};

/// Levels tried, from half of the greatest command to all of it.
const LEVELS: usize = 101;
/// Share of the squares of a straight line that a cut-off must take away to be believed.
const TAKES: f64 = 0.5;

/// Where torque ends, if it does.
#[derive(Debug, Clone, PartialEq)]
pub struct Clip {
    /// Share of the trace's time in which more is commanded than arrives at most; none where nothing is cut off.
    pub share: Outcome,
    /// Command beyond which torque does not rise, N·m.
    pub level_nm: Option<f64>,
}

/// Fits `torque = offset + gain · command` with the command cut off at either side alike, and takes the cut-off for real where it
/// leaves less than half of the squares of a straight line. `mean_nm` is the mean over repeats with the delay taken out.
///
/// # Errors
/// As [`TraceRecords::check`].
pub fn clip(records: &TraceRecords, mean_nm: &[f64]) -> Result<Clip, Refusal> {
    records.check()?;
    let core = records.core();
    let (command, torque) = (&records.command_nm[core.clone()], &mean_nm[core]);
    let most = command.iter().fold(0.0_f64, |most, c| most.max(c.abs()));
    let left = |level: f64| {
        let cut: Vec<f64> = command.iter().map(|c| c.clamp(-level, level)).collect();
        super::delay::misfit_of(&cut, torque)
    };
    let step = 0.5 * most / (LEVELS - 1) as f64;
    let levels: Vec<f64> = (0..LEVELS).map(|i| 0.5 * most + step * i as f64).collect();
    let sums: Vec<f64> = levels.iter().map(|level| left(*level)).collect();
    let best = (0..LEVELS)
        .min_by(|a, b| sums[*a].total_cmp(&sums[*b]))
        .unwrap_or(LEVELS - 1);
    let straight = sums.last().copied().unwrap_or(0.0);
    let real = best + 1 < LEVELS && sums[best] < TAKES * straight;
    let beyond =
        |level: f64| command.iter().filter(|c| c.abs() > level).count() as f64 / command.len() as f64;
    let (share, u) = if real {
        let level = levels[best];
        (
            beyond(level),
            0.5 * (beyond(level - step) - beyond(level + step)) / 3.0_f64.sqrt(),
        )
    } else {
        // A cut-off nearer to the crest than the levels tried lie apart would not be seen.
        (0.0, beyond(most - step) / 3.0_f64.sqrt())
    };
    let detail = format!(
        "a cut-off leaves {:.0} % of the squares of a straight line, less than {:.0} % would show one",
        100.0 * sums[best] / straight.max(f64::MIN_POSITIVE),
        100.0 * TAKES
    );
    let budget = vec![Contribution::type_b("levels tried", u)];
    let method = "least squares of torque on a command cut off at one level";
    let made = Estimate::from_budget(share, "1", records.arrived_nm.len(), method, budget);
    Ok(Clip {
        share: made
            .map(|e| e.with_checks([Check::new("nothing cut off", !real, detail)]))
            .into(),
        level_nm: real.then(|| levels[best]),
    })
}
