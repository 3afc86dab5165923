//! Small steps and small sines on preloads, and torque that is held.

use std::collections::BTreeMap;
use std::ops::Range;

use truerim_analysis::estimate::{Estimate, Outcome};
use truerim_analysis::small::{SineRecord, Trial, TrialOptions, grain, sine, told};

use super::cut::age_ticks;
use super::document::{Conditions, Measurand, Quantity};
use super::driver_curves::{GrainCurve, PreloadCurve, ResolutionCurve};
use super::groups::{in_group, refused, temperature_of};
use super::reading::plain;
use super::{FittingError, Source};
use crate::recording::{Recording, SegmentRow};

/// Part of a hold that is read, at its end: before a step, and behind it once ringing has died away.
const READ: f64 = 0.5;
/// Part of a held level that is left to settle.
const SETTLES: f64 = 0.4;
/// Shortest hold, s, and slowest sampling, Hz, that tell grain.
const LEAST_HOLD_S: f64 = 1.0;
const LEAST_RATE_HZ: f64 = 1000.0;
/// Longest hold that is looked at for grain, s: longer ones are for warming.
const MOST_HOLD_S: f64 = 30.0;
/// Distance of a command in force from the planned one, in counts of its converter: rounding on both sides, and a little.
const COUNTS: f64 = 1.5;

fn micro(nm: f64) -> i64 {
    (nm * 1e6).round() as i64
}

/// All results and their curves; nothing for a recording without any.
pub(crate) fn of(
    source: &Source<'_>,
    base: &Conditions,
) -> Result<(Vec<Measurand>, Option<ResolutionCurve>), FittingError> {
    let mut curve = ResolutionCurve::default();
    let mut results = increments(source, base, &mut curve)?;
    results.extend(sines(source, base)?);
    results.extend(held(source, base, &mut curve)?);
    let any = !results.is_empty();
    Ok((results, any.then_some(curve)))
}

fn excitations<'a>(recording: &'a Recording, kind: &str) -> Vec<&'a SegmentRow> {
    let is = |row: &&SegmentRow| row.excitation == kind && row.is_excitation();
    recording.segments().iter().filter(is).collect()
}

/// Rows in groups that belong together, in order of a key.
fn grouped<K: Ord>(rows: Vec<&SegmentRow>, key: impl Fn(&SegmentRow) -> K) -> BTreeMap<K, Vec<&SegmentRow>> {
    let mut groups: BTreeMap<K, Vec<&SegmentRow>> = BTreeMap::new();
    for row in rows {
        groups.entry(key(row)).or_default().push(row);
    }
    groups
}

/// Mean of a channel between two ticks, and the rows.
fn mean(
    recording: &Recording,
    channel: &str,
    [from, to]: [u64; 2],
) -> Result<Option<(f64, Range<usize>)>, FittingError> {
    let range = recording.rows_between(from, to)?;
    let values = recording.values(channel, range.clone())?;
    Ok(values.mean().map(|mean| (mean, range)))
}

