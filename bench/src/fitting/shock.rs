//! Half-sine pulses: shares by width, height, direction and preload, and trains of them.

#![allow(clippy::result_large_err)] // once a group of pulses, of which there are dozens

use std::collections::BTreeMap;

use truerim_analysis::estimate::{Outcome, Refusal};
use truerim_analysis::shock::{PulseRecord, PulseTerms, TrainRecord, shock, trains};

use super::document::{Conditions, Measurand, Quantity};
use super::driver_curves::{ShockCurve, ShockLine, TrainCurve};
use super::groups::{in_group, refused, temperature_of};
use super::reading::plain;
use super::{FittingError, Source};
use crate::recording::{Recording, SegmentRow};

/// Kept before a pulse, s: what the plan rests there at least is 20 ms, of which a ramp's ringing may take a part.
const BEFORE_S: f64 = 0.015;
/// Kept behind the last setpoint of a pulse, s; as long as the plan waits there.
const BEHIND_S: f64 = 0.1;
/// The width nearest this stands for all, s.
const TYPICAL_S: f64 = 0.015;
/// How far the greatest setpoint may fall short of the crest, as a share of it: it is sampled, and held.
const MISSING: f64 = 0.05;

const ASKED: [Quantity; 4] = [
    Quantity::ShockRetention,
    Quantity::ShockDelay,
    Quantity::ShockWidth,
    Quantity::ShockAfter,
];

/// Pulses of one train, or one alone.
type Train<'a> = Vec<&'a SegmentRow>;

/// What pulses that are read together share: preload, crest (µN·m), width, spacing (µs), number in a train.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Key {
    preload: i64,
    crest: i64,
    width: i64,
    spacing: i64,
    count: usize,
}

/// All results of half-sines and their curves; nothing for a recording without any.
pub(crate) fn of(
    source: &Source<'_>,
    base: &Conditions,
) -> Result<(Vec<Measurand>, Option<ShockCurve>), FittingError> {
    let recording = source.recording;
    let is_pulse = |row: &&SegmentRow| row.excitation == "half-sine" && row.is_excitation();
    let rows: Vec<&SegmentRow> = recording.segments().iter().filter(is_pulse).collect();
    let mut all: BTreeMap<(u32, u32), Train<'_>> = BTreeMap::new();
    for row in rows {
        all.entry((row.segment, row.repeat)).or_default().push(row);
    }
    let mut groups: BTreeMap<Key, Vec<Train<'_>>> = BTreeMap::new();
    for train in all.into_values() {
        let one_way = train
            .iter()
            .all(|row| row.amplitude_nm * train[0].amplitude_nm > 0.0);
        // What becomes of pulses to and fro is their swing either way, which those one way tell.
        if one_way {
            groups.entry(key(recording, &train)).or_default().push(train);
        }
    }
    let (alone, in_trains): (Vec<_>, Vec<_>) = groups.into_iter().partition(|(key, _)| key.count == 1);
    let mut curve = ShockCurve::default();
    let mut results = singles(source, base, alone, &mut curve)?;
    results.extend(of_trains(source, base, in_trains, &mut curve)?);
    let any = !results.is_empty();
    Ok((results, any.then_some(curve)))
}

fn key(recording: &Recording, train: &[&SegmentRow]) -> Key {
    let tick_us = recording.header().tick_s * 1e6;
    let us = |ticks: u64| (ticks as f64 * tick_us).round() as i64;
    let first = train[0];
    let spacing = train
        .get(1)
        .map_or(0, |next| us(next.start_tick.saturating_sub(first.start_tick)));
    Key {
        preload: (first.preload_nm * 1e6).round() as i64,
        crest: (first.amplitude_nm * 1e6).round() as i64,
        width: us(first.end_tick - first.start_tick),
        spacing,
        count: train.len(),
    }
}

fn words(key: &Key) -> String {
    let pulse = format!(
        "{} ms, {} on {} N·m",
        plain(key.width as f64 / 1e3, 3),
        plain(key.crest as f64 / 1e6, 3),
        plain(key.preload as f64 / 1e6, 3)
    );
    match key.count {
        1 => pulse,
        n => format!("{n} of {pulse}, every {} ms", plain(key.spacing as f64 / 1e3, 3)),
    }
}

