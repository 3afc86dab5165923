//! Steering traces: what of them arrives, segment by segment. The first one stands for the document.

use truerim_analysis::estimate::{Check, Outcome, Refusal};
use truerim_analysis::trace::{
    Aligned, LONGEST_S, Limit, Octaves, TraceRecords, align, clip, limit, octaves, shifted,
};

use super::document::{Conditions, Measurand, Quantity};
use super::driver_curves::TraceCurve;
use super::groups::{overall, refused, temperature_of, with_checks};
use super::sensor::SensorTerms;
use super::{FittingError, Source, peaks};
use crate::recording::{Recording, SegmentRow};

/// What every trace is asked for.
const ASKED: [Quantity; 8] = [
    Quantity::LimitContrast,
    Quantity::LimitDelay,
    Quantity::TraceDelay,
    Quantity::TraceError,
    Quantity::TracePeakError,
    Quantity::TraceGain,
    Quantity::TraceDistortion,
    Quantity::TraceClipped,
];
/// Most points of a curve.
const POINTS: usize = 1200;
/// Repeats from which on the first is left out: friction still holds what was before the segment, and later ones start from what
/// the trace itself left behind.
const FIRST_LEFT_OUT_FROM: usize = 4;
/// Share of the greatest command that may be missing from it: sampling, not clipping.
const MISSING: f64 = 0.02;

/// All results of traces, and the curve of the first; nothing for a recording without any.
pub(crate) fn of(
    source: &Source<'_>,
    base: &Conditions,
) -> Result<(Vec<Measurand>, Option<TraceCurve>), FittingError> {
    let rows: Vec<&SegmentRow> = source
        .recording
        .segments()
        .iter()
        .filter(|row| row.excitation == "trace" && row.is_excitation())
        .collect();
    let mut segments: Vec<u32> = rows.iter().map(|row| row.segment).collect();
    segments.dedup();
    let (mut results, mut shown) = (Vec::new(), None);
    for segment in segments {
        let own: Vec<&SegmentRow> = rows
            .iter()
            .copied()
            .filter(|row| row.segment == segment)
            .collect();
        let own = if own.len() >= FIRST_LEFT_OUT_FROM {
            &own[1..]
        } else {
            &own
        };
        let headline = results.is_empty();
        let (found, curve) = one(source, own, base, headline)?;
        results.extend(found);
        shown = shown.or(curve);
    }
    Ok((results, shown))
}

