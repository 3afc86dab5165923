//! Cutting what was played in whole periods: multisines and pseudo-random signals.
//!
//! The segment table has a row a period. Those in which the rig still settles are left out; the rest of one realisation is one
//! [`Cut`], from the first sample of its first period on, a whole number of periods long.

use super::FittingError;
use super::cut::{COUNTS, Cut};
use crate::recording::{Recording, SegmentRow};

/// The segment table's word for a multisine.
pub(crate) const MULTISINE: &str = "multisine";
/// Its word for a pseudo-random signal.
pub(crate) const PSEUDO_RANDOM: &str = "pseudo-random";

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
    // What was asked for is the same in every period, and its crest is the amplitude.
    let length = samples.round() as usize;
    let unlike = (length..wanted)
        .map(|i| (setpoint_nm[i] - setpoint_nm[i - length]).abs())
        .fold(0.0, f64::max);
    let crest_nm = setpoint_nm
        .iter()
        .map(|nm| (nm - row.preload_nm).abs())
        .fold(0.0, f64::max);
    let held_ticks = (f64::from(row.hold_us) * 1e-6 / header.tick_s).round() as u64;
    Ok(Ok(Cut {
        rows,
        span_s: [first, last].map(|tick| header.tick_s * (tick as f64 - row.start_tick as f64)),
        input_age_s: ((first - row.start_tick) % held_ticks.clamp(1, period)) as f64 * header.tick_s,
        departure_nm: unlike.max(row.amplitude_nm.abs() - crest_nm),
        jump_rates_nm_per_s: Vec::new(),
        // Setpoints may come faster than samples, which then miss the crest by a little.
        tolerance_nm: tolerance_nm + 0.02 * row.amplitude_nm.abs(),
        row,
    }))
}
