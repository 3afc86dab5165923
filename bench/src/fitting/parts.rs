//! What a recording of a rig put together of parts says of its clocks: when its force-feedback device was given each level, and how far
//! setpoint and torque of a row may be apart in time.
//!
//! With one rig controller a setpoint comes into force at the tick that the plan has, and one clock stamps it and the torque: such a
//! recording has neither channel, and nothing in here changes anything.

use std::ops::Range;

use bench_core::rig::{CLOCK_BOUND, Rig, SETPOINT_AGE};
use ndarray::Array1;
use truerim_analysis::estimate::{Contribution, Outcome};

use super::document::{Measurand, Quantity};
use super::error::FittingError;
use super::sensor::SensorTerms;
use crate::recording::{Recording, SegmentRow};

/// Rows read at a time.
const BLOCK: usize = 65_536;
/// Latest that a level may come behind the tick that the plan has, s: later it is no lateness of the device's rate.
const LATEST_S: f64 = 0.05;
/// Names in budgets: what the clocks leave, and that the torque is read now and then.
const OTHERS: [&str; 2] = [
    "clocks of sensor and drive",
    "time between readings of the sensor",
];

/// The same for what they add to the scatter of delays.
const SCATTER: &str = "scatter by clocks and readings of the sensor";

/// Ticks at which the setpoints of rows came into force; `None` where it was when the plan says.
pub(super) fn given(
    recording: &Recording,
    rows: Range<usize>,
    ticks: &Array1<u64>,
) -> Result<Option<Vec<u64>>, FittingError> {
    if recording.header().channel_index(SETPOINT_AGE).is_none() {
        return Ok(None);
    }
    let tick_s = recording.header().tick_s;
    let ages_s = recording.values(SETPOINT_AGE, rows)?;
    let back = |age_s: &f64| (age_s / tick_s).round() as u64;
    let of_row = |(tick, age): (&u64, &f64)| tick.saturating_sub(back(age));
    Ok(Some(ticks.iter().zip(&ages_s).map(of_row).collect()))
}

/// The row of a step with the tick at which its level came into force.
pub(super) fn step(
    row: &SegmentRow,
    given: &[u64],
    moved: impl Fn(usize) -> bool,
    tick_s: f64,
) -> SegmentRow {
    let latest = row.start_tick + (LATEST_S / tick_s) as u64;
    let first = (0..given.len()).find(|i| moved(*i));
    let at = first.and_then(|i| given.get(i).copied());
    let mut row = row.clone();
    // A level that came sooner than planned is another one.
    if let Some(at) = at.filter(|at| (row.start_tick..latest).contains(at)) {
        row.start_tick = at;
    }
    row
}

/// Ticks between two levels, and how long one had been in force when the first row saw it: the medians. `None` where less than two
/// levels came.
pub(super) fn pace(given: &[u64], ticks: &Array1<u64>) -> Option<[u64; 2]> {
    let mut apart: Vec<u64> = Vec::new();
    let mut ages: Vec<u64> = Vec::new();
    for (i, pair) in given.windows(2).enumerate() {
        if pair[1] > pair[0] {
            apart.push(pair[1] - pair[0]);
            ages.push(ticks.get(i + 1)?.saturating_sub(pair[1]));
        }
    }
    let middle = |list: &mut Vec<u64>| {
        list.sort_unstable();
        list.get(list.len() / 2).copied()
    };
    Some([middle(&mut apart)?, middle(&mut ages)?])
}

