//! Cutting what was played in whole periods: multisines and pseudo-random signals.
//!
//! The segment table has a row a period. Those in which the rig still settles are left out; the rest of one realisation is one
//! [`Cut`], from the first sample of its first period on, a whole number of periods long.

use ndarray::{ArrayView1, s};
use truerim_analysis::multisine::off_lines;

use super::FittingError;
use super::cut::{COUNTS, Cut};
use crate::recording::{PSEUDO_RANDOM, Recording, SegmentRow};

/// Samples in a period of a cut, and whole periods.
pub(crate) fn periods_of(recording: &Recording, cut: &Cut) -> (usize, usize) {
    let samples = (cut.row.duration_s * recording.header().sample_rate_hz()).round();
    let samples = (samples as usize).max(1);
    (samples, cut.rows.len() / samples)
}

/// Cuts every realisation whose periods were played.
pub(crate) fn cut(recording: &Recording, kind: &str) -> Result<(Vec<Cut>, Vec<String>), FittingError> {
    let (mut cuts, mut left_out) = (Vec::new(), Vec::new());
    let rows: Vec<&SegmentRow> = recording
        .segments()
        .iter()
        .filter(|row| row.is_excitation() && row.excitation == kind)
        .collect();
    for realisation in rows.chunk_by(|a, b| (a.segment, a.repeat) == (b.segment, b.repeat)) {
        let (Some(first), Some(last)) = (realisation.first(), realisation.last()) else {
            continue;
        };
        let whole = SegmentRow {
            end_tick: last.end_tick,
            to_nm: last.to_nm,
            ..(*first).clone()
        };
        match one(recording, whole, realisation.len())? {
            Ok(cut) => cuts.push(cut),
            Err(reason) => {
                left_out.push(format!(
                    "{}, realisation {}: {reason}",
                    first.name,
                    first.repeat + 1
                ));
            }
        }
    }
    Ok((cuts, left_out))
}

fn one(recording: &Recording, row: SegmentRow, periods: usize) -> Result<Result<Cut, String>, FittingError> {
    let header = recording.header();
    let period = u64::from(header.sample_period_ticks);
    let samples = row.duration_s * header.sample_rate_hz();
    if !(samples >= 1.0 && (samples - samples.round()).abs() < 1e-6 * samples) {
        return Ok(Err(format!(
            "its period of {} s is no whole number of samples",
            row.duration_s
        )));
    }
    let wanted = samples.round() as usize * periods;
    let rows = recording.rows_between(row.start_tick, row.end_tick)?;
    let ticks = recording.ticks(rows.clone())?;
    let first = match ticks.first() {
        Some(first) if rows.len() >= wanted && first - row.start_tick < period => *first,
        _ => {
            return Ok(Err(format!(
                "the recording holds {} of its {wanted} samples",
                rows.len()
            )));
        }
    };
    let rows = rows.start..rows.start + wanted;
    let last = ticks.get(wanted - 1).copied().unwrap_or(first);
    if last - first != (wanted as u64 - 1) * period {
        let lost = (last - first) / period - (wanted as u64 - 1);
        return Ok(Err(format!("{lost} samples are missing in it")));
    }
    let setpoint_nm = recording.values("setpoint", rows.clone())?;
    let tolerance_nm = COUNTS * recording.channel("setpoint")?.scale.abs();
    let length = samples.round() as usize;
    let held_ticks = (f64::from(row.hold_us) * 1e-6 / header.tick_s).round() as u64;
    let departures = [
        unlike_nm(setpoint_nm.view(), length),
        short_nm(setpoint_nm.view(), &row),
        header.lines_of(row.segment).map_or(0.0, |lines| {
            stray_nm(setpoint_nm.slice(s![..length]), &lines, [held_ticks, period])
        }),
    ];
    Ok(Ok(Cut {
        rows,
        span_s: [first, last].map(|tick| header.tick_s * (tick as f64 - row.start_tick as f64)),
        input_age_s: ((first - row.start_tick) % held_ticks.clamp(1, period)) as f64 * header.tick_s,
        departure_nm: departures.into_iter().fold(0.0, f64::max),
        jump_rates_nm_per_s: Vec::new(),
        // Setpoints may come faster than samples, which then miss the crest by a little.
        tolerance_nm: tolerance_nm + 0.02 * row.amplitude_nm.abs(),
        row,
    }))
}

/// How far one period goes from the one before it, N·m: what was asked for is the same in every one.
fn unlike_nm(setpoint_nm: ArrayView1<'_, f64>, length: usize) -> f64 {
    let pairs = setpoint_nm.iter().zip(setpoint_nm.iter().skip(length));
    pairs
        .map(|(before, now)| (now - before).abs())
        .fold(0.0, f64::max)
}

/// How much the crest lacks of the amplitude, N·m. A pseudo-random signal goes as far up as down; a multisine does so on one
/// side.
fn short_nm(setpoint_nm: ArrayView1<'_, f64>, row: &SegmentRow) -> f64 {
    let about = setpoint_nm.iter().map(|nm| nm - row.preload_nm);
    let [up, down] = about.fold([0.0_f64; 2], |[up, down], nm| [up.max(nm), down.max(-nm)]);
    let crest = if row.excitation == PSEUDO_RANDOM {
        up.min(down)
    } else {
        up.max(down)
    };
    row.amplitude_nm.abs() - crest
}

/// How far a period goes from what its lines can make, N·m, whichever side the crest is on. A staircase has lines of its own,
/// so one sample of each tread is taken; where treads are no whole number of samples, or the other way round, or lines lie above
/// half their rate, nothing can be told (0).
fn stray_nm(period_nm: ArrayView1<'_, f64>, lines: &[usize], [held, sample]: [u64; 2]) -> f64 {
    let tread = match held {
        0 => return 0.0,
        held if sample.is_multiple_of(held) => 1,
        held if held.is_multiple_of(sample) => (held / sample) as usize,
        _ => return 0.0,
    };
    let treads = period_nm.len() / tread;
    if treads * tread != period_nm.len() || lines.iter().any(|k| 2 * k >= treads) {
        return 0.0;
    }
    off_lines(period_nm.slice(s![..;tread]), lines)
}
