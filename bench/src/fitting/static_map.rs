//! Staircases on a clamped rim: the static map.

use truerim_analysis::estimate::{Check, Outcome};
use truerim_analysis::static_map::{MapOptions, Reading, StaticMap, fit_map};

use super::FittingError;
use super::document::{Conditions, Measurand, Quantity};
use super::driver_curves::StaticMapCurve;
use super::groups::{overall, refused, temperature_of, with_checks};
use super::sensor::SensorTerms;
use crate::recording::{Recording, SegmentRow};

/// Part of a dwell that is read, at its end.
const READ: f64 = 0.4;
/// Change of torque between the halves of what is read, as a share of the largest command, that still counts as settled.
const SETTLED: f64 = 0.002;
/// Distance of the command in force from the planned one that is no rounding, N·m.
const OFF_PLAN_NM: f64 = 0.005;

/// All results of staircases and their curve; nothing for a recording without any.
pub(crate) fn of(
    recording: &Recording,
    sensor: &SensorTerms,
    base: &Conditions,
) -> Result<(Vec<Measurand>, Option<StaticMapCurve>), FittingError> {
    let is_level = |row: &&SegmentRow| row.excitation == "staircase" && row.is_excitation();
    let rows: Vec<&SegmentRow> = recording.segments().iter().filter(is_level).collect();
    let Some(first) = rows.first() else {
        return Ok((Vec::new(), None));
    };
    // Staircases of other segments go elsewhere or stand at another time; the first stands for the map.
    let rows: Vec<&SegmentRow> = rows
        .iter()
        .filter(|row| row.segment == first.segment)
        .copied()
        .collect();
    let largest_nm = rows.iter().map(|row| row.preload_nm.abs()).fold(0.0, f64::max);
    let mut levels = Vec::with_capacity(rows.len());
    let (mut stretches, mut unsettled_nm, mut off_nm) = (Vec::new(), 0.0_f64, 0.0_f64);
    for row in rows {
        let read = ((row.end_tick - row.start_tick) as f64 * READ) as u64;
        let range = recording.rows_between(row.end_tick - read, row.end_tick)?;
        let torque = recording.values("torque", range.clone())?;
        let setpoint = recording.values("setpoint", range.clone())?;
        let (Some(torque_nm), Some(command_nm)) = (torque.mean(), setpoint.mean()) else {
            continue;
        };
        let (early, late) = torque.view().split_at(ndarray::Axis(0), torque.len() / 2);
        if let (Some(early), Some(late)) = (early.mean(), late.mean()) {
            unsettled_nm = unsettled_nm.max((late - early).abs());
        }
        off_nm = off_nm.max((command_nm - row.to_nm).abs());
        stretches.push(range);
        levels.push(Reading {
            // What was asked for: by a correction the setpoint is another.
            command_nm: row.preload_nm,
            torque_nm,
            rising: row.to_nm > row.from_nm,
            cycle: row.repeat as usize,
        });
    }
    let conditions = Conditions {
        amplitude_nm: Some(largest_nm),
        preload_nm: Some(0.0),
        temperature: temperature_of(recording, &stretches)?,
        n: levels
            .iter()
            .map(|l| l.cycle)
            .collect::<std::collections::BTreeSet<_>>()
            .len(),
        ..base.clone()
    };
    if off_nm > OFF_PLAN_NM {
        let message = format!(
            "the command in force was up to {off_nm:.3} N·m from the planned level; check limits and slew in the rig \
             description, then record again"
        );
        let result = refused("clipped_setpoint", message);
        return Ok((
            vec![overall(Quantity::StaticGain, "", &conditions, 0, result)],
            None,
        ));
    }
    let options = MapOptions {
        gain_rel_u: sensor.gain_rel_u,
        zero_u_nm: sensor.zero_u_nm,
        ..MapOptions::default()
    };
    let map = match fit_map(&levels, &options) {
        Ok(map) => map,
        Err(refusal) => {
            return Ok((
                vec![overall(Quantity::StaticGain, "", &conditions, 0, refusal.into())],
                None,
            ));
        }
    };
    let limit_nm = SETTLED * largest_nm;
    let settled = Check::new(
        "torque had settled",
        unsettled_nm <= limit_nm,
        format!("changed by {unsettled_nm:.4} N·m within the readings of a level, at most {limit_nm:.4} N·m"),
    );
    let curve = curve(&map, &conditions);
    let results = results(map)
        .into_iter()
        .map(|(quantity, result)| {
            let n = result.estimate().map_or(0, |e| e.n);
            overall(
                quantity,
                "",
                &conditions,
                n,
                with_checks(result, [settled.clone()]),
            )
        })
        .collect();
    Ok((results, Some(curve)))
}

fn results(map: StaticMap) -> Vec<(Quantity, Outcome)> {
    let [positive, negative] = map.largest;
    vec![
        (Quantity::StaticGain, map.gain),
        (Quantity::StaticOffset, map.offset),
        (Quantity::Deadband, map.deadband),
        (Quantity::StaticHysteresis, map.hysteresis),
        (Quantity::Linearity, map.independent),
        (Quantity::LinearityTerminal, map.terminal),
        (Quantity::LinearityZero, map.zero_based),
        (Quantity::Repeatability, map.repeatability),
        (Quantity::SaturationKnee, map.knee),
        (Quantity::TorquePositive, positive),
        (Quantity::TorqueNegative, negative),
    ]
}

fn curve(map: &StaticMap, conditions: &Conditions) -> StaticMapCurve {
    let mean = |x: &[f64]| (!x.is_empty()).then(|| x.iter().sum::<f64>() / x.len() as f64);
    let levels = &map.curve.levels;
    StaticMapCurve {
        conditions: conditions.clone(),
        command_nm: levels.iter().map(|l| l.command_nm).collect(),
        rising_nm: levels.iter().map(|l| mean(&l.rising_nm)).collect(),
        falling_nm: levels.iter().map(|l| mean(&l.falling_nm)).collect(),
        gain: map.gain.estimate().map(|e| e.value),
        offset_nm: map.offset.estimate().map(|e| e.value),
    }
}