/// Standard uncertainty of the time between setpoint and torque that the clocks leave, s: the largest bound of what was played, as a
/// rectangular distribution (JCGM 100:2008, 4.3.7). 0 where one clock stamps both.
pub(super) fn clock_uncertainty_s(recording: &Recording) -> Result<f64, FittingError> {
    if recording.header().channel_index(CLOCK_BOUND).is_none() {
        return Ok(0.0);
    }
    let played = || recording.segments().iter().filter(|row| row.is_excitation());
    let from = played().map(|row| row.start_tick).min();
    let to = played().map(|row| row.end_tick).max();
    let rows = match from.zip(to) {
        Some((from, to)) => recording.rows_between(from, to)?,
        None => 0..recording.rows(),
    };
    let channel = recording.channel(CLOCK_BOUND)?;
    let (last, scale) = (channel.raw_max, channel.scale);
    let mut most = 0;
    for start in rows.clone().step_by(BLOCK) {
        let raw = recording.raw(CLOCK_BOUND, start..(start + BLOCK).min(rows.end))?;
        // The last count says that the bound is not known: nothing was measured in the row either.
        most = raw
            .iter()
            .copied()
            .filter(|count| *count < last)
            .fold(most, i32::max);
    }
    Ok(f64::from(most) * scale / 3.0_f64.sqrt())
}

/// The same of a sensor that is read at a rate of its own, s: between two readings the torque is taken to lie on their line, so an
/// onset between them may lie half the time between them either way, evenly spread. 0 where the rig controller reads it for each row.
pub(super) fn readings_uncertainty_s(recording: &Recording) -> f64 {
    let files = &recording.header().files;
    let text = files
        .iter()
        .find(|(name, _)| name == "rig.toml")
        .map(|(_, text)| text);
    let rig = text.and_then(|text| Rig::from_toml("rig.toml", text).ok());
    let rate_hz = rig
        .and_then(|rig| rig.sense.declared())
        .map(|(rate_hz, _)| rate_hz);
    rate_hz.map_or(0.0, |rate_hz| 0.5 / rate_hz / 3.0_f64.sqrt())
}

/// Tells the sensor's own delay from clocks and readings, which the fits take together: the first is the same in every run with that
/// sensor, the others are not.
pub(super) fn tell_apart(measurands: &mut [Measurand], sensor: &SensorTerms) {
    let parts = [sensor.declared_delay_u_s, sensor.clock_u_s, sensor.readings_u_s];
    let shares = parts.map(|u_s| u_s / sensor.delay_u_s);
    if sensor.delay_u_s <= sensor.declared_delay_u_s || shares.iter().any(|share| !share.is_finite()) {
        return;
    }
    for measurand in measurands
        .iter_mut()
        .filter(|m| m.quantity != Quantity::SensorDelay)
    {
        if let Outcome::Estimate(estimate) = &mut measurand.result {
            estimate.budget = estimate
                .budget
                .drain(..)
                .flat_map(|line| split(line, shares))
                .collect();
        }
        let scatters = matches!(
            measurand.quantity,
            Quantity::LatencyJitter | Quantity::ArrivalJitter
        );
        if let (true, Outcome::Estimate(estimate)) = (scatters, &measurand.result) {
            let own_s = sensor.clock_u_s.hypot(sensor.readings_u_s);
            let part = Contribution::type_b(SCATTER, widened(estimate.value, own_s));
            measurand.result = estimate.clone().with_contribution(part).into();
        }
    }
}

/// By how much a scatter may be larger than the unit's own where placing each delay scatters by up to `own_s` itself: what is left
/// when that is taken out of it.
fn widened(scatter_s: f64, own_s: f64) -> f64 {
    scatter_s - (scatter_s * scatter_s - own_s * own_s).max(0.0).sqrt()
}

/// One line of a budget as it is, or as three whose squares add up to its own.
fn split(line: Contribution, [declared, clocks, readings]: [f64; 3]) -> Vec<Contribution> {
    let Some(rest) = line.source.strip_prefix(SensorTerms::DELAY) else {
        return vec![line];
    };
    let share = |source: String, share: f64| Contribution {
        source,
        std_uncertainty: share * line.std_uncertainty,
        ..line.clone()
    };
    let [of_clocks, of_readings] = OTHERS.map(|name| format!("{name}{rest}"));
    let mut lines = vec![
        share(line.source.clone(), declared),
        share(of_clocks, clocks),
        share(of_readings, readings),
    ];
    lines.retain(|line| line.std_uncertainty > 0.0);
    lines
}