/// What is read of one group: its records with what they share, or why there are none.
struct Read {
    conditions: Conditions,
    records: Result<(PulseTerms, Vec<PulseRecord>), Outcome>,
}

fn read(
    source: &Source<'_>,
    base: &Conditions,
    key: &Key,
    group: &[Train<'_>],
) -> Result<Read, FittingError> {
    let recording = source.recording;
    let header = recording.header();
    let (tick_s, period) = (header.tick_s, u64::from(header.sample_period_ticks));
    let in_ticks = |s: f64| (s / tick_s).round() as u64;
    let mut records = Ok(Vec::new());
    let mut stretches = Vec::new();
    for train in group {
        let (Some(first), Some(last)) = (train.first(), train.last()) else {
            continue;
        };
        let from = first.start_tick.saturating_sub(in_ticks(BEFORE_S));
        let range = recording.rows_between(from, last.end_tick + in_ticks(BEHIND_S))?;
        stretches.push(range.clone());
        let ticks = recording.ticks(range.clone())?;
        let whole = (1..ticks.len()).all(|i| ticks[i] - ticks[i - 1] == period);
        let torque = recording.values("torque", range.clone())?.to_vec();
        let setpoint = recording.values("setpoint", range)?;
        let top = setpoint
            .iter()
            .map(|nm| (nm - first.preload_nm) * first.amplitude_nm.signum())
            .fold(0.0, f64::max);
        // A crest that is seen between two samples looks lower than it is.
        let seen_s = 0.5 * (1.0 / header.sample_rate_hz() + f64::from(first.hold_us) * 1e-6);
        let missing = MISSING + 0.5 * (std::f64::consts::PI * seen_s / first.duration_s).powi(2);
        let saturated = torque.iter().copied().find(|t| t.abs() >= source.sensor.end_nm);
        let problem = if !whole || ticks.is_empty() {
            Some(refused(
                "samples_missing",
                format!("samples of repeat {} are missing; record again", first.repeat + 1),
            ))
        } else if top < (1.0 - missing) * first.amplitude_nm.abs() {
            Some(refused(
                "clipped_setpoint",
                format!(
                    "the setpoint in force reaches {top:.3} N·m beyond the preload, {:.3} N·m were planned; check limits and \
                     slew in the rig description, then record again",
                    first.amplitude_nm.abs()
                ),
            ))
        } else {
            saturated.map(|value_nm| {
                let refusal = Refusal::Saturated {
                    what: "the torque sensor".into(),
                    value_nm,
                    limit_nm: source.sensor.end_nm,
                };
                refusal.into()
            })
        };
        if let (Some(problem), Ok(_)) = (problem, &records) {
            records = Err(problem);
        }
        if let (Ok(list), Some(tick)) = (&mut records, ticks.first()) {
            let before = first.start_tick as f64 - *tick as f64;
            list.push(PulseRecord {
                first_s: -before * tick_s,
                torque_nm: torque,
            });
        }
    }
    let sensor = source.sensor;
    let held_s = group
        .first()
        .and_then(|t| t.first())
        .map_or(0.0, |r| f64::from(r.hold_us) * 1e-6);
    let terms = PulseTerms {
        fs_hz: header.sample_rate_hz(),
        amplitude_nm: key.crest as f64 / 1e6,
        width_s: key.width as f64 / 1e6,
        held_s,
        sensor_delay_s: [sensor.delay_s, sensor.delay_u_s],
        gain_rel_u: sensor.gain_rel_u,
    };
    let conditions = Conditions {
        amplitude_nm: Some(terms.amplitude_nm),
        preload_nm: Some(key.preload as f64 / 1e6),
        temperature: temperature_of(recording, &stretches)?,
        n: group.len(),
        ..base.clone()
    };
    Ok(Read {
        conditions,
        records: records.map(|list| (terms, list)),
    })
}

fn singles(
    source: &Source<'_>,
    base: &Conditions,
    groups: Vec<(Key, Vec<Train<'_>>)>,
    curve: &mut ShockCurve,
) -> Result<Vec<Measurand>, FittingError> {
    let far = |key: &Key| (key.width as f64 * 1e-6 / TYPICAL_S).ln().abs();
    let rank = |key: &Key| (key.preload == 0, key.crest < 0);
    let stands = groups
        .iter()
        .map(|(key, _)| *key)
        .min_by(|a, b| rank(a).cmp(&rank(b)).then(far(a).total_cmp(&far(b))));
    let mut results = Vec::new();
    for (key, group) in groups {
        let headline = stands == Some(key);
        let name = words(&key);
        let read = read(source, base, &key, &group)?;
        let found = read
            .records
            .and_then(|(terms, records)| shock(&records, &terms).map_err(Outcome::from));
        let outcomes = match found {
            Ok(found) => {
                if let Some(share) = found.retention.estimate() {
                    let value = [share.interval[0], share.value, share.interval[1]];
                    add_point(curve, &key, value);
                }
                [found.retention, found.delay, found.width, found.after]
            }
            Err(refusal) => [refusal.clone(), refusal.clone(), refusal.clone(), refusal],
        };
        if headline {
            curve.conditions = read.conditions.clone();
        }
        let pairs = ASKED.into_iter().zip(outcomes);
        results.extend(pairs.map(|(q, outcome)| in_group(q, (&name, headline), &read.conditions, outcome)));
    }
    for line in &mut curve.lines {
        let mut points: Vec<(f64, [f64; 3])> = line
            .width_s
            .iter()
            .copied()
            .zip(line.retention.iter().copied())
            .collect();
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        (line.width_s, line.retention) = points.into_iter().unzip();
    }
    Ok(results)
}

fn add_point(curve: &mut ShockCurve, key: &Key, value: [f64; 3]) {
    let (amplitude_nm, preload_nm) = (key.crest as f64 / 1e6, key.preload as f64 / 1e6);
    let same = |line: &ShockLine| {
        line.amplitude_nm.total_cmp(&amplitude_nm).is_eq() && line.preload_nm.total_cmp(&preload_nm).is_eq()
    };
    let at = match curve.lines.iter().position(same) {
        Some(at) => at,
        None => {
            curve.lines.push(ShockLine {
                amplitude_nm,
                preload_nm,
                ..ShockLine::default()
            });
            curve.lines.len() - 1
        }
    };
    curve.lines[at].width_s.push(key.width as f64 / 1e6);
    curve.lines[at].retention.push(value);
}

fn of_trains(
    source: &Source<'_>,
    base: &Conditions,
    groups: Vec<(Key, Vec<Train<'_>>)>,
    curve: &mut ShockCurve,
) -> Result<Vec<Measurand>, FittingError> {
    let stands = groups
        .iter()
        .map(|(key, _)| *key)
        .min_by_key(|key| (key.crest < 0, key.spacing));
    let mut results = Vec::new();
    for (key, group) in groups {
        let headline = stands == Some(key);
        let segment = group
            .first()
            .and_then(|t| t.first())
            .map_or(String::new(), |r| r.name.clone());
        // The speed that a spacing stands for is in the segment's name alone.
        let name = format!("{segment}: {}", words(&key));
        let read = read(source, base, &key, &group)?;
        let found = read.records.and_then(|(terms, records)| {
            let record = TrainRecord {
                count: key.count,
                spacing_s: key.spacing as f64 / 1e6,
                trains: records,
            };
            let found = trains(&record, &terms).map_err(Outcome::from)?;
            if headline {
                let t_s: Vec<f64> = (0..found.mean_nm.len()).map(|i| i as f64 / terms.fs_hz).collect();
                let command = |t: &f64| terms.amplitude_nm * record.command(terms.width_s, t - found.late_s);
                curve.train = Some(TrainCurve {
                    group: name.clone(),
                    spacing_s: record.spacing_s,
                    commanded_nm: t_s.iter().map(command).collect(),
                    arrived_nm: found.mean_nm.clone(),
                    late_s: found.late_s,
                    t_s,
                });
            }
            Ok(found)
        });
        let outcomes = match found {
            Ok(found) => [found.swing, found.left],
            Err(refusal) => [refusal.clone(), refusal],
        };
        if headline && curve.lines.is_empty() {
            curve.conditions = read.conditions.clone();
        }
        let pairs = [Quantity::TrainSwing, Quantity::TrainLeft]
            .into_iter()
            .zip(outcomes);
        results.extend(pairs.map(|(q, outcome)| in_group(q, (&name, headline), &read.conditions, outcome)));
    }
    Ok(results)
}
