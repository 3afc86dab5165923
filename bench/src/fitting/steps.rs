//! Results from steps.

use ndarray::ArrayView1;
use truerim_analysis::estimate::{Check, Contribution, Estimate, Outcome, Refusal};
use truerim_analysis::latency::{LatencyFit, LatencyGroups, LatencyOptions, LatencyRecords};
use truerim_analysis::statistics::mean_sd;
use truerim_analysis::step::{
    StepMeasures, StepOptions, StepRecord, SummaryOptions, between_samples, filtered_again, measure_step,
    summarise_steps,
};

use super::FittingError;
use super::cut::{Cut, Samples};
use super::document::{Conditions, LatencyCurve, Measurand, Quantity};
use super::gather::declared;
use super::groups::{Group, overall, refused, with_checks};
use super::sensor::SensorTerms;
use crate::recording::Recording;

/// What one group of steps gives.
pub(crate) struct StepResults {
    pub(crate) measurands: Vec<Measurand>,
    /// Of the repeats that could be measured.
    pub(crate) measures: Vec<StepMeasures>,
    pub(crate) latency: LatencyFit,
}

/// Quantities that each group of steps has.
const QUANTITIES: [Quantity; 10] = [
    Quantity::Latency,
    Quantity::LatencyJitter,
    Quantity::TransitionDuration,
    Quantity::RiseToHalf,
    Quantity::SlewLargest,
    Quantity::SlewSustained,
    Quantity::Overshoot,
    Quantity::Undershoot,
    Quantity::SettlingTime,
    Quantity::SteadyGain,
];

/// Refusals in place of the headline results when there is no step at all.
pub(crate) fn absent(conditions: &Conditions, reason: &str) -> Vec<Measurand> {
    QUANTITIES
        .into_iter()
        .filter(|q| !q.is_detail())
        .map(|q| super::groups::absent(q, conditions.clone(), refused("no_steps", reason)))
        .collect()
}

/// Name of all groups of steps together.
pub(crate) const ALL: &str = "all steps";

/// Delays of all groups from one fit; the steps are read one at a time.
pub(crate) fn latencies(
    recording: &Recording,
    groups: &[Group<'_>],
    options: &LatencyOptions,
) -> Result<LatencyGroups, FittingError> {
    let mut records = LatencyRecords::new(options.clone());
    for group in groups {
        records.next_group();
        for cut in &group.cuts {
            records.push(&record(cut, &cut.samples(recording)?));
        }
    }
    Ok(records.fit())
}

fn record<'s>(cut: &Cut, samples: &'s Samples) -> StepRecord<'s> {
    StepRecord {
        t_s: samples.t_s.view(),
        torque_nm: samples.torque_nm.view(),
        from_nm: cut.row.from_nm,
        to_nm: cut.row.to_nm,
    }
}