fn one(
    source: &Source<'_>,
    rows: &[&SegmentRow],
    base: &Conditions,
    headline: bool,
) -> Result<(Vec<Measurand>, Option<TraceCurve>), FittingError> {
    let Some(first) = rows.first() else {
        return Ok((Vec::new(), None));
    };
    let recording = source.recording;
    let stretches: Vec<_> = rows
        .iter()
        .map(|row| recording.rows_between(row.start_tick, row.end_tick))
        .collect::<Result<_, _>>()?;
    let conditions = Conditions {
        amplitude_nm: Some(first.amplitude_nm),
        preload_nm: Some(0.0),
        temperature: temperature_of(recording, &stretches)?,
        n: rows.len(),
        ..base.clone()
    };
    let row = |quantity, group: String, result: Outcome| {
        let n = result.estimate().map_or(rows.len(), |e| e.n);
        let mut measurand = overall(quantity, &first.name, &conditions, n, result);
        if !(headline && group.is_empty()) {
            let own = if headline {
                String::new()
            } else {
                first.name.clone()
            };
            let parts: Vec<String> = [own, group].into_iter().filter(|part| !part.is_empty()).collect();
            measurand.group = parts.join(", ");
            measurand.id = format!("{}@{}", measurand.id, measurand.group);
            measurand.headline = false;
        }
        measurand
    };
    let none = |outcome: Outcome| {
        let asked = ASKED.into_iter();
        asked
            .map(|quantity| row(quantity, String::new(), outcome.clone()))
            .collect()
    };
    let records = match read(source, rows)? {
        Ok(records) => records,
        Err(outcome) => return Ok((none(outcome), None)),
    };
    let aligned = match align(&records) {
        Ok(aligned) => aligned,
        Err(refusal) => return Ok((none(refusal.into()), None)),
    };
    let clipped = clip(&records, &aligned.mean_nm);
    let cut_off: Vec<Check> = clipped
        .iter()
        .filter_map(|clip| clip.share.estimate())
        .flat_map(|share| share.checks.iter().cloned())
        .filter(|check| !check.passed)
        .collect();
    let by_octave = octaves(&records, aligned.shift_s);
    let at_limit = limit(&records, aligned.shift_s, &aligned.mean_nm);
    let outcome = |found: Result<Outcome, &Refusal>| match found {
        Ok(outcome) => with_checks(outcome, cut_off.iter().cloned()),
        Err(refusal) => refusal.clone().into(),
    };
    let at = at_limit.as_ref();
    let results = [
        outcome(at.map(|limit| limit.contrast.clone())),
        outcome(at.map(|limit| limit.late.clone())),
        outcome(Ok(aligned.delay.clone())),
        outcome(Ok(aligned.rms.clone())),
        outcome(Ok(aligned.peak.clone())),
        outcome(Ok(aligned.gain.clone())),
        outcome(by_octave.as_ref().map(|octaves| octaves.distortion.clone())),
        match &clipped {
            Ok(clip) => clip.share.clone(),
            Err(refusal) => refusal.clone().into(),
        },
    ];
    let pairs = ASKED.into_iter().zip(results);
    let mut measurands: Vec<Measurand> = pairs
        .map(|(quantity, result)| row(quantity, String::new(), result))
        .collect();
    for octave in by_octave.iter().flat_map(|octaves| &octaves.octaves) {
        let detail = format!(
            "{:.3}, {:.4} N·m RMS commanded",
            octave.coherence, octave.command_nm
        );
        let check = Check::new("coherence", octave.gain.estimate().is_some(), detail);
        let result = with_checks(octave.gain.clone(), [check]);
        measurands.push(row(Quantity::TraceBandGain, band_name(octave.range_hz), result));
    }
    let curve = curve(
        &first.name,
        &conditions,
        &records,
        &aligned,
        (by_octave.ok(), at_limit.ok()),
    );
    Ok((measurands, Some(curve)))
}

fn band_name([low, high]: [f64; 2]) -> String {
    if low > 0.0 {
        format!("{low} to {high} Hz")
    } else {
        format!("below {high} Hz")
    }
}

