//! How latency is spread over the repeats, and where it comes from.

use truerim_analysis::estimate::{Contribution, Estimate, Outcome, Refusal, bootstrap};
use truerim_analysis::latency::{ArrivalOptions, LatencyFit, arrivals};
use truerim_analysis::statistics::quantile;

use super::document::{Conditions, Measurand, Quantity};
use super::groups::{Group, overall};
use super::steps::ALL;

/// Draws of the bootstrap behind the quantiles.
const DRAWS: usize = 1000;
/// Its seed: the same recording gives the same numbers.
const SEED: u64 = 20_811;
/// Repeats below which a twentieth is less than one of them.
const FEWEST: usize = 20;

/// Quantiles of the delays of all repeats, and what the instants of arrival say: update period, dead time, and the
/// jitter beyond the wait.
pub(crate) fn of(
    groups: &[Group<'_>],
    fit: &LatencyFit,
    conditions: &Conditions,
    (tick_s, update_period_s): (f64, Option<f64>),
) -> Vec<Measurand> {
    let mut list: Vec<(Quantity, Outcome)> = vec![
        (Quantity::LatencyLow, share(fit, 0.05)),
        (Quantity::LatencyMedian, share(fit, 0.5)),
        (Quantity::LatencyHigh, share(fit, 0.95)),
    ];
    let at_s: Vec<f64> = groups
        .iter()
        .flat_map(|g| &g.cuts)
        .map(|cut| tick_s * cut.row.start_tick as f64)
        .collect();
    let options = ArrivalOptions {
        period_s: update_period_s,
        ..ArrivalOptions::default()
    };
    let found = match fit.latency.refused() {
        // Why there is no latency says more than what that does to the pattern.
        Some(refused) => Err(Outcome::Refused(refused.clone())),
        None => arrivals(&at_s, fit, &options).map_err(Outcome::from),
    };
    list.extend(match found {
        Ok(found) => [
            (Quantity::UpdatePeriod, found.period.clone()),
            (Quantity::DeadTime, found.dead_time.clone()),
            (
                Quantity::ArrivalJitter,
                beyond(found.other_jitter_s, &found.dead_time).into(),
            ),
        ],
        Err(refused) => [
            Quantity::UpdatePeriod,
            Quantity::DeadTime,
            Quantity::ArrivalJitter,
        ]
        .map(|q| (q, refused.clone())),
    });
    let n = fit.per_repeat_s.iter().flatten().count();
    let group = if groups.len() > 1 { ALL } else { "" };
    list.into_iter()
        .map(|(quantity, result)| overall(quantity, group, conditions, n, result))
        .collect()
}

/// Name of that contribution in the budget of a latency.
const SHAPE: &str = "shape of the rise";

/// The delay that a share of the repeats falls short of.
fn share(fit: &LatencyFit, q: f64) -> Outcome {
    let Some(latency) = fit.latency.estimate() else {
        return fit.latency.clone();
    };
    let delays: Vec<f64> = fit.per_repeat_s.iter().flatten().copied().collect();
    // Scatter is what the draws show; sensor, clock and shape move all delays alike.
    let others: Vec<Contribution> = latency
        .budget
        .iter()
        .filter(|c| c.source != "scatter of repeats" && !c.source.starts_with("spread between"))
        .cloned()
        .collect();
    let method = format!("{:.0} % quantile of the fitted delays", 100.0 * q);
    bootstrap(
        &delays,
        |delays| quantile(delays, q),
        "s",
        &method,
        FEWEST,
        DRAWS,
        SEED,
        others,
    )
    .map(|e| e.with_checks(latency.checks.iter().cloned()))
    .into()
}

/// Scatter about the comb, with the uncertainty of a standard deviation of that many values. What the shape of the rise may shift
/// the delays of one size of step by is no scatter of the unit, but stands in it, anew in every run.
fn beyond(scatter_s: f64, dead_time: &Outcome) -> Result<Estimate, Refusal> {
    let (n, checks) = dead_time
        .estimate()
        .map_or((0, Vec::new()), |e| (e.n, e.checks.clone()));
    let dof = (n as f64 - 2.0).max(1.0);
    let mut budget = vec![Contribution::type_a(
        "scatter of repeats",
        scatter_s / (2.0 * dof).sqrt(),
        dof,
    )];
    let shape = dead_time.estimate().map_or(&[][..], |e| &e.budget);
    budget.extend(shape.iter().filter(|c| c.source == SHAPE).cloned());
    let method = "standard deviation of the arrivals about their comb";
    Ok(Estimate::from_budget(scatter_s, "s", n, method, budget)?.with_checks(checks))
}