/// Headline latency and jitter: over all steps, whatever their size, since the delay is one and the same and its mean is
/// known the better the more repeats there are. `conditions` are those that all groups share.
pub(crate) fn over_all(groups: &[Group<'_>], fit: &LatencyFit, conditions: &Conditions) -> Vec<Measurand> {
    let count: usize = groups.iter().map(|g| g.cuts.len()).sum();
    let n = fit.per_repeat_s.iter().flatten().count();
    let reason = fit.left_out.first().map(|(_, reason)| reason.clone());
    let check = left_out_check(fit.left_out.len(), count, reason);
    // Without any repeat as planned, the first group's reason is that of all.
    let instead = groups.first().and_then(Group::refusal).filter(|_| count == 0);
    let row = |quantity: Quantity, outcome: &Outcome| {
        let result = instead
            .clone()
            .unwrap_or_else(|| with_checks(outcome.clone(), check.clone()));
        overall(quantity, ALL, conditions, n, result)
    };
    vec![
        row(Quantity::Latency, &fit.latency),
        row(Quantity::LatencyJitter, &fit.jitter),
    ]
}

/// Latency of each repeat of all groups in order of playing.
pub(crate) fn latency_curve(
    groups: &[Group<'_>],
    fit: &LatencyFit,
    conditions: &Conditions,
    update_period_s: Option<f64>,
) -> Option<LatencyCurve> {
    let cuts = groups.iter().flat_map(|g| g.cuts.iter().copied());
    let mut delays: Vec<(u64, Option<f64>)> = cuts
        .zip(&fit.per_repeat_s)
        .map(|(cut, delay)| (cut.row.start_tick, delay.and_then(declared)))
        .collect();
    delays.sort_by_key(|(tick, _)| *tick);
    let per_repeat_s: Vec<Option<f64>> = delays.into_iter().map(|(_, delay)| delay).collect();
    let n = per_repeat_s.iter().flatten().count();
    let group = match groups {
        [only] => only.name.clone(),
        _ => ALL.into(),
    };
    (n > 0).then(|| LatencyCurve {
        group,
        conditions: Conditions {
            n,
            ..conditions.clone()
        },
        per_repeat_s,
        update_period_s,
    })
}

/// Measures the steps of a group, one at a time. `latency` is the group's part of the fit of all; `alone` says that there
/// are no other groups, so that it stands for its latency itself.
pub(crate) fn measure(
    recording: &Recording,
    group: &Group<'_>,
    sensor: &SensorTerms,
    step_options: &StepOptions,
    latency: LatencyFit,
    alone: bool,
) -> Result<StepResults, FittingError> {
    let (mut measures, mut again) = (Vec::new(), Vec::new());
    let fs_hz = recording.header().sample_rate_hz();
    let mut rises = Vec::new();
    let mut failed: Vec<Refusal> = Vec::new();
    for (i, cut) in group.cuts.iter().enumerate() {
        let mut samples = cut.samples(recording)?;
        // Shapes are read with the sensor's delay taken out, the delay itself is fitted with it told.
        samples.t_s -= sensor.delay_s;
        match measure_step(&record(cut, &samples), step_options) {
            Ok(found) => {
                let delay_s = latency.per_repeat_s.get(i).copied().flatten();
                rises.extend(delay_s.map(|delay_s| found.t50_s - delay_s));
                measures.push(found);
                let torque_nm = filtered_again(&samples.torque_nm.to_vec(), 1.0 / fs_hz, sensor.delay_s);
                let filtered = StepRecord {
                    torque_nm: ArrayView1::from(&torque_nm),
                    ..record(cut, &samples)
                };
                again.extend(measure_step(&filtered, step_options).ok());
            }
            Err(refusal) => failed.push(refusal),
        }
    }
    let options = SummaryOptions {
        gain_rel_u: sensor.gain_rel_u,
        zero_u_nm: sensor.zero_u_nm,
        tick_s: sensor.tick_s,
        min_repeats: 2,
    };
    let summary = summarise_steps(&measures, &again, &options);
    let left_out = left_out_check(
        failed.len(),
        group.cuts.len(),
        failed.first().map(ToString::to_string),
    );
    let shape = |outcome: Outcome| match (failed.first(), measures.is_empty()) {
        // When no step could be measured, why matters more than how many are missing.
        (Some(refusal), true) => Outcome::from(refusal.clone()),
        _ => with_checks(outcome, left_out.clone()),
    };
    let latency_left_out = left_out_check(
        latency.left_out.len(),
        group.cuts.len(),
        latency.left_out.first().map(|(_, reason)| reason.clone()),
    );
    let used = latency.per_repeat_s.iter().flatten().count();
    let n = measures.len();
    let results = [
        (
            used,
            with_checks(latency.latency.clone(), latency_left_out.clone()),
        ),
        (used, with_checks(latency.jitter.clone(), latency_left_out)),
        (n, shape(summary.transition)),
        (
            rises.len(),
            shape(rise_to_half(&rises, &measures, &latency).into()),
        ),
        (n, shape(summary.steepest)),
        (n, shape(summary.sustained)),
        (n, shape(summary.overshoot)),
        (n, shape(summary.undershoot)),
        (n, shape(with_sensor_delay(summary.settling, sensor))),
        (n, shape(steady_gain(&measures, sensor).into())),
    ];
    let measurands = QUANTITIES
        .into_iter()
        .zip(results)
        .map(|(quantity, (n, result))| {
            let result = group.refusal().unwrap_or(result);
            match quantity {
                Quantity::Latency | Quantity::LatencyJitter => group.beside_all(quantity, n, result, alone),
                _ => group.measurand(quantity, n, result),
            }
        })
        .collect();
    Ok(StepResults {
        measurands,
        measures,
        latency,
    })
}

/// From onset to half of the step: what is wrong with the shape of the rise is wrong with the onset, hence with this.
fn rise_to_half(
    rises_s: &[f64],
    measures: &[StepMeasures],
    latency: &LatencyFit,
) -> Result<Estimate, Refusal> {
    if rises_s.len() < 2 {
        return Err(Refusal::TooFewRepeats {
            what: "rise from onset to half (repeats with a delay of their own)".into(),
            got: rises_s.len(),
            needed: 2,
        });
    }
    let stats = mean_sd(rises_s)?;
    let sample_s = measures.iter().map(|m| m.sample_s).fold(0.0, f64::max);
    let mut budget = vec![
        Contribution::of_mean("scatter of repeats", &stats),
        between_samples(sample_s),
    ];
    // What the onset leaves open; the rest is in the scatter, or the same for both instants.
    let apart = ["scatter of repeats", SensorTerms::DELAY, "clock resolution"];
    let of_onset = latency.latency.estimate().into_iter().flat_map(|e| &e.budget);
    budget.extend(of_onset.filter(|c| !apart.contains(&c.source.as_str())).cloned());
    let method = "mean over repeats of the first passage of 50 % less the fitted delay";
    Estimate::from_budget(stats.mean, "s", stats.n, method, budget)
}

/// Torque reached over torque commanded: mean over repeats, with the sensor's gain as the common part.
fn steady_gain(measures: &[StepMeasures], sensor: &SensorTerms) -> Result<Estimate, Refusal> {
    let gains: Vec<f64> = measures
        .iter()
        .map(|m| m.amplitude_nm / m.commanded_nm.abs())
        .collect();
    if gains.len() < 2 {
        return Err(Refusal::TooFewRepeats {
            what: "steady gain".into(),
            got: gains.len(),
            needed: 2,
        });
    }
    let stats = mean_sd(&gains)?;
    let budget = vec![
        Contribution::of_mean("scatter of repeats", &stats),
        Contribution::type_b("torque gain", sensor.gain_rel_u * stats.mean.abs()),
    ];
    let method = "mean over repeats of the settled change of torque over the commanded change";
    Estimate::from_budget(stats.mean, "1", stats.n, method, budget)
}

/// The settling time counts from the setpoint, so the sensor's delay enters it.
fn with_sensor_delay(outcome: Outcome, sensor: &SensorTerms) -> Outcome {
    let Outcome::Estimate(estimate) = outcome else {
        return outcome;
    };
    let delay = Contribution::type_b(SensorTerms::DELAY, sensor.delay_u_s);
    estimate.with_contribution(delay).into()
}

/// Says how many repeats were not used, if any; more than a tenth fails.
fn left_out_check(left_out: usize, all: usize, reason: Option<String>) -> Option<Check> {
    let reason = reason?;
    (left_out > 0).then(|| {
        let detail = format!("{left_out} of {all}, at most a tenth; the first: {reason}");
        Check::new("repeats left out", 10 * left_out <= all, detail)
    })
}