/// Reads every repeat from the instant at which the trace began.
fn read(source: &Source<'_>, rows: &[&SegmentRow]) -> Result<Result<TraceRecords, Outcome>, FittingError> {
    let (recording, sensor): (&Recording, &SensorTerms) = (source.recording, source.sensor);
    let header = recording.header();
    let fs_hz = header.sample_rate_hz();
    let (tick_s, period) = (header.tick_s, u64::from(header.sample_period_ticks));
    let in_ticks = |s: f64| (s / tick_s).ceil() as u64;
    let mut command_nm: Option<Vec<f64>> = None;
    let mut arrived_nm = Vec::new();
    for row in rows {
        let (from, to) = (
            row.start_tick.saturating_sub(2 * period),
            row.end_tick + in_ticks(LONGEST_S + 0.02),
        );
        let range = recording.rows_between(from, to)?;
        let ticks = recording.ticks(range.clone())?;
        let whole = (1..ticks.len()).all(|i| ticks[i] - ticks[i - 1] == period);
        let covers = ticks.first().is_some_and(|t| *t <= row.start_tick)
            && ticks.last().is_some_and(|t| t + 2 * period >= to);
        if !(whole && covers) {
            return Ok(Err(refused(
                "samples_missing",
                format!("samples of repeat {} are missing; record again", row.repeat + 1),
            )));
        }
        let before_s = (row.start_tick - ticks.first().copied().unwrap_or(row.start_tick)) as f64 * tick_s;
        let torque = recording.values("torque", range.clone())?.to_vec();
        if let Some(value_nm) = torque.iter().copied().find(|t| t.abs() >= sensor.end_nm) {
            let refusal = Refusal::Saturated {
                what: "the torque sensor".into(),
                value_nm,
                limit_nm: sensor.end_nm,
            };
            return Ok(Err(refusal.into()));
        }
        let length_s = (row.end_tick - row.start_tick) as f64 * tick_s;
        let count = (length_s * fs_hz).round() as usize;
        if command_nm.is_none() {
            let setpoint = recording.values("setpoint", range)?.to_vec();
            let greatest = setpoint.iter().fold(0.0_f64, |most, v| most.max(v.abs()));
            if greatest < (1.0 - MISSING) * row.amplitude_nm {
                return Ok(Err(refused(
                    "clipped_setpoint",
                    format!(
                        "the setpoint in force reaches {greatest:.3} N·m, {:.3} N·m were planned; check limits and slew in the \
                         rig description, then record again",
                        row.amplitude_nm
                    ),
                )));
            }
            // A sample shows the setpoint as it has been since its last change.
            let held_s = f64::from(row.hold_us.max(1)) * 1e-6;
            let first_s = before_s.rem_euclid(1.0 / fs_hz);
            let age_s = (1.0 / fs_hz - first_s).rem_euclid(1.0 / fs_hz).rem_euclid(held_s);
            command_nm = Some(shifted(&setpoint, before_s + age_s, count, fs_hz));
        }
        let further = count + (LONGEST_S * fs_hz).ceil() as usize + 2;
        arrived_nm.push(shifted(&torque, before_s, further, fs_hz));
    }
    Ok(Ok(TraceRecords {
        fs_hz,
        command_nm: command_nm.unwrap_or_default(),
        arrived_nm,
        sensor_delay_s: [sensor.delay_s, sensor.delay_u_s],
        held_s: rows.first().map_or(0.0, |row| f64::from(row.hold_us) * 1e-6),
        gain_rel_u: sensor.gain_rel_u,
        zero_u_nm: sensor.zero_u_nm,
    }))
}

fn curve(
    name: &str,
    conditions: &Conditions,
    records: &TraceRecords,
    aligned: &Aligned,
    (octaves, limit): (Option<Octaves>, Option<Limit>),
) -> TraceCurve {
    let kept = peaks::rows(&[&records.command_nm, &aligned.mean_nm], POINTS);
    let thin = |x: &[f64]| peaks::at(x, &kept);
    let edge = |sign: f64| -> Vec<f64> {
        let ends = thin(&aligned.mean_nm).into_iter().zip(thin(&aligned.sd_nm));
        ends.map(|(m, sd)| m + sign * sd).collect()
    };
    let t_s = |i: usize| i as f64 / records.fs_hz;
    let told = octaves.iter().flat_map(|o| &o.octaves);
    let told: Vec<_> = told.filter_map(|o| Some((o, o.gain.estimate()?))).collect();
    TraceCurve {
        group: name.into(),
        conditions: conditions.clone(),
        t_s: kept.iter().copied().map(t_s).collect(),
        commanded_nm: thin(&records.command_nm),
        arrived_nm: thin(&aligned.mean_nm),
        low_nm: edge(-1.0),
        high_nm: edge(1.0),
        shift_s: aligned.shift_s,
        limit_s: limit
            .as_ref()
            .map(|l| [t_s(l.place.crest), t_s(l.place.floor), t_s(l.place.around)]),
        drop_nm: limit.as_ref().map(|l| l.place.drop_nm),
        bands_hz: told.iter().map(|(o, _)| o.range_hz).collect(),
        gain: told
            .iter()
            .map(|(_, e)| [e.interval[0], e.value, e.interval[1]])
            .collect(),
        coherence: told.iter().map(|(o, _)| o.coherence).collect(),
    }
}