fn increments(
    source: &Source<'_>,
    base: &Conditions,
    curve: &mut ResolutionCurve,
) -> Result<Vec<Measurand>, FittingError> {
    let recording = source.recording;
    let groups = grouped(excitations(recording, "increment"), |row| micro(row.preload_nm));
    let middle = groups.keys().nth(groups.len() / 2).copied();
    let off_nm = COUNTS * recording.channel("setpoint")?.scale.abs();
    let mut results = Vec::new();
    for (preload, rows) in groups {
        let preload_nm = preload as f64 * 1e-6;
        let away = if preload_nm < 0.0 { -1.0 } else { 1.0 };
        let (mut trials, mut stretches, mut largest_nm) = (Vec::new(), Vec::new(), 0.0_f64);
        let (mut off_plan, mut read_s) = (0.0_f64, 0.0);
        for row in rows {
            let read = ((row.end_tick - row.start_tick) as f64 * READ) as u64;
            read_s = read as f64 * recording.header().tick_s;
            let before = [row.start_tick.saturating_sub(read), row.start_tick];
            let behind = [row.end_tick - read, row.end_tick];
            let both = (
                mean(recording, "torque", before)?,
                mean(recording, "torque", behind)?,
            );
            let (Some((first, rows)), Some((last, _))) = both else {
                continue;
            };
            for (span, planned) in [(before, row.from_nm), (behind, row.to_nm)] {
                if let Some((command, _)) = mean(recording, "setpoint", span)? {
                    off_plan = off_plan.max((command - planned).abs());
                }
            }
            stretches.push(rows);
            largest_nm = largest_nm.max(row.amplitude_nm.abs());
            trials.push(Trial {
                size_nm: away * row.amplitude_nm,
                change_nm: away * (last - first),
            });
        }
        let conditions = Conditions {
            amplitude_nm: Some(largest_nm),
            preload_nm: Some(preload_nm),
            temperature: temperature_of(recording, &stretches)?,
            n: trials.len(),
            ..base.clone()
        };
        let name = format!("on {} N·m", plain(preload_nm, 3));
        let headline = middle == Some(preload);
        let options = TrialOptions {
            gain_rel_u: source.sensor.gain_rel_u,
            ..TrialOptions::default()
        };
        let found = if off_plan > off_nm {
            let message = format!(
                "the command in force was up to {off_plan:.4} N·m from the planned one; check limits and slew in the rig \
                 description, then record again"
            );
            Err(refused("clipped_setpoint", message))
        } else {
            told(&trials, &options).map_err(Outcome::from)
        };
        let outcomes = match found {
            Ok(found) => {
                curve.preloads.push(PreloadCurve {
                    preload_nm,
                    size_nm: found.sizes.iter().map(|s| s[0]).collect(),
                    change_nm: found.sizes.iter().map(|s| s[1]).collect(),
                    sd_nm: found.sizes.iter().map(|s| s[2]).collect(),
                    needed_nm: found.needed_nm,
                });
                let over = |outcome| averaged(outcome, read_s);
                [
                    over(found.up),
                    over(found.down),
                    over(found.share_up),
                    over(found.share_down),
                ]
            }
            Err(refusal) => [refusal.clone(), refusal.clone(), refusal.clone(), refusal],
        };
        if headline {
            curve.conditions = conditions.clone();
        }
        let asked = [
            Quantity::ResolutionUp,
            Quantity::ResolutionDown,
            Quantity::IncrementUp,
            Quantity::IncrementDown,
        ];
        let pairs = asked.into_iter().zip(outcomes);
        results.extend(pairs.map(|(q, outcome)| in_group(q, (&name, headline), &conditions, outcome)));
    }
    Ok(results)
}

/// Says over what time torque was averaged: what is told depends on it.
fn averaged(outcome: Outcome, read_s: f64) -> Outcome {
    match outcome {
        Outcome::Estimate(estimate) => Outcome::Estimate(Estimate {
            method: format!("{}; means over {} ms", estimate.method, plain(1e3 * read_s, 3)),
            ..estimate
        }),
        refused @ Outcome::Refused(_) => refused,
    }
}

fn sines(source: &Source<'_>, base: &Conditions) -> Result<Vec<Measurand>, FittingError> {
    let recording = source.recording;
    let header = recording.header();
    let key = |row: &SegmentRow| {
        (
            micro(row.amplitude_nm),
            micro(row.preload_nm),
            micro(row.f_start_hz),
        )
    };
    let mut results: Vec<Measurand> = Vec::new();
    for ((amplitude, preload, frequency), rows) in grouped(excitations(recording, "sine"), key) {
        let f_hz = frequency as f64 * 1e-6;
        let period = (1.0 / f_hz / header.tick_s).round() as u64;
        let (mut records, mut stretches) = (Vec::new(), Vec::new());
        for row in rows {
            let range = recording.rows_between(row.start_tick + period, row.end_tick - period)?;
            let held = ((f64::from(row.hold_us) * 1e-6 / header.tick_s).round() as u64).max(1);
            let first = recording.ticks(range.clone())?.first().copied();
            let age = first.map_or(0, |tick| age_ticks(tick, row, held));
            records.push(SineRecord {
                lead_s: (0.5 * held as f64 - age as f64) * header.tick_s,
                setpoint_nm: recording.values("setpoint", range.clone())?.to_vec(),
                torque_nm: recording.values("torque", range.clone())?.to_vec(),
            });
            stretches.push(range);
        }
        let conditions = Conditions {
            amplitude_nm: Some(amplitude as f64 * 1e-6),
            preload_nm: Some(preload as f64 * 1e-6),
            temperature: temperature_of(recording, &stretches)?,
            n: records.len(),
            ..base.clone()
        };
        let name = format!(
            "sine of {} on {} N·m, {} Hz",
            plain(amplitude as f64 * 1e-6, 3),
            plain(preload as f64 * 1e-6, 3),
            plain(f_hz, 3)
        );
        let headline = results.is_empty();
        let sensor = source.sensor;
        let found = sine(
            &records,
            (f_hz, header.sample_rate_hz()),
            [sensor.delay_s, sensor.delay_u_s],
            sensor.gain_rel_u,
        );
        let outcomes = match found {
            Ok(found) => [found.gain, found.delay],
            Err(refusal) => [refusal.clone().into(), refusal.into()],
        };
        let pairs = [Quantity::SineGain, Quantity::SineDelay]
            .into_iter()
            .zip(outcomes);
        results.extend(pairs.map(|(q, outcome)| in_group(q, (&name, headline), &conditions, outcome)));
    }
    Ok(results)
}

