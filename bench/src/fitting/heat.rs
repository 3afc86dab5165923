//! Long holds: warming, what it takes from torque, and what can be held for good.

use truerim_analysis::estimate::Outcome;
use truerim_analysis::heat::{HeatRecord, Hold, derating, held, recovery, sustained, warming};
use truerim_analysis::statistics::median;

use super::document::{Conditions, Measurand, Quantity};
use super::driver_curves::HeatCurve;
use super::groups::{overall, temperature_of};
use super::{FittingError, Source};
use crate::recording::{Recording, SegmentRow};

/// Time under torque from which on holds are looked at, s.
const LEAST_S: f64 = 120.0;
/// Most stretches that the record is divided into, and the shortest, s.
const MOST: f64 = 1500.0;
const SHORTEST_S: f64 = 1.0;
/// Parts of a stretch in which the current is told by itself: a tenth of a second each in a record of some minutes.
const PARTS: usize = 20;
/// Rise that the sustained torque is stated for, K; its definition says so.
const RISE_K: f64 = 50.0;

const ASKED: [Quantity; 6] = [
    Quantity::TorqueHeld,
    Quantity::HeatFast,
    Quantity::HeatSlow,
    Quantity::SustainedTorque,
    Quantity::DeratingOnset,
    Quantity::HeatRecovery,
];

/// All results of long holds and their curve; nothing for a recording without any.
pub(crate) fn of(
    source: &Source<'_>,
    base: &Conditions,
) -> Result<(Vec<Measurand>, Option<HeatCurve>), FittingError> {
    let recording = source.recording;
    let is_hold =
        |row: &&SegmentRow| row.excitation == "hold" && row.is_excitation() && row.to_nm.abs() > 0.0;
    let rows: Vec<&SegmentRow> = recording.segments().iter().filter(is_hold).collect();
    if rows.iter().map(|row| row.duration_s).sum::<f64>() < LEAST_S {
        return Ok((Vec::new(), None));
    }
    let Some((record, start_tick)) = read(recording)? else {
        return Ok((Vec::new(), None));
    };
    let step = record.step_s / recording.header().tick_s;
    let place = |tick: u64| tick.saturating_sub(start_tick) as f64 / step;
    let all: Vec<Hold> = rows
        .iter()
        .map(|row| {
            // The first stretch wholly inside, and none that the end cuts.
            let (from, to) = (
                place(row.start_tick).ceil() as usize,
                place(row.end_tick).floor() as usize,
            );
            Hold {
                rows: from.min(record.square.len())
                    ..to.min(record.square.len()).max(from.min(record.square.len())),
                command_nm: row.to_nm,
            }
        })
        .collect();
    let holds = longest(&all);
    let command_nm = holds.first().map_or(0.0, |h| h.command_nm.abs());
    let whole = 0..recording.rows();
    let conditions = Conditions {
        amplitude_nm: Some(command_nm),
        preload_nm: Some(0.0),
        temperature: temperature_of(recording, std::slice::from_ref(&whole))?,
        n: holds.len(),
        ..base.clone()
    };
    let last_tick = rows.iter().map(|row| row.end_tick).max().unwrap_or(start_tick);
    let end_s = place(last_tick) * record.step_s;
    let found = warming(&record);
    let of_warming = |f: &dyn Fn(&truerim_analysis::heat::Warming) -> Outcome| match &found {
        Ok(found) => f(found),
        Err(refusal) => refusal.clone().into(),
    };
    let outcomes = [
        held(&record, &holds).into(),
        of_warming(&|w| w.fast.clone()),
        of_warming(&|w| w.slow.clone()),
        of_warming(&|w| sustained(&record, &holds, w, RISE_K).into()),
        derating(&record, &holds).into(),
        of_warming(&|w| recovery(&record, end_s, w.cold_degc).into()),
    ];
    let results = ASKED
        .into_iter()
        .zip(outcomes)
        .map(|(quantity, outcome): (Quantity, Outcome)| {
            let n = outcome.estimate().map_or(holds.len(), |e| e.n);
            overall(quantity, "", &conditions, n, outcome)
        });
    let t_s = (0..record.square.len()).map(|i| (i as f64 + 0.5) * record.step_s);
    let curve = HeatCurve {
        conditions: conditions.clone(),
        t_s: t_s.collect(),
        model_degc: found.as_ref().map(|w| w.model_degc.clone()).unwrap_or_default(),
        temperature_degc: record.temperature_degc.clone(),
        commanded_nm: record.command_nm.clone(),
        torque_nm: record.torque_nm.clone(),
    };
    Ok((results.collect(), Some(curve)))
}

/// The holds at the torque, either way, that was held longest in all.
fn longest(all: &[Hold]) -> Vec<Hold> {
    let micro = |nm: f64| (nm.abs() * 1e6).round() as i64;
    let mut times: std::collections::BTreeMap<i64, usize> = std::collections::BTreeMap::new();
    for hold in all {
        *times.entry(micro(hold.command_nm)).or_default() += hold.rows.len();
    }
    let most = times.iter().max_by_key(|(_, n)| **n).map(|(nm, _)| *nm);
    let own = all.iter().filter(|h| Some(micro(h.command_nm)) == most);
    own.cloned().collect()
}