fn held(
    source: &Source<'_>,
    base: &Conditions,
    curve: &mut ResolutionCurve,
) -> Result<Vec<Measurand>, FittingError> {
    let recording = source.recording;
    let fs_hz = recording.header().sample_rate_hz();
    if fs_hz < LEAST_RATE_HZ {
        return Ok(Vec::new());
    }
    let tells = |row: &&SegmentRow| (LEAST_HOLD_S..=MOST_HOLD_S).contains(&row.duration_s);
    let rows: Vec<&SegmentRow> = excitations(recording, "hold").into_iter().filter(tells).collect();
    let groups = grouped(rows, |row| micro(row.to_nm));
    let largest = groups.keys().copied().max_by_key(|nm| nm.abs());
    let mut results = Vec::new();
    for (level, rows) in groups {
        let level_nm = level as f64 * 1e-6;
        let (mut holds, mut stretches) = (Vec::new(), Vec::new());
        for row in rows {
            let settled = ((row.end_tick - row.start_tick) as f64 * SETTLES) as u64;
            let range = recording.rows_between(row.start_tick + settled, row.end_tick)?;
            holds.push(recording.values("torque", range.clone())?.to_vec());
            stretches.push(range);
        }
        let conditions = Conditions {
            amplitude_nm: Some(0.0),
            preload_nm: Some(level_nm),
            temperature: temperature_of(recording, &stretches)?,
            n: holds.len(),
            ..base.clone()
        };
        let name = format!("held at {} N·m", plain(level_nm, 3));
        let stands = largest == Some(level);
        match grain(&holds, fs_hz, source.sensor.gain_rel_u) {
            Ok(found) => {
                let (f_hz, density) = thinned(&found.spectrum);
                curve.grain.push(GrainCurve {
                    level_nm,
                    f_hz,
                    density,
                });
                results.push(in_group(
                    Quantity::GrainRms,
                    (&name, stands),
                    &conditions,
                    found.rms,
                ));
                results.push(in_group(
                    Quantity::GrainPeak,
                    (&name, stands),
                    &conditions,
                    found.peak,
                ));
                for ([low, high], outcome) in found.bands {
                    let band = format!("{name}, {low} to {high} Hz");
                    results.push(in_group(
                        Quantity::GrainBand,
                        (&band, false),
                        &conditions,
                        outcome,
                    ));
                }
            }
            Err(refusal) => {
                results.push(in_group(
                    Quantity::GrainRms,
                    (&name, stands),
                    &conditions,
                    refusal.into(),
                ));
            }
        }
        if curve.preloads.is_empty() && stands {
            curve.conditions = conditions;
        }
    }
    Ok(results)
}

/// Frequencies a twenty-fourth of an octave apart at least; densities by power between them.
fn thinned(spectrum: &[(f64, f64)]) -> (Vec<f64>, Vec<f64>) {
    let (mut f, mut d) = (Vec::new(), Vec::new());
    let mut rest = spectrum;
    while let Some((first, _)) = rest.first().copied() {
        let end = rest
            .iter()
            .position(|p| p.0 > first * 2.0_f64.powf(1.0 / 24.0))
            .unwrap_or(rest.len())
            .max(1);
        let own = &rest[..end];
        let n = own.len() as f64;
        f.push(own.iter().map(|p| p.0).sum::<f64>() / n);
        d.push((own.iter().map(|p| p.1 * p.1).sum::<f64>() / n).sqrt());
        rest = &rest[end..];
    }
    (f, d)
}