/// Means over stretches from the first sample on, and its tick; `None` without a channel in °C or with a gap of a stretch.
fn read(recording: &Recording) -> Result<Option<(HeatRecord, u64)>, FittingError> {
    let header = recording.header();
    let Some(temperature) = header.channels.iter().find(|c| c.units == "degC") else {
        return Ok(None);
    };
    let current = header.channels.iter().find(|c| c.name == "current");
    let ends = |i: usize| recording.ticks(i..i + 1).map(|t| t.first().copied());
    let rows = recording.rows();
    let (Some(first), Some(last)) = (ends(0)?, ends(rows.saturating_sub(1))?) else {
        return Ok(None);
    };
    let duration_s = (last - first) as f64 * header.tick_s;
    let step_s = (duration_s / MOST).max(SHORTEST_S).ceil();
    let step = (step_s / header.tick_s).round() as u64;
    let mut record = HeatRecord {
        step_s,
        parts: PARTS,
        ..HeatRecord::default()
    };
    let mut from = first;
    let mut noise = Vec::new();
    while from + step <= last {
        let range = recording.rows_between(from, from + step)?;
        let mean = |name: &str| recording.values(name, range.clone()).map(|v| v.mean());
        let means = (mean(&temperature.name)?, mean("torque")?, mean("setpoint")?);
        let (Some(degc), Some(torque), Some(setpoint)) = means else {
            return Ok(None);
        };
        // The square of what flows; of what was asked for, where the rig does not tell.
        let name = current.map_or("setpoint", |c| c.name.as_str());
        let flows = recording.values(name, range.clone())?;
        let ticks = recording.ticks(range)?;
        if current.is_some() {
            noise.extend(mean_variance(&flows.to_vec()));
        }
        record.temperature_degc.push(degc);
        record.torque_nm.push(torque);
        record.command_nm.push(setpoint);
        let samples = ticks.iter().map(|t| (t - from) as f64 / step as f64).zip(flows);
        record.square.extend(mean_squares(samples));
        from += step;
    }
    record.current_u_a = median(&noise).map_or(0.0, f64::sqrt);
    Ok(Some((record, first)))
}

/// Variance of the mean of a part's current by its noise: half the mean square from one sample to the next, so that what flows may change.
fn mean_variance(flows: &[f64]) -> Option<f64> {
    let steps = flows.windows(2).map(|w| 0.5 * (w[1] - w[0]).powi(2));
    let n = flows.len();
    (n > 1).then(|| steps.sum::<f64>() / (n - 1) as f64 / (n as f64 / PARTS as f64).max(1.0))
}

/// Mean squares by parts of a stretch, of values at places 0 to 1 in it; a part without any flows as the one before, the first ones as
/// the first that has.
fn mean_squares(samples: impl Iterator<Item = (f64, f64)>) -> [f64; PARTS] {
    let mut sums = [(0.0, 0_u32); PARTS];
    for (place, value) in samples {
        let sum = &mut sums[((place * PARTS as f64) as usize).min(PARTS - 1)];
        *sum = (sum.0 + value * value, sum.1 + 1);
    }
    let mean = |(sum, n): (f64, u32)| (n > 0).then(|| sum / f64::from(n));
    let mut last = sums.iter().find_map(|s| mean(*s)).unwrap_or(0.0);
    sums.map(|s| {
        last = mean(s).unwrap_or(last);
        last
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_part_without_samples_flows_as_the_one_before() {
        let found = mean_squares([(0.12, 1.0), (0.13, 3.0), (0.5, 2.0), (1.0, 4.0)].into_iter());
        let steps: Vec<f64> = found.to_vec();
        assert!(steps[..10].iter().all(|s| (s - 5.0).abs() < 1e-12), "{steps:?}");
        assert!(steps[10..19].iter().all(|s| (s - 4.0).abs() < 1e-12), "{steps:?}");
        assert!((steps[19] - 16.0).abs() < 1e-12, "{steps:?}");
    }

    #[test]
    fn noise_of_the_current_is_told_from_its_course() {
        // 200 values that rise by 1 in all, ±0.1 in turn: 0.04/2 from one to the next; a part has ten.
        let flows: Vec<f64> = (0..200)
            .map(|i| f64::from(i) / 200.0 + if i % 2 == 0 { 0.1 } else { -0.1 })
            .collect();
        let found = mean_variance(&flows).unwrap_or(f64::NAN);
        assert!((found / 0.002 - 1.0).abs() < 0.01, "{found}");
        assert_eq!(mean_variance(&[1.0]), None);
    }

    #[test]
    fn the_torque_held_longest_in_all_stands_for_all() {
        let hold = |rows: std::ops::Range<usize>, command_nm: f64| Hold { rows, command_nm };
        let all = [
            hold(0..10, 3.0),
            hold(12..40, 1.0),
            hold(40..52, -3.0),
            hold(60..69, 3.0),
        ];
        let found = longest(&all);
        assert_eq!(
            found.iter().map(|h| h.command_nm).collect::<Vec<_>>(),
            [3.0, -3.0, 3.0]
        );
    }
}
